"""`steadyturn bringup`: every rig gets a narrow sheet whose readings are the model's."""

from __future__ import annotations

import json
import re
import sys
from dataclasses import replace
from math import isfinite
from pathlib import Path

import pytest
from steadyturn.circuit import standard
from steadyturn.circuit.references import REF_V
from steadyturn.circuit.table import fitted
from steadyturn.circuit.values import design, values
from steadyturn.cli import main as front
from steadyturn.errors import Failed
from steadyturn.jobs.bringup import Bringup, bringup_of
from steadyturn.jobs.card import card_of
from steadyturn.model import bank
from steadyturn.model.change import with_value
from steadyturn.model.point import operate
from steadyturn.report import bringup_page
from steadyturn.report.bringup import text
from steadyturn.report.bringup_words import sheet
from steadyturn.report.card import text as card_text
from steadyturn.report.objects import to_object
from steadyturn.rig.examples import example_names, example_path
from steadyturn.rig.file import read_rig
from steadyturn.rig.types import Rig

sys.path.insert(0, str(Path(__file__).parents[1] / "report"))
from page_reader import faults


@pytest.fixture(scope="module")
def sheets() -> dict[str, Bringup]:
    return {name: bringup_of(read_rig(example_path(name)), f"{name}.toml")
            for name in example_names()}


def test_every_example_has_a_narrow_sheet_and_a_clean_page(sheets) -> None:
    for name, b in sheets.items():
        said = text(b)
        assert max(map(len, said.splitlines())) <= 80, name
        done = [key for stage in b.stages if not stage.barred for key in stage.steps]
        assert said.count("\n[ ] ") == len(done) == len(b.sheet.steps), name
        page = bringup_page.page(b)
        assert faults(page) == [], name
        assert page.count('class="box"') == len(done), name
        assert page.count('class="write"') == sum(len(s.rows) for s in b.sheet.steps.values())


@pytest.mark.parametrize("name", ["lakeside-hut", "night-ferry", "radio-tent"])
def test_readings_are_the_models(sheets, name) -> None:
    """Worked out again from the rig: EMF by its constant, the rest by `operate`."""
    b, rig = sheets[name], read_rig(example_path(name))
    values = {r.name: r.value for r in b.readings}
    per_tpm = bank.emf_v_per_tpm(rig)
    counted = [r for r in b.readings if r.name.startswith("row_v@")]
    assert {30.0, round(b.target_tpm)} <= {r.pace_tpm for r in counted}
    for one in counted:
        assert one.value == pytest.approx(one.pace_tpm * per_tpm)
    assert values["row_ohm"] == pytest.approx(rig.bank.series * rig.motor.terminal_ohm)
    assert values["bus_v@30"] == pytest.approx(float(operate(rig, 30, connected=False).idle_v))
    dummy = next(r.ohm for r in b.resistors if r.name == "dummy")
    loaded = with_value(with_value(rig, "load.cable_m", 0.0), "load.resistance_ohm", dummy)
    loaded = with_value(loaded, "load.kind", "resistor")
    paces = [r.pace_tpm for r in b.readings if r.name.startswith("load_bus_v@")]
    assert len(paces) == 3
    assert b.low_tpm <= paces[0] < b.low_tpm + 1
    assert b.high_tpm - 1 < paces[-1] <= b.high_tpm
    for pace in paces:
        at = operate(loaded, pace)
        assert values[f"load_bus_v@{pace:g}"] == pytest.approx(float(at.bus_v))
        assert values[f"load_bus_a@{pace:g}"] == pytest.approx(float(at.bus_a))
        assert values[f"load_out_v@{pace:g}"] == pytest.approx(float(at.out_v))
    at = operate(rig, b.target_tpm)
    assert values["device_v"] == pytest.approx(float(at.out_v))
    trial = next(r.ohm for r in b.resistors if r.name == "winding")
    amps = values["trial_loaded_v"] / trial  # beyond the brushes' knee: their full drop
    brushes = rig.bank.series * rig.motor.brush_drop_v
    assert 30 * per_tpm - amps * (values["row_ohm"] + trial) == pytest.approx(brushes, abs=1e-3)


def test_ranges_hold_the_value_and_what_the_rig_does_not_know(sheets) -> None:
    for b in sheets.values():
        for r in b.readings:
            assert 0 <= r.low < r.value < r.high, (b.rig, r)
            assert isfinite(r.high)
    rig = read_rig(example_path("lakeside-hut"))
    worse = with_value(rig, "motor.terminal_ohm", rig.origins["motor.terminal_ohm"].high)
    usual = {r.name: r for r in sheets["lakeside-hut"].readings}
    at = operate(worse, 60, connected=False)
    assert usual["bus_v@60"].low < float(at.idle_v) < usual["bus_v@60"].value
    assert usual["row_ohm"].high > 2 * worse.motor.terminal_ohm
    given = with_value(rig, "rectifier.drop_v", 1.1 * rig.rectifier.drop_v)
    assert float(operate(given, 60, connected=False).idle_v) > usual["bus_v@60"].low


def test_resistors_are_sold_and_bear_what_they_get(sheets) -> None:
    for b in sheets.values():
        for r in b.resistors:
            step = r.ohm / 10 ** (len(f"{r.ohm:.0f}") - 1) if r.ohm >= 1 else r.ohm * 10
            assert any(abs(step - e) < 1e-6 for e in standard.E24), r
            assert r.rating_w >= 1.9 * r.watts
            assert r.rating_w in standard.WATTS
        dummy = next(r for r in b.resistors if r.name == "dummy")
        out_v = b.described.converter.out_v
        assert out_v / dummy.ohm <= 1.03 * b.described.load.draw_a
        winding = next(r for r in b.resistors if r.name == "winding")
        volts = next(r.value for r in b.readings if r.name == "trial_loaded_v")
        assert volts / winding.ohm <= b.described.motor.max_a
        assert volts**2 / winding.ohm <= winding.watts * 1.0001


def test_trials_act_where_they_say(sheets) -> None:
    """A 431 acts where its reference pin stands at 2.495 V: the divider, worked out again."""
    for name in ("lakeside-hut", "night-ferry", "radio-tent"):
        b, rig = sheets[name], read_rig(example_path(name))
        made = design(rig, b.low_tpm, b.high_tpm)
        for trip, trial in ((made.cut, b.protected.cut_trial),
                            (made.clamp.trip, b.protected.clamp_trial)):
            both = trip.upper_ohm * trial.resistor.ohm / (trip.upper_ohm + trial.resistor.ohm)
            assert trial.nominal_v == pytest.approx(REF_V * (1 + both / trip.lower_ohm), abs=0.05)
            assert trial.low_v < trial.nominal_v < trial.high_v
        assert b.protected.cut_trial.high_v < 0.95 * rig.converter.out_v
        clamp = b.protected.clamp_trial
        dummy = next(r.ohm for r in b.resistors if r.name == "dummy")
        assert clamp.without_v > 1.04 * clamp.high_v  # the meter tells it from no clamp
        amps = (clamp.without_v - clamp.low_v) / (bank.source_ohm(rig) + dummy)
        assert amps * made.clamp.load_ohm < clamp.low_v - 1.5  # and Q1 can hold it
    tent = sheets["radio-tent"]  # a boost: a second cut stands beside that at the output
    assert "bus_cut" in tent.sheet.steps
    assert tent.protected.bus_cut_trial.high_v < tent.described.converter.out_v
    assert "bus_cut" not in sheets["lakeside-hut"].sheet.steps
    assert sheets["toy-motor"].protected.clamp_trial is None


def test_what_must_wait(sheets) -> None:
    barred = {name: {s.key: s.barred for s in b.stages} for name, b in sheets.items()}
    assert not any(barred["lakeside-hut"].values())
    assert barred["toy-motor"]["board"] == "no_band"
    assert not barred["toy-motor"]["converter"]
    barn = sheets["dangerous-barn"]
    assert barred["dangerous-barn"]["usb"] == "hazard"
    assert barred["dangerous-barn"]["phone"] == "before"
    assert "fastest" not in next(s.steps for s in barn.stages if s.key == "resistor")
    rig = read_rig(example_path("dangerous-barn"))  # the boost passes 5.9 V less its drop
    assert barn.device_tpm == int((rig.load.max_v + rig.converter.pass_drop_v)
                                  / bank.emf_v_per_tpm(rig, rig.air.cold_c) / 1.05)
    assert all(r.pace_tpm <= barn.device_tpm for r in barn.readings if r.name.startswith("load"))


def test_a_weak_capacitor_limits_every_pace() -> None:
    rig = with_value(read_rig(example_path("lakeside-hut")), "bus.capacitor_max_v", 10.0)
    b = bringup_of(rig, "weak.toml")
    assert b.most_tpm == int(10.0 / bank.emf_v_per_tpm(rig, rig.air.cold_c) / 1.05)
    assert all(r.pace_tpm <= b.most_tpm for r in b.readings if r.pace_tpm is not None)
    assert f"never above {b.most_tpm:.0f} turns/min" in " ".join(text(b).split())


def test_steps_follow_the_rig(sheets) -> None:
    rig = read_rig(example_path("lakeside-hut"))
    steps = set(sheets["lakeside-hut"].sheet.steps)
    assert {"series", "alert", "let_go", "parade"} <= steps
    assert not {"parallel", "turn_sensor", "thermistor", "second_load"} & steps
    for key, value in {"bank.series": 1, "bank.parallel": 2, "sensor.turn_pulses": 2,
                       "sensor.alert_wired": False, "bus.second_load_ohm": 47.0}.items():
        rig = with_value(rig, key, value)
    steps = set(bringup_of(rig, "x").sheet.steps)
    assert {"parallel", "turn_sensor", "second_load"} <= steps
    assert not {"series", "alert"} & steps


@pytest.mark.parametrize(("rig", "code"), [("night-ferry", 0), ("toy-motor", 1)])
def test_the_command(rig, code, tmp_path, capsys) -> None:
    page = tmp_path / "sheet.html"
    assert front.code(["bringup", rig, "--html", str(page), "--json"]) == code
    found = json.loads(capsys.readouterr().out)
    assert page.read_text(encoding="utf-8").startswith("<!doctype html>")
    assert found["page"] == str(page)
    assert found["sheet"]["steps"]["ohms"]["rows"][0]["name"] == "row_ohm"


def test_with_a_page_only_what_comes_first_is_printed(tmp_path, capsys) -> None:
    assert front.code(["bringup", "night-ferry", "--html", str(tmp_path / "sheet.html")]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert len(lines) < 30
    assert "Written to" in " ".join(lines[-6:])
    said = " ".join(lines)
    assert "begin at step 1.1" in said
    assert said.endswith("steadyturn card night-ferry")


def test_a_page_that_cannot_be_written(tmp_path, capsys) -> None:
    assert front.code(["bringup", "night-ferry", "--html", str(tmp_path / "x.txt")]) == 2
    assert ".html" in capsys.readouterr().err


def test_hostile_names_stay_words(sheets) -> None:
    hostile = replace(sheets["lakeside-hut"], rig="<script>alert(1)</script>" + "W" * 23,
                      file="<img src=x>.toml")
    page = bringup_page.page(replace(hostile, sheet=sheet(hostile)))
    assert faults(page) == []
    assert "<script" not in page
    assert "<img" not in page


def made_safe(rig: Rig) -> Rig:
    """With ratings that bear what it brings, so that many have a card."""
    rectifier = "bridge" if rig.rectifier.kind == "bridge" else "schottky"
    for key, value in {"bus.capacitor_max_v": 100.0, "converter.max_in_v": 60.0,
                       "switch.max_v": 200.0, "sensor.divider": 30.0, "rectifier.max_v": 200.0,
                       "sensor.alert_wired": True, "rectifier.kind": rectifier,
                       "protection.bus_clamp_v": None}.items():
        rig = with_value(rig, key, value)
    return rig


@pytest.mark.soak
def test_random_rigs_have_a_sheet_and_a_card_or_a_reason() -> None:
    """Every converter kind, place, feed and load; made safe, so that many have a card."""
    sys.path.insert(0, str(Path(__file__).parents[1] / "model"))
    from random_rigs import random_rigs

    given = 0
    for number, some in enumerate(random_rigs(150)):
        cut = (5.45, None)[number % 2]
        rig = with_value(made_safe(some), "protection.output_cut_v", cut)
        b = bringup_of(rig, "random.toml")
        said = text(b)
        assert max(map(len, said.splitlines())) <= 80, rig.name
        assert not {"nan", "inf"} & set(said.replace("(", " ").split()), rig.name
        assert faults(bringup_page.page(b)) == [], rig.name
        assert all(isfinite(r.value) and r.low <= r.value <= r.high for r in b.readings), rig.name
        if b.feasible and b.safe and not b.unset:
            given += 1
            card = card_of(rig, "random.toml")
            assert max(map(len, card_text(card).splitlines())) <= 80, rig.name
        else:
            with pytest.raises(Failed):
                card_of(rig, "random.toml")
    assert given > 15


def test_designators_are_those_of_the_circuit(sheets) -> None:
    """Every R2, Q7 and U6 that a sheet names is fitted in that rig's circuit, and what is laid
    across an upper arm is laid across the right one."""
    for name, b in sheets.items():
        made = design(b.described, b.low_tpm, b.high_tpm)
        parts = fitted(b.described, values(b.described, made))
        sheet_ = replace(b.sheet, warnings=(), needed=())
        named = set(re.findall(r"\b[RCQDUJFL]\d{1,2}\b", json.dumps(to_object(sheet_))))
        assert named > {"R29", "J1"}, name
        assert named <= {p.ref for p in parts}, name
        amounts = {p.ref: p.amount for p in parts}
        assert amounts["R2"] == made.clamp.trip.upper_ohm
        assert amounts["R29"] == made.cut.upper_ohm
        assert amounts.get("R18", made.trip.upper_ohm) == made.trip.upper_ohm
