"""`steadyturn wiring`: what to buy, files in a folder, a page of all."""

from __future__ import annotations

import csv
import io
import json
import sys
from dataclasses import fields
from pathlib import Path
from xml.etree import ElementTree

import pytest
from steadyturn.cli import main as front
from steadyturn.jobs import wiring as job
from steadyturn.jobs.wiring import PartLine
from steadyturn.rig.examples import example_path

sys.path.insert(0, str(Path(__file__).parents[1] / "report"))
from page_reader import faults

DRAWN = {"element g", "element polygon"}  # what schemdraw's lines come in


def run(*args: str, capsys=None):
    code = front.code(["wiring", *args])
    out = capsys.readouterr()
    return code, out.out, out.err


@pytest.mark.parametrize("rig", ["night-ferry", "dangerous-barn"])
def test_the_list_is_narrow_and_has_every_part(rig, capsys) -> None:
    code, out, err = run(rig, capsys=capsys)
    assert (code, err) == (0, "")
    assert max(map(len, out.splitlines())) <= 80
    result = job.wiring(example_path(rig))
    counted = sum(int(line.split(" x ")[0]) for line in out.splitlines() if " x  " in line)
    assert counted == sum(p.quantity for p in result.parts if p.price_eur)
    assert "Nothing above 5.5 V may reach the phone." in out
    assert out.endswith(f"next: steadyturn wiring {rig} --out wiring\n")


def test_json_has_every_designator_with_its_nets(capsys) -> None:
    code, out, _ = run("night-ferry", "--socket", "c", "--json", capsys=capsys)
    found = json.loads(out)
    assert code == 0
    assert {"place", "price_eur", "parts_count", "wires_count"} <= set(found)
    assert set(found["parts"][0]) == {f.name for f in fields(PartLine)}
    nets = {part["ref"]: part["nets"] for part in found["parts"]}
    assert nets["R35"] == {"1": "vbus", "2": "cc1"}
    assert found["parts_count"] == sum(part["quantity"] for part in found["parts"])


def test_what_the_calculations_say(tmp_path, capsys) -> None:
    _, out, _ = run("lakeside-hut", capsys=capsys)
    assert "All 17 calculations of the circuit hold" in out
    text = example_path("lakeside-hut").read_text(encoding="utf-8")
    small = tmp_path / "small.toml"
    small.write_text(text.replace("[supply]", "[supply]\nreservoir_uf = 10000"), encoding="utf-8")
    _, out, _ = run(str(small), capsys=capsys)
    assert "Of 17 calculations of the circuit 1 does not hold" in out
    assert "too small for one worst flash write" in " ".join(out.split())
    assert "Fit and name [supply] reservoir_uf = 16000 or more" in " ".join(out.split())
    _, out, _ = run("radio-tent", "--json", capsys=capsys)
    calculated = json.loads(out)["calculated"]
    assert all(one["ok"] for one in calculated)
    assert {"cut_latest", "hold_shortest", "clamp_volts"} <= {one["name"] for one in calculated}


def test_files_and_page(tmp_path, capsys) -> None:
    folder = tmp_path / "wiring"
    code, out, err = run("radio-tent", "--out", str(folder), capsys=capsys)
    assert (code, err) == (0, "")
    assert max(map(len, out.splitlines())) <= 80
    page = (folder / "wiring.html").read_text(encoding="utf-8")
    assert set(faults(page)) <= DRAWN
    result = job.wiring(example_path("radio-tent"))
    assert page.count("&#9744;") == result.wires_count
    rows = list(csv.DictReader(io.StringIO((folder / "parts.csv").read_text(encoding="utf-8"))))
    assert [row["ref"] for row in rows] == [part.ref for part in result.parts]
    drawn = "".join(path.read_text(encoding="utf-8") for path in folder.glob("schematic-*.svg"))
    for row in rows:
        assert f">{row['ref']}<" in drawn or f">{row['ref']} (" in drawn
    for path in folder.glob("*.svg"):
        ElementTree.parse(path)
    before = {path.name: path.read_bytes() for path in folder.iterdir()}
    assert run("radio-tent", "--out", str(folder), capsys=capsys)[0] == 0
    assert {path.name: path.read_bytes() for path in folder.iterdir()} == before


def test_what_somebody_changed_is_left_alone(tmp_path, capsys) -> None:
    folder = tmp_path / "w"
    folder.mkdir()
    (folder / "parts.csv").write_text("mine")
    code, _, err = run("night-ferry", "--out", str(folder), capsys=capsys)
    assert code == 2
    assert "parts.csv: not written by this command" in " ".join(err.split())
    assert [path.name for path in folder.iterdir()] == ["parts.csv"]
    assert run("night-ferry", "--out", str(folder), "--force", capsys=capsys)[0] == 0
    assert run("night-ferry", "--out", str(folder / "parts.csv"), capsys=capsys)[0] == 2


def test_without_schemdraw_all_but_the_schematic_is_written(tmp_path, capsys, monkeypatch) -> None:
    monkeypatch.setattr(job, "find_spec", lambda name: None)
    folder = tmp_path / "w"
    code, out, _ = run("night-ferry", "--out", str(folder), capsys=capsys)
    assert code == 0
    assert "[drawings]'" in " ".join(out.split())
    assert not list(folder.glob("schematic-*"))
    page = (folder / "wiring.html").read_text(encoding="utf-8")
    assert "<h2>Schematic</h2>" not in page
    assert faults(page) == []


def test_volts_that_no_parts_can_have(tmp_path, capsys, monkeypatch) -> None:
    def none(*_):
        raise ValueError("no divider acts below 1 V")

    monkeypatch.setattr(job.schematic, "parts_of", none)
    code, _, err = run("lakeside-hut", capsys=capsys)
    assert code == 1
    assert "no divider acts below 1 V" in err


def test_a_rig_that_no_pace_works_for_is_told(tmp_path, capsys) -> None:
    code, out, _ = run("toy-motor", "--out", str(tmp_path / "w"), capsys=capsys)
    assert code == 0
    assert "!! No pace works for this rig" in out
    assert out.rstrip().endswith("next: steadyturn pace toy-motor, before anything is soldered")
    assert "No pace works" in (tmp_path / "w" / "wiring.html").read_text(encoding="utf-8")
    _, out, _ = run("night-ferry", capsys=capsys)
    assert "No pace works" not in out
