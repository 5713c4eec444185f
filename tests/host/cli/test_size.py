"""`size` as a person and a script meet it."""

from __future__ import annotations

import contextlib
import dataclasses
import functools
import io
import json
import os
import warnings

import pytest
from steadyturn.cli.main import code
from steadyturn.jobs import size as job
from steadyturn.jobs.hazards import Hazard
from steadyturn.model.band import find_band
from steadyturn.model.batch import LIMIT_NAMES
from steadyturn.model.tolerance import sure_band
from steadyturn.report import size as report
from steadyturn.rig.file import read_rig
from steadyturn.sizing import search as searching
from steadyturn.sizing.drawer import rig_of
from steadyturn.sizing.parts_file import example_path, read_drawer
from steadyturn.sizing.suggest import suggest

CHOICE = {
    "number", "machine", "motor", "motors", "series", "parallel", "converter", "converter_kind",
    "teeth", "ratio", "efficiency", "low_tpm", "target_tpm", "high_tpm", "width_percent", "arm_w",
    "out_w", "arm_w_per_w", "crank_nm", "force_n", "bus_v", "safe", "hazards", "to_buy",
    "low_limit", "high_limit", "sure_low_tpm", "sure_high_tpm", "sure_width_percent",
    "works_share",
}
WHOLE = job.size
NONE_WORKS = """
[[motor]]
rated_v = 3
no_load_rpm = 9000
no_load_a = 0.2
terminal_ohm = 1.6
[[converter]]
kind = "buck"
out_v = 5.1
start_v = 9
stop_v = 8
max_in_v = 24
"""


def run(*args: str) -> tuple[int, str, str]:
    out, err = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err), \
            warnings.catch_warnings():
        warnings.simplefilter("error")
        status = code(["size", *args])
    assert "Traceback" not in err.getvalue()
    return status, out.getvalue(), " ".join(err.getvalue().split())


@functools.cache  # a list is a few seconds' work, and several tests look at it
def attic() -> job.Sized:
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(job, "MOST_ROWS", 8)
        return WHOLE(example_path("attic-drawer"))


@pytest.fixture
def quick(monkeypatch):
    """Commands that search the example take the list that is already there."""
    def size(path, *, typical=False, say=None):
        at_hand = path == example_path("attic-drawer") and not typical
        return attic() if at_hand else WHOLE(path, typical=typical, say=say)

    monkeypatch.setattr(job, "size", size)


def test_every_row_is_the_exact_models() -> None:
    found = attic()
    assert 6 <= len(found.choices) <= 8
    for choice in found.choices:
        rig = rig_of(found.drawer, choice.build)
        band = find_band(rig, deep=False)
        assert (choice.low_tpm, choice.target_tpm, choice.high_tpm) == (
            band.low_tpm, band.target_tpm, band.high_tpm)
        assert choice.arm_w == float(band.at_target.arm_w)
        assert choice.safe == (not {h.name for h in band.hazards} - {"open_circuit_device_fault"})
        assert choice.motors == choice.series * choice.parallel <= 4
        assert all(12 <= z <= 60 for pair in choice.teeth for z in pair)
        assert choice.width_percent >= 15
        assert min(choice.low_tpm, choice.high_tpm) >= rig.arm.comfort_low_tpm - 1e-6
        assert 0.5 < choice.works_share <= 1
        if choice.sure_low_tpm is not None:
            assert choice.low_tpm < choice.sure_low_tpm < choice.sure_high_tpm < choice.high_tpm
            middle = (choice.sure_low_tpm + choice.sure_high_tpm) / 2
            assert choice.sure_width_percent == pytest.approx(
                100 * (choice.sure_high_tpm - choice.sure_low_tpm) / middle)
        assert choice.low_limit
        assert choice.high_limit


def test_sure_is_the_tolerances() -> None:
    choice = next(c for c in attic().choices if c.sure_low_tpm is not None)
    sure = sure_band(rig_of(attic().drawer, choice.build), deep=False)
    assert choice.sure_low_tpm == pytest.approx(sure.low_tpm, abs=1.5)
    assert choice.sure_high_tpm == pytest.approx(sure.high_tpm, abs=1.5)
    assert choice.works_share == pytest.approx(sure.works_share, abs=0.01)


def test_order_and_variety() -> None:
    choices = attic().choices
    assert [c.number for c in choices] == list(range(1, len(choices) + 1))
    assert [c.safe for c in choices] == sorted((c.safe for c in choices), reverse=True)
    safe = [c.arm_w_per_w for c in choices if c.safe]
    assert safe == sorted(safe)
    assert len({c.motors for c in choices}) >= 3
    for one in choices:  # none is beaten by a safe one in everything that is traded
        for other in choices:
            if other is one or not other.safe:
                continue
            assert not (other.arm_w_per_w < 0.999 * one.arm_w_per_w
                        and other.width_percent > one.width_percent + 0.2
                        and other.motors <= one.motors and other.ratio <= one.ratio
                        and len(other.teeth) <= len(one.teeth))


def test_json(quick) -> None:
    status, out, err = run("attic-drawer", "--json")
    assert (status, err) == (0, "")
    found = json.loads(out)
    assert found["complete"]
    assert found["candidates_count"] == found["tried_count"] > 10_000
    assert "drawer" not in found
    for choice in found["choices"]:
        assert choice.keys() >= CHOICE
        assert choice["arm_w_per_w"] == pytest.approx(choice["arm_w"] / choice["out_w"])
        assert "build" not in choice
        for hazard in choice["hazards"]:
            assert hazard["how"]
    counted = sum(f["count"] for f in found["failing"])
    assert counted + found["working_count"] == found["candidates_count"]
    assert found["advice"] == []


def test_list_fits_and_leads_on(quick) -> None:
    status, out, err = run("attic-drawer")
    assert (status, err) == (0, "")
    assert max(map(len, out.split("\n"))) <= 80
    assert "2 x printer motor in series" in out
    assert out.index("DANGEROUS AS BUILT") > out.index("60/12 x 60/12")
    assert "needs a bus cut or clamp below" in " ".join(out.split())
    assert "next: steadyturn size attic-drawer --why 1" in out


def test_why(quick) -> None:
    status, out, _ = run("attic-drawer", "--why", "2")
    assert status == 0
    assert max(map(len, out.split("\n"))) <= 80
    for words in ("Row 2 of steadyturn size attic-drawer", "row 1,", "row 3,", "Of the arm's",
                  "Not slower, because", "--write my.toml --row 2"):
        assert words in out, words
    status, out, _ = run("attic-drawer", "--why", "2", "--json")
    found = json.loads(out)
    assert found["choice"]["number"] == 2
    assert [c["number"] for c in found["neighbours"]] == [1, 3]
    assert found["pace"]["low_tpm"] == found["choice"]["low_tpm"]


def test_write_reads_back(quick, tmp_path) -> None:
    file = tmp_path / "mine.toml"
    status, out, _ = run("attic-drawer", "--write", str(file), "--row", "2", "--json")
    assert status == 0
    choice = json.loads(out)["choice"]
    rig = read_rig(file)
    band = find_band(rig, deep=False)
    assert [[s.driver_teeth, s.driven_teeth] for s in rig.stages] == choice["teeth"]
    for name in ("low_tpm", "target_tpm", "high_tpm"):
        assert getattr(band, name) == pytest.approx(choice[name], rel=1e-9)
    assert float(band.at_target.arm_w) == pytest.approx(choice["arm_w"], rel=1e-9)
    assert rig.origins["motor.terminal_ohm"].kind == "measured"
    assert sum(o.kind == "assumed" for o in rig.origins.values()) == choice["assumed_count"]
    before = file.read_text()
    status, _, err = run("attic-drawer", "--write", str(file))
    assert status == 2
    assert "already there" in err
    assert file.read_text() == before
    status, out, _ = run("attic-drawer", "--write", str(file), "--force")
    assert f"steadyturn gears {file}" in out
    assert status == 0
    assert "row 1" in " ".join(out.split())
    assert file.read_text() != before
    assert code(["check", str(file)]) == 0
    assert [p.name for p in tmp_path.iterdir()] == ["mine.toml"]


def test_dangerous_row_says_so_when_written(quick, tmp_path) -> None:
    number = next(c.number for c in attic().choices if not c.safe)
    file = tmp_path / "mine.toml"
    status, out, _ = run("attic-drawer", "--write", str(file), "--row", str(number))
    assert status == 0
    assert "DANGEROUS AS BUILT: it needs" in out
    assert code(["check", str(file)]) == 1


@pytest.mark.parametrize(("args", "says"), [
    ((), "name a parts file"),
    (("missing.toml",), "no such file"),
    (("attic-drawer", "--why", "0"), "rows are counted from 1"),
    (("attic-drawer", "--why", "99"), "rows 1 to"),
    (("attic-drawer", "--why", "x"), "a whole number"),
    (("attic-drawer", "--write", "new.toml", "--row", "-1"), "rows are counted from 1"),
    (("attic-drawer", "--write", "new.toml", "--row", "99"), "rows 1 to"),
    (("attic-drawer", "--row", "1"), "--row goes with --write"),
    (("attic-drawer", "--why", "1", "--write", "new.toml"), "one at a time"),
    (("attic-drawer", "--new", "new.toml"), "give it alone"),
    (("attic-drawer", "--write", "no/such/folder.toml"), "there is no folder"),
    (("lakeside-hut",), "an example rig, not a parts file"),
])
def test_wrong_input(quick, tmp_path, monkeypatch, args, says) -> None:
    monkeypatch.chdir(tmp_path)
    status, out, err = run(*args)
    assert status == 2
    assert out == ""
    assert says in err
    assert list(tmp_path.iterdir()) == []


def test_a_rig_file_is_no_parts_file(tmp_path) -> None:
    from steadyturn.rig.examples import example_path as example_rig

    status, _, err = run(str(example_rig("lakeside-hut")))
    assert status == 2
    assert "this is a rig file" in err
    assert "size --from" in err


def test_new_then_size(tmp_path, monkeypatch) -> None:
    monkeypatch.setattr(job, "MOST_ROWS", 3)
    file = tmp_path / "drawer.toml"
    status, out, _ = run("--new", str(file))
    assert status == 0
    assert f"next: steadyturn size {file}" in out
    assert run("--new", str(file))[0] == 2
    assert run("--new", str(file), "--force")[0] == 0
    assert read_drawer(file).limits.max_motors == 4
    status, out, err = run(str(file))
    assert (status, err) == (0, "")
    assert "my motor" in out
    assert "No row is sure yet" in out  # all of it is assumed


def test_none_works(tmp_path, monkeypatch) -> None:
    file = tmp_path / "poor.toml"
    file.write_text(NONE_WORKS)
    status, out, err = run(str(file), "--json")
    assert (status, err) == (1, "")
    found = json.loads(out)
    assert found["choices"] == []
    assert sum(f["count"] for f in found["failing"]) == found["candidates_count"]
    assert found["failing"][0]["low_limit"] == "start"
    assert found["advice"]
    for advice in found["advice"]:
        assert advice["kind"] in report.KINDS
        assert advice["choice"]["arm_w"] > advice["choice"]["out_w"] > 0
        assert advice["choice"]["force_n"] > 0
    monkeypatch.setattr(job, "suggest", lambda *_: suggest(*_)[:1])
    status, text, err = run(str(file), "--write", str(tmp_path / "mine.toml"))
    assert status == 1
    assert "There is no row 1, so nothing was written" in " ".join(err.split())
    assert not (tmp_path / "mine.toml").exists()
    assert max(len(line) for line in text.split("\n") if str(file) not in line) <= 80
    for words in ("none works", "'starting' asks for more pace than", "to buy:", "the arm gives"):
        assert words in text, words


def test_broken_off_gives_the_best_so_far(monkeypatch) -> None:
    monkeypatch.setattr(searching, "PAIRS", 500)
    monkeypatch.setattr(job, "MOST_ROWS", 3)

    def stop(what: str, done: int, of: int) -> None:
        if what == "machines looked at" and done > of / 2:
            raise KeyboardInterrupt

    found = job.size(example_path("attic-drawer"), say=stop)
    assert not found.complete
    assert found.tried_count < found.candidates_count
    assert "STOPPED after" in report.text(found)


def test_broken_off_while_the_rows_are_computed() -> None:
    def stop(what: str, done: int, of: int) -> None:
        if what == "machines computed exactly" and done == 1:
            raise KeyboardInterrupt

    found = WHOLE(example_path("attic-drawer"), say=stop)
    assert not found.complete
    assert len(found.choices) == 1
    assert "STOPPED before all was computed" in " ".join(report.text(found).split())


@pytest.mark.parametrize("asked", [(), ("--why", "1"), ("--write", "out.toml")])
def test_row_one_of_a_broken_off_search_is_not_written(monkeypatch, tmp_path, asked) -> None:
    """It is another machine than row 1 of the whole list."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(job, "size", lambda *_, **__: dataclasses.replace(
        attic(), complete=False))
    status, out, _ = run("attic-drawer", *asked)
    assert status == 1
    assert "STOPPED" in out
    assert "--why" not in out
    assert list(tmp_path.iterdir()) == []


def test_typical_parts_alone(monkeypatch) -> None:
    monkeypatch.setattr(job, "MOST_ROWS", 3)
    status, out, _ = run("--typical", "--json")
    assert status == 0
    for choice in json.loads(out)["choices"]:
        assert choice["to_buy"] == [choice["motor"], choice["converter"]]


def test_what_a_hazard_needs_is_said_once() -> None:
    def hazard(name: str, volts: float, rating: float) -> Hazard:
        return Hazard(name, volts, rating, "", "", True)

    both = [hazard("open_circuit_device", 17.2, 5.5), hazard("open_circuit_device_fault", 17, 5.5),
            hazard("open_circuit_capacitor", 27.1, 25), hazard("sensor_without_alert", 27.1, 25)]
    assert report.needs(both) == ["an output cut at or below 5.5 V", "a bus capacitor for 28 V"]
    alone = report.needs([hazard("open_circuit_capacitor", 27.1, 25),
                          hazard("sensor_without_alert", 27.1, 25)])
    assert alone[1].startswith("a sensor with an alert")
    every = {"set_point", "clamp_power", "sensor_without_alert", "reservoir_adc",
             *(name for name in LIMIT_NAMES if name.startswith("open_circuit"))}
    assert report._NEEDS.keys() == every


@pytest.mark.parametrize("links", [True, False])
def test_what_another_wrote_meanwhile_stays(tmp_path, monkeypatch, links) -> None:
    file = tmp_path / "drawer.toml"
    link = os.link

    def other_first(source, target):
        if not links:
            raise PermissionError(1, "no links on this file system")
        file.write_text("theirs", encoding="utf-8")
        link(source, target)

    monkeypatch.setattr("steadyturn.jobs.new.os.link", other_first)
    status, _, err = run("--new", str(file))
    assert list(tmp_path.iterdir()) == [file]
    if links:
        assert status == 2
        assert "already there" in err
        assert file.read_text(encoding="utf-8") == "theirs"
    else:
        assert status == 0
    assert run("--new", str(file), "--force")[0] == 0
    assert "[[motor]]" in file.read_text(encoding="utf-8")


def test_a_single_fault_asks_for_a_second_barrier() -> None:
    fault = Hazard("single_fault_output_cut", 17.0, 5.5, "a reason", "a long remedy", False)
    assert report.needs([fault]) == ["a second barrier ('steadyturn check' says which)"]
