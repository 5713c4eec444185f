"""Whole machines from textbooks: generators with what hangs on them, reflected inertia,
best efficiency, trains. Sources beside each; their numbers were recalculated."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from bare_rig import PACE, thevenin
from steadyturn.model import arm, gears, motor
from steadyturn.model.dynamics_parts import Parts
from steadyturn.model.line import source_line
from steadyturn.model.point import operate
from steadyturn.model.states import Output
from steadyturn.rig.types import RPM, Bus, Crank, Motor, Stage, specs

POUND_INCH_NM = 0.1129848  # exact to seven figures
HORSEPOWER_W = 745.7


def test_e2_the_other_root() -> None:
    """Fitzgerald 6e example 11.5 p.573: 100 W at 40 V (50 V) has a second root at 12.57 (9.78)
    rad/s, computed from the book's figures. The power balance vanishes there as well; the
    operating point is never that one."""
    for volts, stable, other in ((40.0, 169.2, 12.57), (50.0, 217.5, 9.78)):
        rig = thevenin(volts, 1.03, 100.0)
        line = source_line(rig, np.array([volts]), np.array([20.0]))
        output = Output(rig)
        for speed in (stable, other):
            amps = np.array([(volts - 0.22 * speed) / 1.03])
            left, _ = output.power(line.at(amps))
            assert abs(float(left[0])) < 0.5  # W of 100, for speeds of four figures
        assert float(operate(rig, PACE).bus_v) == pytest.approx(0.22 * stable, rel=1e-3)


def test_e5_theraja_26_3_generator_with_shunt() -> None:
    """Theraja, Electrical Technology II, example 26.3 p.912: 450 A at 230 V, Ra 0.03, Rsh 50:
    E 243.6 V. The shunt field hangs on the bus as a bleed does."""
    rig = thevenin(243.638, 0.03, 450 * 230.0, bus=Bus(bleed_ohm=50))
    rig = replace(rig, converter=replace(rig.converter, out_limit_a=1e6))
    at = operate(rig, PACE)
    assert float(at.bus_v) == pytest.approx(230, rel=1e-4)
    assert float(at.bus_a) == pytest.approx(450, rel=1e-4)
    assert float(at.motor_a) == pytest.approx(454.6, rel=1e-4)


def test_e9_theraja_26_31_generator_input() -> None:
    """Theraja II example 26.31 p.931: 10 kW at 240 V, Ra 0.6, Rsh 160, iron and mechanical
    500 W, shunt copper 360 W: 11.978 kW in, 83.49 %."""
    amps = 10_000 / 240 + 240 / 160
    emf = 240 + amps * 0.6
    rig = thevenin(emf, 0.6, 10_000.0, bus=Bus(bleed_ohm=160))
    rig = replace(rig, motor=replace(rig.motor, no_load_a=500 / emf))
    at = operate(rig, PACE)
    assert float(at.bus_v) == pytest.approx(240, rel=1e-6)
    assert float(at.losses_w["bleed"]) == pytest.approx(360, rel=1e-6)
    assert float(at.losses_w["motor_friction"]) == pytest.approx(500, rel=1e-6)
    assert float(at.arm_w) == pytest.approx(11_978, rel=1e-4)
    assert float(at.out_w / at.arm_w) == pytest.approx(0.8349, rel=1e-4)


def test_e11_burman_4_4_stall() -> None:
    """Burman, Special Electrical Machines, example 4.4: 48 V, 2 V of device drop, 2 x 0.15 ohm,
    K 0.12: 18.4 N m at stall."""
    stalled = Motor(emf_v_s=0.12, terminal_ohm=0.3, no_load_a=0.0, brush_drop_v=2.0,
                    brush_knee_a=0.1)
    amps = 46 / 0.3
    assert float(motor.terminal_v(stalled, 0.0, -amps)) == pytest.approx(48, rel=1e-9)
    assert -float(motor.shaft_nm(stalled, 0.0, -amps)) == pytest.approx(18.4, rel=1e-9)


@pytest.mark.parametrize(("no_load_a", "stall_a", "best", "at_a"), [
    (0.1, 10.0, 0.8100, 1.000), (0.2, 5.0, 0.6400, 1.000), (0.02, 1.0, 0.7372, 0.1414)])
def test_best_efficiency_as_a_motor(no_load_a, stall_a, best, at_a) -> None:
    """eta_max = (1 - sqrt(I0 / IA))**2 at I = sqrt(I0 IA), IA = V / R: maxon and Faulhaber
    formula sheets, from memory."""
    one = Motor(emf_v_s=0.02, terminal_ohm=12 / stall_a, no_load_a=no_load_a, brush_drop_v=0)
    amps = np.linspace(no_load_a, stall_a, 20_001)
    speed = (12 - amps * one.terminal_ohm) / 0.02
    assert np.allclose(motor.terminal_v(one, speed, -amps), 12)
    eta = -motor.shaft_nm(one, speed, -amps) * speed / (12 * amps)
    assert eta.max() == pytest.approx(best, rel=1e-3)
    assert amps[eta.argmax()] == pytest.approx(at_a, rel=1e-2)


def test_matched_load_wastes_half() -> None:
    """E**2 / (4 R) at V = E / 2, where the electrical efficiency is 50 % (Hambley 2.21)."""
    at = operate(thevenin(10, 4, 6.25 * (1 - 1e-9)), PACE)
    assert float(at.losses_w["winding"]) == pytest.approx(6.25, rel=1e-3)
    assert float(at.out_w / at.arm_w) == pytest.approx(0.5, rel=1e-3)


def test_e17_dubey_reflected_inertia() -> None:
    """Dubey, Fundamentals of Electrical Drives, example 2.1 p.16: J0 0.2, 10 kg m2 through a
    ratio of 0.1, 1000 kg hoisted at 1.5 m/s at 1420 rpm: 0.40 kg m2. The hoist's share is
    written out here; the others are the handle's and the motor's."""
    rig = thevenin(10, 4, 1, stages=(Stage(ratio=0.1, efficiency=0.9),))
    rig = replace(rig, motor=replace(rig.motor, inertia_kg_m2=10.0),
                  crank=Crank(friction_nm=0.0, inertia_kg_m2=0.2))
    hoist = 1000 * 1.5**2 / (1420 * RPM) ** 2
    assert Parts(rig, 0.002).inertia + hoist == pytest.approx(0.40, rel=5e-3)


def test_t1_wentzell_11_1_power() -> None:
    """Wentzell, Machine Design, example 11.1 p.217: 11.43 hp at 400 rpm and 1800 lb in, and
    11.43 hp at 3600 rpm and 200 lb in."""
    slow = float(arm.power_w(1800 * POUND_INCH_NM, 400)) / HORSEPOWER_W
    fast = float(arm.power_w(200 * POUND_INCH_NM, 3600)) / HORSEPOWER_W
    assert slow == pytest.approx(11.43, rel=1e-3)
    assert fast == pytest.approx(slow)


def test_t4_khurmi_13_3_reverted_train() -> None:
    """Khurmi, Theory of Machines, example 13.3 p.435: a reverted train of about 12:1 on 200 mm
    with modules 3.125 and 2.5 mm: teeth 28/99 and 36/124."""
    train = (Stage(driver_teeth=99, driven_teeth=28), Stage(driver_teeth=124, driven_teeth=36))
    assert gears.ratio(train) == pytest.approx(12, rel=0.02)
    both = [m * sum(teeth) / 2 for m, teeth in ((3.125, (28, 99)), (2.5, (36, 124)))]
    assert both == pytest.approx([200, 200], rel=0.01)


def test_efficiency_of_a_mesh() -> None:
    """One plastic kit stage 85 %, "varies widely" (MIT 2.007 page); spur meshes 94-98 %
    (meadinfo.org), at best 99 %: what is assumed, and what a rig file may say."""
    spec = specs(Stage)["efficiency"]
    low, middle, high = spec.typical
    assert middle == 0.85
    assert low < middle
    assert 0.94 <= high <= 0.98
    assert spec.low < low
    assert spec.high == 1


def test_typical_motors_are_accepted() -> None:
    """Brush drop: 2 V a pair for carbon (Theraja 26.4, 26.5; IEEE Std 113), metal-graphite
    0.2-0.6 V and precious metal 0.05-0.1 V a brush (from memory). Ohm and no-load ampere of
    hobby cans: 0.3-25 ohm, 0.02-1.5 A (from memory)."""
    known = specs(Motor)
    drop = known["brush_drop_v"]
    assert drop.low <= 2 * 0.05
    assert drop.high >= 2.0
    assert min(drop.typical) <= 2 * 0.05
    assert 2 * 0.2 <= max(drop.typical) <= 2.0
    for key, least, most in (("terminal_ohm", 0.3, 25.0), ("no_load_a", 0.02, 1.5)):
        assert known[key].low <= least
        assert known[key].high >= most
