"""`check` holds the board's ADC pins against 3.3 V, and says which divider would do."""

from __future__ import annotations

import re
from pathlib import Path

from steadyturn.jobs.check import Check, check
from steadyturn.report.check import text
from steadyturn.rig.examples import FOLDER

HUT = (FOLDER / "lakeside-hut.toml").read_text()


def checked(tmp_path: Path, rig: str) -> Check:
    path = tmp_path / "rig.toml"
    path.write_text(rig)
    return check(path)


def with_divider(divider: float) -> str:
    return HUT.replace('chip = "ina226"', f'chip = "ina226"\ndivider = {divider}')


def only(found: Check, name: str):
    return next((h for h in found.hazards if h.name == name), None)


def test_the_bus_pin(tmp_path: Path) -> None:
    """24.8 V with nothing connected, at 150 turns/min: 7.5 : 1 and no less."""
    assert only(checked(tmp_path, with_divider(7.6)), "open_circuit_adc") is None
    found = checked(tmp_path, with_divider(5))
    hazard = only(found, "open_circuit_adc")
    assert hazard.rating_v == 3.3
    assert 4.9 < hazard.volts < 5.0
    assert hazard.refuses
    assert not found.safe
    needed = float(re.search(r"A divider of ([\d.]+) : 1 or more", hazard.how)[1])
    assert only(checked(tmp_path, with_divider(needed)), "open_circuit_adc") is None
    assert only(checked(tmp_path, with_divider(needed - 0.1)), "open_circuit_adc") is not None
    said = " ".join(text(found).split())
    assert "4.96 V where 3.3 V is borne: the board's ADC pin sees them" in said
    assert hazard.how in said


def test_a_clamp_helps_the_pin_too(tmp_path: Path) -> None:
    rig = with_divider(5).replace("[protection]", "[protection]\nbus_clamp_v = 16\n"
                                  "bus_clamp_w = 100")
    assert only(checked(tmp_path, rig), "open_circuit_adc") is None


def test_without_the_pin_there_is_no_hazard(tmp_path: Path) -> None:
    rig = with_divider(5) + "\n[board.pins]\nbus_adc_pin = -1\n"
    assert only(checked(tmp_path, rig), "open_circuit_adc") is None


def test_a_divider_that_nobody_gave_is_called_assumed(tmp_path: Path) -> None:
    """11 : 1 is assumed; a machine of 40 V open needs more."""
    rig = HUT.replace("emf_v_per_krpm = { measured = 3.06, low = 3.02, high = 3.10",
                      "emf_v_per_krpm = { measured = 5.1, low = 5.0, high = 5.2")
    hazard = only(checked(tmp_path, rig), "open_circuit_adc")
    assert hazard.how.startswith("The divider of 11 : 1 is only assumed. ")


def test_the_reservoirs_pin(tmp_path: Path) -> None:
    """5.2 V behind 3 : 1 is fine, behind 1.5 : 1 it is 3.47 V."""
    pins = "\n[board.pins]\nsupply_permille = {}\n"
    assert only(checked(tmp_path, HUT + pins.format(1600)), "reservoir_adc") is None
    found = checked(tmp_path, HUT + pins.format(1500))
    hazard = only(found, "reservoir_adc")
    assert not found.safe
    assert "1.6 : 1 or more" in hazard.how
    unwatched = HUT + pins.format(1500) + "supply_adc_pin = -1\n"
    assert only(checked(tmp_path, unwatched), "reservoir_adc") is None
