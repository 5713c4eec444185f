"""`steadyturn gears`: the list, one row in full, files in a folder."""

from __future__ import annotations

import hashlib
import json
import pickle
import re
import sys
import zipfile
from math import pi
from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import pytest
from click.testing import CliRunner
from steadyturn.cli import main as front
from steadyturn.gears import trains
from steadyturn.jobs import gears as job
from steadyturn.report import plot_files
from steadyturn.rig.examples import example_path

sys.path.insert(0, str(Path(__file__).parents[1] / "report"))
from page_reader import faults

HUT = example_path("lakeside-hut")
QUICK = ("--stages", "2")
QUICKEST = ("--stages", "1", "--ratio", "5")


def run(*args: str, capsys=None):
    """Exit code, what was printed, what was said on the error stream."""
    code = front.code(["gears", *args])
    out = capsys.readouterr()
    return code, out.out, out.err


@pytest.fixture(scope="module", autouse=True)
def _trains_once():
    """The trains of one task, half a second's work and more, are looked for once here."""
    known = {}

    def choices(task):
        key = pickle.dumps(task)
        if key not in known:
            known[key] = trains.choices(task)
        return known[key]

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(job, "choices", choices)
        yield


@pytest.fixture(scope="module")
def written(tmp_path_factory):
    pytest.importorskip("manifold3d", reason="the extra 'print' is not installed")
    folder = tmp_path_factory.mktemp("train") / "gears"
    result = CliRunner().invoke(
        front.main, ["gears", str(HUT), "--material", "petg", "--out", str(folder)])
    assert result.exit_code == 0, result.output
    return folder, result.output


def test_the_list_is_narrow_and_says_what_is_next(capsys) -> None:
    code, out, err = run(str(HUT), "--material", "petg", capsys=capsys)
    assert (code, err) == (0, "")
    assert max(map(len, out.splitlines())) <= 80
    assert "*0  60/12 x 60/12" in out
    assert out.endswith("\nnext: steadyturn gears lakeside-hut --material petg --out gears\n")
    assert "never run them without the cover" in " ".join(out.split())


def test_why_names_loads_meshes_and_bolts(capsys) -> None:
    code, out, _ = run(str(HUT), *QUICKEST, "--row", "1", "--why", capsys=capsys)
    assert code == 0
    assert max(map(len, out.splitlines())) <= 80
    for word in ("stuck", "shorted", "hexagon", "teeth in contact", "bolt M8", "gears.can_mm",
                 "[[stage]]"):
        assert word in out
    assert out.count("driver_teeth = ") == 1


def test_json_has_every_number_of_the_list(capsys) -> None:
    _, text, _ = run(str(HUT), *QUICK, capsys=capsys)
    code, out, _ = run(str(HUT), *QUICK, "--json", capsys=capsys)
    assert code == 0
    found = json.loads(out)
    assert found["row"] == 1
    assert found["bears"] is True
    for train in found["trains"]:
        first = train["stages"][0]
        assert f"{first['driver_teeth']}/{first['driven_teeth']}" in text
        assert f"{train['width_mm']:.0f} x {train['height_mm']:.0f}" in text
        assert {"overload_safety", "running_safety", "contact_mpa"} <= first["judged"].keys()
    assert found["loads"]["blocked_nm"] == pytest.approx(16.5)
    assert "layout" not in found["trains"][0]


def test_choices_of_strength_and_what_is_best(capsys) -> None:
    _, out, _ = run(str(HUT), "--material", "petg", capsys=capsys)
    said = " ".join(out.split())
    assert re.search(r"Smallest: row \d; quickest to print: row \d; least lost: row \d; "
                     r"strongest: row \d\.", said)
    rows = [line.split() for line in out.splitlines() if re.match(r" +\*?\d  \d+/", line)]
    assert {row[-1] for row in rows} >= {"1.0", "1.5"}


def test_a_ratio_needs_no_rig(capsys, tmp_path, monkeypatch) -> None:
    monkeypatch.chdir(tmp_path)
    code, out, _ = run("--ratio", "6", "--material", "petg", "--why", capsys=capsys)
    assert code == 0
    assert "without a rig file" in " ".join(out.split())
    assert "no motor is known" in " ".join(out.split())
    assert "next: steadyturn gears --ratio 6 --material petg --row 1 --out gears" in out
    assert max(map(len, out.splitlines())) <= 80
    code, out, _ = run("--ratio", "6", "--json", capsys=capsys)
    found = json.loads(out)
    assert (found["file"], found["rig"], found["asked_by"]) == ("", "Gears", "--ratio")
    code, _, err = run(capsys=capsys)
    assert code == 2
    assert "name a rig file" in err


def test_plastics_with_their_ranges(capsys) -> None:
    _, out, _ = run(str(HUT), "--why", capsys=capsys)
    said = " ".join(out.split())
    assert "PETG 8 (6-9) 33 (23-35) 75 (68-80)" in said
    assert "Printed as weak as PETG is believed to come, this train bears 0.7 x" in said


def test_in_line_with_the_handle(capsys, tmp_path) -> None:
    """reverted: two stages and one motor, else it is said what is wrong."""
    text = HUT.read_text().replace("[gears]", '[gears]\nlayout = "reverted"', 1)
    (tmp_path / "rig.toml").write_text(text)
    code, _, err = run(str(tmp_path / "rig.toml"), capsys=capsys)
    assert code == 2
    assert "this rig has 2" in " ".join(err.split())
    (tmp_path / "rig.toml").write_text(re.sub(r"(series|parallel) = 2", r"\1 = 1", text))
    code, _, err = run(str(tmp_path / "rig.toml"), "--stages", "3", capsys=capsys)
    assert code == 2
    assert "has two stages" in " ".join(err.split())


def test_a_plastic_that_softens_is_a_no(capsys) -> None:
    code, out, _ = run("radio-tent", *QUICK, "--material", "pla", capsys=capsys)
    assert code == 1
    said = " ".join(out.split())
    assert "TOO WEAK" in said
    assert "nylon would bear it" in said


def test_nothing_is_written_for_a_weak_train(capsys, tmp_path) -> None:
    code, out, err = run("radio-tent", *QUICK, "--out", str(tmp_path / "x"), capsys=capsys)
    assert code == 1
    assert "nothing was written" in err
    assert not (tmp_path / "x").exists()
    assert not out


@pytest.mark.parametrize(("args", "words"), [
    (("--ratio", "0.5"), "1.25 to"), (("--stages", "4"), "1 to 3"),
    (("--row", "99", *QUICKEST), "a row of"),
    (("--tolerance", "0"), "0.01 to 20"), (("--material", "wood"), "pla, petg, nylon"),
    (("--ratio", "five"), "a number"),
])
def test_wrong_options(args, words, capsys) -> None:
    code, out, err = run(str(HUT), *args, capsys=capsys)
    assert code == 2
    assert words in " ".join(err.split())
    assert not out


def test_teeth_that_cannot_be_made_are_told(capsys, tmp_path) -> None:
    text = HUT.read_text().replace("driven_teeth = 12", "driven_teeth = 6", 1)
    (tmp_path / "rig.toml").write_text(text)
    _, out, _ = run(str(tmp_path / "rig.toml"), capsys=capsys)
    assert "own teeth cannot be made" in " ".join(out.split())


def test_more_stages_than_are_laid_out(capsys, tmp_path) -> None:
    text = HUT.read_text()
    more = "[[stage]]\ndriver_teeth = 20\ndriven_teeth = 19\n" * 2
    (tmp_path / "rig.toml").write_text(text + "\n" + more)
    _, out, _ = run(str(tmp_path / "rig.toml"), "--row", "1", capsys=capsys)
    assert "it has 4 stages" in " ".join(out.split())


def test_what_is_too_large_for_the_bed_is_marked(capsys, tmp_path) -> None:
    (tmp_path / "rig.toml").write_text(
        HUT.read_text().replace("[gears]", "[gears]\nbed_mm = 150", 1))
    code, out, _ = run(str(tmp_path / "rig.toml"), "--row", "0", capsys=capsys)
    assert code == 1
    assert "TOO LARGE for a bed of 150 mm" in out
    assert "!: larger than the printer's bed" in " ".join(out.split())
    # but for the path of a file that lies far away
    assert max(len(x) for x in out.splitlines() if not x.startswith("next: ")) <= 80


# -------------------------------------------------------------------------------- files


def test_files_that_are_there(written) -> None:
    folder, output = written
    names = {p.name for p in folder.iterdir()}
    for name in ("coupon.stl", "wheel-1.stl", "wheel-2.stl", "pinion.stl", "plate.stl",
                 "cover.stl", "arm.stl", "sleeve.stl", "all-parts.3mf", "train.html", "train.txt",
                 "assembly.svg", "wheels-1to1.svg", "assembly.png", "steadyturn-gears.json"):
        assert name in names
        assert name in output
    assert max(map(len, (folder / "train.txt").read_text().splitlines())) <= 80
    record = json.loads((folder / "steadyturn-gears.json").read_text())
    for name, checksum in record["files"].items():
        assert hashlib.sha256((folder / name).read_bytes()).hexdigest() == checksum
    for name in names:  # each says what it was made from
        data = (folder / name).read_bytes()
        if name.endswith(".3mf"):
            data = zipfile.ZipFile(folder / name).read("3D/3dmodel.model")
        assert b"Lakeside hut" in data, name
        if name.endswith((".stl", ".svg", ".html", ".json", ".3mf")):
            assert b"60/12 m 2 width 1" in data, name
    said = json.dumps(plot_files.stored(folder / "assembly.png"))
    assert "60/12 m 2 width 1" in " ".join(said.replace("\\n", " ").split())


def test_the_page_needs_nothing_from_elsewhere(written) -> None:
    page = (written[0] / "train.html").read_text()
    assert faults(page, script=True) == []
    assert set(re.findall(r"https?://[^'\"\s]+", page)) == {"http://www.w3.org/2000/svg"}
    assert page.count("class='turns'") == 5  # two wheels, the pinion between them, two on motors
    for name in ("assembly.svg", "wheels-1to1.svg"):
        ElementTree.fromstring((written[0] / name).read_text())


def test_wheels_are_drawn_at_true_size(written) -> None:
    root = ElementTree.fromstring((written[0] / "wheels-1to1.svg").read_text())
    width = float(root.get("width").removesuffix("mm"))
    assert root.get("viewBox").split()[2] == f"{width:.2f}"
    space = "{http://www.w3.org/2000/svg}"
    first = root.find(f"{space}g[2]/{space}path").get("d")
    numbers = np.array(re.findall(r"-?\d+\.\d+", first), dtype=float).reshape(-1, 2)
    assert np.hypot(*numbers.T).max() * 2 == pytest.approx(60 * 2 + 2 * 2 * 0.7, abs=0.02)


def test_wheels_on_the_drawing_mesh(written) -> None:
    """As placed and turned on the page nothing overlaps, at any angle of the handle."""
    shapely = pytest.importorskip("shapely", reason="the extra 'print' is not installed")
    root = ElementTree.fromstring((written[0] / "assembly.svg").read_text())
    space = "{http://www.w3.org/2000/svg}"
    wheels = []
    for group in root.iter(f"{space}g"):
        if group.get("class") == "turns":
            numbers = re.findall(r"-?\d+\.\d+", group.find(f"{space}path").get("d"))
            wheels.append((np.array(numbers, dtype=float).reshape(-1, 2),
                           *(float(group.get(f"data-{k}")) for k in ("ratio", "start", "x", "y"))))
    assert len(wheels) == 5

    def placed(wheel, handle_deg: float):
        points, ratio, start, x, y = wheel
        turn = (start + handle_deg * ratio) * pi / 180
        c, s = np.cos(turn), np.sin(turn)
        return shapely.Polygon(points @ np.array([[c, s], [-s, c]]) + (x, y))

    # in mesh: 60 teeth of module 2 with its 12, 60 of module 1.25 with two of 12
    big = sorted(wheels, key=lambda w: -np.hypot(*w[0].T).max())
    assert [round(np.hypot(*w[0].T).max(), 1) for w in big[:3]] == [61.4, 38.4, 14.6]
    for a, b in [(big[0], big[2]), (big[1], big[3]), (big[1], big[4])]:
        for handle in np.linspace(0, 12, 13):
            one, two = placed(a, handle), placed(b, handle)
            assert one.intersection(two).area < 1e-3
            assert one.distance(two) < 0.2


def test_same_bytes_again_and_foreign_files_stay(written, capsys, monkeypatch) -> None:
    monkeypatch.setattr(job, "choices", trains.choices)  # looked for again
    folder, _ = written
    before = {p.name: p.read_bytes() for p in folder.iterdir()}
    code, _, _ = run(str(HUT), "--material", "petg", "--out", str(folder), capsys=capsys)
    assert code == 0
    assert {p.name: p.read_bytes() for p in folder.iterdir()} == before
    own = folder / "plate.stl"
    own.write_bytes(b"mine now")
    code, _, err = run(str(HUT), "--material", "petg", "--out", str(folder), capsys=capsys)
    assert code == 2
    assert "plate.stl" in err
    assert own.read_bytes() == b"mine now"
    own.write_bytes(before["plate.stl"])


def test_drawings_need_no_library(capsys, tmp_path, monkeypatch) -> None:
    """Without the extra 'print': page, sheet and drawings, and what the extra adds."""
    monkeypatch.setitem(sys.modules, "manifold3d", None)
    folder = tmp_path / "gears"
    code, out, err = run(str(HUT), *QUICKEST, "--out", str(folder), capsys=capsys)
    assert (code, err) == (0, "")
    names = {p.name for p in folder.iterdir()}
    assert {"train.html", "train.txt", "assembly.svg", "wheels-1to1.svg"} <= names
    assert not [n for n in names if n.endswith((".stl", ".3mf"))]
    said = " ".join(out.split())
    assert "[print]'" in said
    assert "an STL file of each part, and all of them in one 3MF file" in said
    assert max(map(len, out.splitlines())) <= 80 or str(folder) in out
    code, out, _ = run(str(HUT), *QUICKEST, "--out", str(folder), "--json", capsys=capsys)
    assert code == 0
    made = json.loads(out)
    assert "manifold3d" in made["no_bodies"]
    assert {p["size_mm"] for p in made["parts"]} == {None}


def test_force_and_an_earlier_train(capsys, tmp_path) -> None:
    """--force writes over what was changed; files that the new train has no use for go."""
    pytest.importorskip("manifold3d", reason="the extra 'print' is not installed")
    (tmp_path / "arm.stl").write_text("changed")
    (tmp_path / "wheel-3.stl").write_text("of an earlier train")
    (tmp_path / "spare.stl").write_text("changed since")
    checksum = hashlib.sha256(b"of an earlier train").hexdigest()
    record = {"files": {"wheel-3.stl": checksum, "spare.stl": checksum, "../up.stl": checksum}}
    (tmp_path / "steadyturn-gears.json").write_text(json.dumps(record))
    code, out, _ = run(str(HUT), *QUICKEST, "--out", str(tmp_path), "--force", capsys=capsys)
    assert code == 0
    assert (tmp_path / "arm.stl").read_bytes() != b"changed"
    assert not (tmp_path / "wheel-3.stl").exists()
    assert (tmp_path / "spare.stl").read_text() == "changed since"
    assert "spare.stl is of an earlier train" in " ".join(out.split())


def test_a_folder_of_somebody_else_is_left_alone(capsys, tmp_path) -> None:
    pytest.importorskip("manifold3d", reason="the extra 'print' is not installed")
    (tmp_path / "arm.stl").write_text("solid someone's arm")
    code, _, err = run(str(HUT), *QUICKEST, "--out", str(tmp_path), capsys=capsys)
    assert code == 2
    assert "arm.stl" in err
    assert [p.name for p in Path(tmp_path).iterdir()] == ["arm.stl"]
    (tmp_path / "file").write_text("")
    code, _, err = run(str(HUT), *QUICKEST, "--out", str(tmp_path / "file"), capsys=capsys)
    assert code == 2
    assert "not a folder" in err
