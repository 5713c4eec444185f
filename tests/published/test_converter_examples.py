"""Converters and reservoirs from textbooks and data sheets, through the shipped functions.

The model is averaged over a switching period: a duty is what its currents imply.
"""

from __future__ import annotations

from dataclasses import replace
from math import pi, sin

import numpy as np
import pytest
from bare_rig import PACE, thevenin
from steadyturn.model.dynamics import Machine
from steadyturn.model.point import operate
from steadyturn.rig.types import (
    Bus,
    Converter,
    Crank,
    EfficiencyPoint,
    Load,
    Rectifier,
    Rig,
    specs,
)


def part(kind: str, out_v: float, **more) -> Converter:
    """Without losses, if nothing else is said."""
    return Converter(kind=kind, out_v=out_v, **{
        "loss_w": 0.0, "loss_v": 0.0, "loss_ohm": 0.0, "headroom_v": 0.1, "pass_drop_v": 0.0,
        "start_v": 1.0, "stop_v": 0.9, "max_in_v": 500.0, "in_limit_a": 100.0,
        "out_limit_a": 100.0, **more})


def stiff(converter: Converter, in_v: float, load_ohm: float) -> Rig:
    load = Load(kind="resistor", resistance_ohm=load_ohm, cable_m=0)
    return thevenin(in_v, 1e-6, 1.0, converter=converter, load=load)


def test_v3_buck_12_to_5() -> None:
    """Buck 12 -> 5 V into 5 ohm: D 0.417, 5 W (textbook example 10.4 p.296 [FOSSEE])."""
    at = operate(stiff(part("buck", 5.0), 12.0, 5.0), PACE)
    assert float(at.out_w) == pytest.approx(5.0)
    assert float(at.bus_a / at.out_a) == pytest.approx(0.417, rel=1e-3)


def test_v4_buck_mean_current() -> None:
    """Buck 24 V, D 0.6, 7 ohm: the coil between 0.137 and 3.977 A (example 10.7 p.297
    [FOSSEE]); its mean is the output's current."""
    at = operate(stiff(part("buck", 0.6 * 24), 24.0, 7.0), PACE)
    assert float(at.out_a) == pytest.approx((0.137 + 3.977) / 2, rel=1e-3)
    assert float(at.bus_a / at.out_a) == pytest.approx(0.6, rel=1e-4)


@pytest.mark.parametrize(("in_v", "out_v", "duty"), [(5.0, 15.0, 0.6667), (10.0, 20.0, 0.5)])
def test_v6_boost_duty(in_v, out_v, duty) -> None:
    """D = (Vo - Vi) / Vo, Iin = Io / (1 - D) (electronicdesign.com 21190563). The answer
    0.8667 for 5 -> 15 V, found on one site, is wrong."""
    at = operate(stiff(part("boost", out_v), in_v, 30.0), PACE)
    assert 1 - float(at.out_a / at.bus_a) == pytest.approx(duty, rel=1e-3)


def test_v7_boost_duty_with_efficiency() -> None:
    """D = 1 - Vin eta / Vout (TI SLVA372): 8 V, 0.9, 20 V -> 0.64."""
    point = EfficiencyPoint(in_v=8.0, out_a=0.22, efficiency=0.9)
    made = part("boost", 20.0, points=(point,))
    at = operate(stiff(made, 8.0, 20 / 0.22), PACE)
    assert float(at.out_w / (at.in_v * at.bus_a)) == pytest.approx(0.9, rel=1e-4)
    assert 1 - float(at.out_a / at.bus_a) == pytest.approx(0.64, rel=1e-4)


class Still:
    def torque_nm(self, t_s: float, theta_rad: float, crank_rad_s: float) -> float:
        return 0.0


@pytest.mark.parametrize(("power_w", "seconds", "full_v", "end_v", "farad"), [
    (200.0, 0.020, 400.0, 300.0, 114.3e-6),  # V8: vbatpower.com, huntsvilleengineers.com
    (5.0, 0.5, 9.0, 6.0, 0.1111),  # V10: computed; no electrolytic bridges a turn
])
def test_hold_up(power_w, seconds, full_v, end_v, farad) -> None:
    """C = 2 P t / (V1**2 - V2**2): the capacitor alone keeps the converter running so long."""
    load = Load(kind="resistor", resistance_ohm=100 / power_w, cable_m=0)
    rig = thevenin(1.0, 1.0, 1.0, load=load, bus=Bus(capacitor_f=farad, bleed_ohm=1e9),
                   rectifier=Rectifier(kind="schottky"))
    rig = replace(rig, converter=replace(rig.converter, start_v=end_v * 1.1, stop_v=end_v,
                                         soft_start_s=0.0, out_capacitor_f=1e-6))
    machine = Machine(rig, winding_c=20.0, step_s=seconds / 2000)
    machine.state.bus_v, machine.state.converter_v = full_v, 10.0
    machine.state.converter_on = True
    machine.soft = 1.0
    while machine.state.converter_on and machine.state.time_s < 2 * seconds:
        machine.advance(machine.state.time_s + machine.step_s, Still(), True, True)
    assert machine.state.time_s == pytest.approx(seconds, rel=5e-3)


class Sine:
    """A hand that makes the pace a sine, as stiffly as the step bears."""

    def __init__(self, rad_s: float, hertz: float) -> None:
        self.rad_s, self.hertz = rad_s, hertz

    def torque_nm(self, t_s: float, theta_rad: float, crank_rad_s: float) -> float:
        return 50.0 * (self.rad_s * sin(2 * pi * self.hertz * t_s) - crank_rad_s)


@pytest.mark.parametrize(("kind", "peak_v", "ripple_v"), [
    ("schottky", 34.0, 1.13),  # half wave: 60 Hz
    ("bridge", 17.0, 0.28),  # full wave at half the volts: 120 Hz
])
def test_v11_reservoir_ripple(kind, peak_v, ripple_v) -> None:
    """V = I / (f C): 5 kohm, 100 uF, 33.95 V at 60 Hz half wave: 1.13 V; full wave at half the
    volts: 0.28 V (Malvino, Electronic Principles, examples 4-6, 4-7 [FOSSEE]). The rule counts
    the whole period as discharge and so gives some per cent too much."""
    rig = thevenin(peak_v, 0.5, 1.0, load=Load(kind="none"), bus=Bus(
        capacitor_f=100e-6, bleed_ohm=5000.0), rectifier=Rectifier(
            kind=kind, drop_v=0.0), crank=Crank(friction_nm=0.0, inertia_kg_m2=1e-5))
    rig = replace(rig, motor=replace(rig.motor, inertia_kg_m2=1e-9))
    machine = Machine(rig, winding_c=20.0, step_s=5e-5)
    hand, volts = Sine(PACE * 2 * pi / 60, 60.0), []
    for step in range(1, 4001):
        machine.advance(step * 5e-5, hand, False, True)
        volts.append(machine.state.bus_v)
    ripple = float(np.ptp(volts[-2000:]))
    assert 0.82 * ripple_v < ripple < 1.0 * ripple_v
    assert max(volts) == pytest.approx(peak_v, rel=0.02)


def test_v14_passes_beyond_a_hundredth_above_its_target() -> None:
    """TPS61022 turns its upper transistor on at 101 % of its target when Vin > Vout (e2e.ti.com
    1054993): the boundary that `pass_drop_v` sets."""
    made = part("boost", 5.0, pass_drop_v=0.05)
    for in_v, regime in ((5.04, "regulating"), (5.06, "pass_through")):
        at = operate(stiff(made, in_v, 10.0), PACE)
        assert at.regime == regime
        assert float(at.out_v) <= 5.0 * 1.0021


def test_v12_in_pass_through_the_input_limit_is_off() -> None:
    """TPS61299 in pass-through: "output voltage follows input voltage", input current limit
    and thermal shutdown disabled (ti.com SLVSGS9E); below it the limit acts."""
    made = part("boost", 5.0, pass_drop_v=0.1, in_limit_a=0.5)
    passing = operate(stiff(made, 8.0, 4.0), PACE)
    assert passing.regime == "pass_through"
    assert float(passing.out_v) == pytest.approx(7.9, rel=1e-4)
    assert float(passing.bus_a) > 1.9
    held = operate(stiff(made, 3.0, 15.0), PACE)
    assert held.regime == "limited"
    assert float(held.bus_a) == pytest.approx(0.5)


def test_v16_schottky_drop() -> None:
    """0.3-0.5 V at rated current, 0.6 V at most (1N5819 at 1 A), from memory."""
    low, middle, high = specs(Rectifier)["drop_v"].typical
    assert (low, high) == (0.3, 0.5)
    assert low < middle < high
    assert specs(Rectifier)["drop_v"].high >= 0.6


def test_usb_cable_drop() -> None:
    """At most 125 mV in each line of a cable at 500 mA (USB 2.0, 7.2.2, from memory): what the
    table of lengths by gauge keeps (Hardware Book, credits USB-IF)."""
    for awg, metres in ((28, 0.81), (26, 1.31), (24, 2.08), (22, 3.33), (20, 5.00)):
        made = part("buck", 5.2)
        rig = replace(stiff(made, 12.0, 1.0), load=Load(draw_a=0.5, cable_m=metres, cable_awg=awg))
        at = operate(rig, PACE)
        assert float(at.out_a) == pytest.approx(0.5)
        assert float(5.2 - at.out_v) / 2 <= 0.125
