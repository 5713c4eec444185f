"""Gear trains and the motor's line against figures of gearpy 1.3.1, an independent library
(frozen/gearpy.json; how they were made: frozen/make_gearpy.py)."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from bare_rig import thevenin
from steadyturn.model import arm, gears, motor
from steadyturn.rig.types import RPM, Motor, Stage

FROZEN = json.loads(Path(__file__).with_name("frozen").joinpath("gearpy.json").read_text())


def test_what_is_frozen() -> None:
    assert FROZEN["gearpy"] == "1.3.1"
    assert len(FROZEN["line"]) == 7
    assert len(FROZEN["trains"]) == 3


def test_motor_line() -> None:
    """T = Tstall (1 - w / w0) of the shaft, current linear between no load and stall."""
    said = FROZEN["motor"]
    # T = k (I - I0): the shaft's torque at stall gives k, the volts then give the ohms
    k = said["stall_nm"] / (said["stall_a"] - said["no_load_a"])
    free = said["no_load_rpm"] * RPM
    ohm = k * free / (said["stall_a"] - said["no_load_a"])
    volts = ohm * said["stall_a"]
    made = Motor(rated_v=volts, no_load_rad_s=free, no_load_a=said["no_load_a"],
                 terminal_ohm=ohm, brush_drop_v=0.0)
    assert motor.emf_constant(made) == pytest.approx(k, rel=1e-9)
    for row in FROZEN["line"]:
        speed = row["speed_rpm"] * RPM
        assert float(motor.terminal_v(made, speed, -row["motor_a"])) == pytest.approx(volts)
        assert -float(motor.shaft_nm(made, speed, -row["motor_a"])) == pytest.approx(
            row["shaft_nm"], abs=1e-12)


@pytest.mark.parametrize("row", FROZEN["trains"], ids=lambda row: f"{len(row['teeth'])} stages")
def test_step_up_trains(row) -> None:
    """Speeds by the ratio; the driver pays the load times the ratio over the efficiency."""
    train = tuple(Stage(driver_teeth=slow, driven_teeth=fast, efficiency=share)
                  for (slow, fast), share in zip(row["teeth"], row["efficiency"], strict=True))
    assert row["driver_rpm"] * gears.ratio(train) == pytest.approx(row["last_rpm"])
    rig = thevenin(10, 4, 1, stages=train)
    assert float(arm.crank_nm(rig, row["load_nm"])) == pytest.approx(row["driver_nm"])
