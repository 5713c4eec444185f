"""`size --from RIG` as a person and a script meet it."""

from __future__ import annotations

import contextlib
import dataclasses
import functools
import io
import json
import shutil

import pytest
from steadyturn import cautions
from steadyturn.cli.main import code
from steadyturn.jobs import size_change as job
from steadyturn.model.band import find_band
from steadyturn.model.tolerance import sure_band
from steadyturn.report import size_change as report
from steadyturn.rig.examples import example_path
from steadyturn.rig.file import read_rig

WHOLE = job.size_from
FERRY = example_path("night-ferry")


def run(*args: str) -> tuple[int, str, str]:
    out, err = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        status = code(["size", *args])
    assert "Traceback" not in err.getvalue()
    return status, out.getvalue(), " ".join(err.getvalue().split())


@functools.cache  # a list is some seconds' work
def ferry() -> job.SizedFrom:
    return WHOLE(FERRY)


@pytest.fixture
def quick(monkeypatch):
    monkeypatch.setattr(job, "size_from", lambda path, parts=None, **_: ferry())


def test_every_row_is_the_exact_models_and_of_one_order() -> None:
    found = ferry()
    assert [c.number for c in found.changes] == list(range(1, len(found.changes) + 1))
    order = [job.VERDICTS.index(c.verdict) for c in found.changes]
    assert order == sorted(order)
    assert {"motors", "ratio", "converter", "handle", "arms", "rectifier", "cable"} <= {
        c.kind for c in found.changes}
    for change in found.changes[:1]:
        band = find_band(change.rig, deep=False)
        machine = change.machine
        assert (machine.low_tpm, machine.target_tpm, machine.high_tpm) == (
            band.low_tpm, band.target_tpm, band.high_tpm)
        assert machine.arm_w == float(band.at_target.arm_w)
        assert machine.ten_percent_arm_kj == pytest.approx(
            machine.arm_w * machine.ten_percent_min * 0.06)


def test_what_helps_is_better_by_the_measure_and_dangerous_is_never_help() -> None:
    found = ferry()
    for change in found.changes:
        if change.verdict == "helps" and not change.start:
            assert change.machine.works_share > found.now.works_share + 0.02 or (
                change.effort_ratio[1] < 0.99 and change.helps_share >= 0.9)
        assert (change.verdict == "dangerous") == any(h.refuses for h in change.new_hazards)
    worse = next(c for c in found.changes if c.change == "one more motor in series")
    assert worse.verdict == "dangerous"
    best = found.changes[0]
    assert (best.kind, best.verdict) == ("rectifier", "helps")
    # a diode less in the way of E I: drop over the bus's volts at the target, within a percent
    rig = read_rig(FERRY)
    volts = float(find_band(rig, deep=False).at_target.bus_v)
    assert best.effort_ratio[1] == pytest.approx(1 - rig.rectifier.drop_v / (volts + 1), abs=0.02)


def test_sure_is_the_tolerances() -> None:
    sure = sure_band(read_rig(FERRY), deep=False, builds=2048)
    assert ferry().now.sure_low_tpm == pytest.approx(sure.low_tpm, abs=2.5)
    assert ferry().now.works_share == pytest.approx(sure.works_share, abs=0.02)


def test_text_fits_and_names_the_measure(quick) -> None:
    status, out, err = run("--from", "night-ferry")
    assert (status, err) == (0, "")
    assert max(map(len, out.splitlines())) <= 80
    assert "one Schottky diode" in out
    assert "DANGEROUS" in out
    assert "next: steadyturn size --from night-ferry --why 1" in out
    assert cautions.POINTER in out
    assert not any(one in out for one in cautions.short("flash"))  # nothing is turned yet
    danger = next(c.number for c in ferry().changes if c.verdict == "dangerous")
    status, out, _ = run("--from", "night-ferry", "--why", str(danger))
    assert status == 0
    assert max(map(len, out.splitlines())) <= 80
    assert "Of 100 machines" in " ".join(out.split())
    assert "! DANGEROUS: it needs" in out


def test_what_costs_the_arm_work_is_never_the_next_step(monkeypatch) -> None:
    """A wider band for more work is shown with the odds of the band, and not advised."""
    found = ferry()
    all_work = {"machine": dataclasses.replace(found.now, works_share=1.0)}
    wider = dataclasses.replace(found.changes[0], verdict="wider", helps_share=0.0,
                                harms_share=1.0, wider_share=0.83, **all_work)
    free = dataclasses.replace(wider, harms_share=0.0)
    assert (wider.advised, free.advised, found.changes[0].advised) == (False, True, True)
    one = dataclasses.replace(found, now=all_work["machine"], changes=(wider,))
    monkeypatch.setattr(job, "size_from", lambda path, parts=None, **_: one)
    _, out, _ = run("--from", "night-ferry")
    assert "No single change surely saves the arm work" in " ".join(out.split()[:60])
    assert out.endswith("next: steadyturn charge night-ferry\n")
    assert "  works  " not in out
    assert f"  83  {wider.change[:12]}" in out
    _, out, _ = run("--from", "night-ferry", "--why", "1")
    assert out.endswith("next: steadyturn size --from night-ferry\n")
    gains = [c.wider_share for c in found.changes
             if c.machine.sure_tpm > found.now.sure_tpm + 6 and c.verdict != "dangerous"]
    assert all(share > 0.2 for share in gains)


def test_json_is_the_list(quick) -> None:
    status, out, _ = run("--from", "night-ferry", "--json")
    assert status == 0
    found = json.loads(out)
    assert len(found["changes"]) == len(ferry().changes)
    for change in found["changes"]:
        assert change.keys() >= {"verdict", "helps_share", "effort_ratio", "new_hazards",
                                 "price_eur", "machine"}
        assert "rig" not in change


def test_every_row_is_written_as_it_was_judged(quick, tmp_path) -> None:
    old = FERRY.read_text(encoding="utf-8")
    for change in ferry().changes:
        path = tmp_path / f"{change.number}.toml"
        written = job.write(ferry(), change.number, path)
        made = read_rig(path)
        assert made.origins == change.rig.origins
        assert written.change is change
        assert all(line.strip() in path.read_text(encoding="utf-8") for line in old.split("\n"))
    status, _, err = run("--from", "night-ferry", "--write", str(tmp_path / "1.toml"))
    assert status == 2
    assert "1.toml" in err


def test_nothing_helps_is_a_no_and_wrong_input_is_told(quick, tmp_path, monkeypatch) -> None:
    every = job._options
    monkeypatch.setattr(job, "_options", lambda *of: every(*of)[:3])
    monkeypatch.setattr(job.weigh, "weigh", functools.partial(job.weigh.weigh, builds=16))
    toy = WHOLE(example_path("toy-motor"))
    assert not toy.helps
    monkeypatch.setattr(job, "size_from", lambda path, parts=None, **_: toy)
    status, out, _ = run("--from", "toy-motor")
    assert status == 1
    assert "steadyturn pace toy-motor" in out
    monkeypatch.setattr(job, "size_from", WHOLE)
    for args, said in ((("--from", "attic-drawer"), "parts file, not a rig file"),
                       (("lakeside-hut",), "--from lakeside-hut"),
                       (("--from", "no.toml"), "no such file"),
                       (("--from", "x", "--new", "y"), "alone")):
        status, _, err = run(*args)
        assert status == 2
        assert said in err
    shutil.copy(FERRY, tmp_path / "mine.toml")
    status, _, err = run(str(tmp_path / "mine.toml"))
    assert status == 2
    assert "--from" in err


def test_a_larger_capacitor_is_offered_where_the_present_one_hunts() -> None:
    rig = read_rig(example_path("radio-tent"))
    tree = job.tree_of(example_path("radio-tent").read_text(encoding="utf-8"))
    band, by = find_band(rig, deep=False), job.weigh.weigh(rig, [], builds=16)[0]
    now = job._machine(rig, band, by)
    (found,) = job._capacitor(rig, tree, band.low_tpm, by, now, (), "tent")
    assert found.rig.bus.capacitor_f > 2 * rig.bus.capacitor_f
    assert found.start
    assert found.start.split()[0] in report._row(found)[2]
    assert not job._capacitor(found.rig, tree, band.low_tpm, by, now, (), "tent")
