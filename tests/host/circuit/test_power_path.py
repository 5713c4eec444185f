"""The power path in every mishap: what ngspice finds, and what is stored of it.

protection.json holds all runs (power_bench.py writes it); some are run again each time where
ngspice is installed, all of them with `-m soak`.
"""

from __future__ import annotations

import os
import re
from dataclasses import replace
from functools import cache
from pathlib import Path

import power_bench as bench
import pytest
from steadyturn.circuit import spice_models, verdicts
from steadyturn.circuit.mishaps import MISHAPS, Mishap, possible
from steadyturn.circuit.netlist import netlist
from steadyturn.circuit.verdicts import Run
from steadyturn.drawings import protection_chart

ROOT = Path(__file__).parents[3]
BY_NAME = {mishap.name: mishap for mishap in MISHAPS}
NOT_HELD = "radio-tent, enable"  # a plain boost that cannot be parted
OFTEN = (("lakeside-hut", "converter_short_fast", "dead"),
         ("lakeside-hut", "beyond", "holds"),
         ("radio-tent", "cut_short", "acts"),
         ("lakeside-hut, enable", "host", "holds"))
# hazards.md's rows that are electrical; the others are the firmware's, the person's, the gears'
ELECTRICAL = {1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12, 13, 15, 16, 17, 18, 19, 20, 22, 23, 24, 25,
              26, 27, 28, 29, 30, 32, 33, 39, 44, 45, 46, 47}

case = cache(bench.case)


def needed() -> None:
    if bench.program() is None:
        if "ngspice" in re.split(r"[,\s]+", os.environ.get("STEADYTURN_REQUIRE", "")):
            pytest.fail("STEADYTURN_REQUIRE names ngspice, but it is not installed")
        pytest.skip("ngspice is not installed (Debian: apt-get install ngspice)")


def stored(rig: str, mishap: str, firmware: str) -> Run:
    return next(run for run in verdicts.runs()
                if (run.rig, run.mishap.name, run.firmware) == (rig, mishap, firmware))


def compare(rig: str, mishap: Mishap, firmware: str) -> Run:
    """Runs it anew; what is stored is that, within what a version of ngspice may change."""
    needed()
    old = stored(rig, mishap.name, firmware)
    new = bench.measure(case(rig), mishap, firmware)
    for name, value in old.figures.items():
        if value is None or name in ("cut_us", "clamp_us", "released_ms"):
            continue  # held against their limits: a step of the solver may change them
        if name == "cut_v" and (old.figures["cut_us"] is None) != (new["cut_us"] is None):
            continue  # the cut acted in one of them: both ways hurried to part the phone
        near = 0.05 if name == "phone_v" else max(0.03 * abs(value), 0.05)
        assert new[name] == pytest.approx(value, abs=near), (rig, mishap.name, firmware, name)
    return replace(old, figures={name: new[name] for name in old.figures})


@pytest.mark.ngspice
@pytest.mark.parametrize(("rig", "mishap", "firmware"), OFTEN)
def test_runs_hold_and_are_as_stored(rig, mishap, firmware) -> None:
    assert compare(rig, BY_NAME[mishap], firmware).broken() == {}


@pytest.mark.ngspice
def test_a_pin_stuck_high_lets_go_because_the_pump_is_emptied() -> None:
    """So the runs can fail: without R10 the coupling capacitors feed the hold."""
    needed()
    one = case("lakeside-hut")
    without = replace(one, parts=tuple(part for part in one.parts if part.ref != "R10"))
    assert bench.measure(one, BY_NAME["pulse_high"], "holds")["released_ms"] < 150
    assert bench.measure(without, BY_NAME["pulse_high"], "holds")["released_ms"] is None


@pytest.mark.soak
@pytest.mark.ngspice
@pytest.mark.parametrize("rig", ["radio-tent", "radio-tent, bus switch"])
def test_without_the_bus_cut_the_firmware_alone_is_too_late(rig) -> None:
    """A boost whose output cut has failed: 45 ms are enough for 12 V, as protection.md says."""
    needed()
    one = case(rig)
    without = replace(one, parts=tuple(p for p in one.parts if p.block != "bus_cut"))
    assert bench.measure(one, BY_NAME["cut_short"], "acts")["phone_v"] < 5.5
    assert 12 < bench.measure(without, BY_NAME["cut_short"], "acts")["phone_v"] < 13


@pytest.mark.soak
@pytest.mark.ngspice
@pytest.mark.parametrize("part", range(4))
@pytest.mark.parametrize("rig", bench.RIGS)
def test_every_run(rig, part) -> None:
    for mishap in MISHAPS[part::4]:
        if possible(mishap, case(rig).parts):
            for firmware in mishap.firmware:
                new = compare(rig, mishap, firmware)
                assert rig == NOT_HELD or not new.broken(), (rig, mishap.name, firmware)


@pytest.mark.soak
@pytest.mark.ngspice
@pytest.mark.parametrize("rig", ["lakeside-hut", "radio-tent", "night-ferry",
                                 "radio-tent, bus switch"])
def test_references_twenty_times_slower(rig, monkeypatch) -> None:
    """16 us instead of 0.8: 5.47 V at most, as protection.md says."""
    needed()
    slow = spice_models.MODELS.replace("Cx y 0 0.8n", "Cx y 0 16n")
    assert slow != spice_models.MODELS
    monkeypatch.setattr(spice_models, "MODELS", slow)
    for name in ("converter_short", "converter_short_fast", "converter_high", "bypass",
                 "bypass_late", "capacitor_open", "full"):
        mishap = BY_NAME[name]
        assert bench.measure(case(rig), mishap, mishap.firmware[0])["phone_v"] < 5.475, name


def test_every_rig_and_mishap_is_stored() -> None:
    """Every place of the load switch and every kind of converter is among them."""
    assert verdicts.rigs() == list(bench.RIGS)
    wanted = [(rig, mishap.name, firmware) for rig in bench.RIGS for mishap in MISHAPS
              if possible(mishap, case(rig).parts) for firmware in mishap.firmware]
    assert [(run.rig, run.mishap.name, run.firmware) for run in verdicts.runs()] == wanted
    rigs = [case(rig).rig for rig in bench.RIGS]
    assert {rig.switch.place for rig in rigs} == {"bus_switch", "output_switch", "enable"}
    assert {rig.converter.kind for rig in rigs} == {"boost", "buck", "buck_boost", "linear"}
    for rig in bench.RIGS:
        now = bench.results.limits(case(rig).rig, case(rig).parts, case(rig).made)
        assert stored(rig, "runaway", "acts").limits == now


def test_only_a_boost_that_cannot_be_parted_is_not_held() -> None:
    broken = {(run.rig, run.mishap.name) for run in verdicts.runs() if run.broken()}
    assert broken == {(NOT_HELD, "cut_short"), (NOT_HELD, "cut_blind")}
    assert stored(NOT_HELD, "cut_short", "acts").figures["phone_v"] > 9.0
    top = max(run.figures["phone_v"] for run in verdicts.runs() if run.rig != NOT_HELD)
    assert 5.3 < top <= 5.45 + 0.01  # the cut at its latest


def test_the_clamp_and_the_cut_act_in_time() -> None:
    """The cut within 1 ms, the clamp within 100 us, and there were runs in which they had to."""
    for figure, most_us, least in (("cut_us", 1000.0, 40), ("clamp_us", 100.0, 4)):
        times = [run.held()[figure][0] for run in verdicts.runs()
                 if figure in run.held() and run.rig != NOT_HELD]
        assert len(times) >= least
        assert max(times) < most_us / 20  # there is room
    for run in verdicts.runs():
        if run.mishap.name == "beyond" and case(run.rig).made.clamp.needed:
            made = case(run.rig).made
            most_w = made.clamp.trip.high_v * made.clamp.amps
            assert 0.1 * most_w < run.figures["clamp_w"] < 1.1 * most_w


def test_the_hold_lets_go_in_time() -> None:
    """Between the calculated shortest and longest, and the few ms that Q5 takes to open."""
    for run in verdicts.runs():
        made = case(run.rig).made.hold
        if run.mishap.name in ("pulses_stop", "pulse_high", "let_go_open"):
            assert 1e3 * made.nominal_s < run.figures["released_ms"] < 150
            assert run.figures["released_ms"] < 1e3 * made.longest_s + 6
        elif run.mishap.name == "discharge_open" and run.figures["released_ms"] is not None:
            assert 200 < run.figures["released_ms"] < 350
        elif run.mishap.lets_go:
            assert run.figures["released_ms"] is not None, (run.rig, run.mishap.name)


def test_every_mishap_has_a_picture() -> None:
    drawn = {run.mishap.name for run in verdicts.runs() if run.trace is not None}
    assert drawn == {mishap.name for mishap in MISHAPS}
    for run in verdicts.runs():
        assert run.trace is None or run.rig in protection_chart.DRAWN


def test_a_shorted_diode_and_a_handle_turned_backwards() -> None:
    """The phone is safe, C2 is not: said on the page, with both figures."""
    some = [run for run in verdicts.runs() if run.mishap.name == "diode_short_back"]
    assert {run.rig for run in some} == set(bench.RIGS)
    assert max(run.figures["phone_v"] for run in some) < 5.1
    by_kind = {rig.rectifier.kind: max(run.figures["below_v"] for run in some
                                       if case(run.rig).rig.rectifier.kind == rig.rectifier.kind)
               for rig in (case(name).rig for name in bench.RIGS)}
    assert by_kind["schottky"] > 10.0
    assert by_kind["bridge"] < 0.1


def test_a_shorted_socket_heats_the_cut_within_its_rating() -> None:
    heat = {run.rig: run.held()["q7_c"][0] for run in verdicts.runs()
            if (run.mishap.name, run.firmware) == ("output_short", "acts")}
    assert len(heat) == len(bench.RIGS)
    assert 60 < min(heat.values()) < max(heat.values()) < 150


def test_every_electrical_row_has_a_run() -> None:
    text = (ROOT / "hardware/hazards.md").read_text(encoding="utf-8")
    rows = {int(no) for no in re.findall(r"^\| (\d+) \|", text, re.MULTILINE)}
    told = {no for mishap in MISHAPS for no in mishap.rows}
    assert told == ELECTRICAL
    assert told <= rows


def test_a_part_that_is_left_out_is_missed() -> None:
    """The netlist is the table's: each part of a kind that has a model stands in it."""
    one = case("lakeside-hut")
    drive = bench.mishaps.drive(BY_NAME["runaway"], "acts", one.made, one.band, 1e3, 9.0)
    text = netlist(one.rig, one.parts, one.made, drive)
    for part in one.parts:
        if part.kind not in ("link", "sensor", "amplifier", "socket") and part.ref not in (
                "C1", "M1", "D1", "U5", "R37", "R38"):
            assert re.search(rf"^\w{part.ref}\w* ", text, re.MULTILINE), part.ref
