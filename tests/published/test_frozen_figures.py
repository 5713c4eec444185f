"""Gear trains and motors against figures of independent libraries that are no test
dependencies: gearpy 1.3.1, gym-electric-motor 3.0.3. frozen/ has the figures and the
scripts that made them."""

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


GEM = json.loads(Path(__file__).with_name("frozen").joinpath("gem.json").read_text())


def test_machine_of_gym_electric_motor() -> None:
    """Steady current and torque of gym-electric-motor 3.0.3's permanently excited DC machine,
    as generator and as motor (frozen/gem.json, made by frozen/make_gem.py): its current
    flows in, ours flows out."""
    assert GEM["gym_electric_motor"] == "3.0.3"
    assert len(GEM["rows"]) == 36
    for row in GEM["rows"]:
        made = Motor(emf_v_s=row["psi_v_s"], terminal_ohm=row["ohm"], no_load_a=0.0,
                     brush_drop_v=0.0)
        amps = -row["amps_as_motor"]
        assert float(motor.terminal_v(made, row["rad_s"], amps)) == pytest.approx(
            row["terminal_v"], abs=1e-9)
        assert float(motor.shaft_nm(made, row["rad_s"], amps)) == pytest.approx(
            -row["torque_as_motor_nm"], abs=1e-9)
