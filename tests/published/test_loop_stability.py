"""Poles of arm, source, capacitor and constant power by the library `control`, against the
machine in time: how fast it settles and when it runs away.

The minor loop is Middlebrook's: the source's impedance over that of the load, -V**2 / P
(switchmode.io, input filter stability; "keep the source impedance below the load impedance
at all frequencies" is sufficient).
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from bare_rig import PACE, thevenin
from steadyturn.model.dynamics import Machine
from steadyturn.model.dynamics_parts import Parts
from steadyturn.model.point import operate
from steadyturn.rig.types import RPM, Air, Bus, Crank, Rig, Stage

EMF_V, OHM, POWER_W, STEP_S = 10.0, 2.0, 10.0, 0.001
ETA = 0.9
START = PACE * RPM


class Droops:
    def __init__(self, nm: float, droop: float) -> None:
        self.nm, self.droop = nm, droop

    def torque_nm(self, t_s: float, theta_rad: float, crank_rad_s: float) -> float:
        return self.nm - self.droop * (crank_rad_s - START)


def machine(farad: float) -> Rig:
    rig = thevenin(EMF_V, OHM, POWER_W, bus=Bus(capacitor_f=farad, bleed_ohm=1e9),
                   stages=(Stage(ratio=1.0, efficiency=ETA),),
                   crank=Crank(friction_nm=0.0, inertia_kg_m2=0.03), air=Air(cold_c=20, hot_c=20))
    # it stays at 20 degC, and the winding's inductance is left out on both sides
    rig = replace(rig, motor=replace(rig.motor, winding_j_k=1e9, inductance_h=0.0))
    return replace(rig, converter=replace(rig.converter, soft_start_s=0.0, out_capacitor_f=1e-6))


def impedance(rig: Rig, droop: float):
    """Of arm, inertia, winding and bus capacitor, seen from the converter [ohm]."""
    import control

    s = control.tf("s")
    arm = 1 / (Parts(rig, STEP_S).inertia * s + droop)  # rad/s per N m
    source = OHM + (EMF_V / START) ** 2 / ETA * arm
    return 1 / (rig.bus.capacitor_f * s + 1 / source)


def poles(rig: Rig, droop: float) -> np.ndarray:
    import control

    volts = float(operate(rig, PACE).bus_v)
    closed = control.minreal(
        control.feedback(impedance(rig, droop), -POWER_W / volts**2), verbose=False)
    found = np.asarray(closed.poles())
    return found[np.argsort(-found.real)]


def course(rig: Rig, droop: float, seconds: float) -> np.ndarray:
    """How far the bus [V] stands from its steady volts, every step, after a push of 0.1 % of
    the pace."""
    steady = operate(rig, PACE)
    run = Machine(rig, winding_c=20.0, step_s=STEP_S)
    run.state.crank_rad_s, run.state.bus_v = 1.001 * START, float(steady.bus_v)
    run.state.converter_v, run.state.converter_on, run.soft = rig.converter.out_v, True, 1.0
    run.state.motor_a = run.state.in_a = float(steady.bus_a)
    hand, volts = Droops(float(steady.crank_nm), droop), []
    for step in range(1, int(seconds / STEP_S) + 1):
        run.advance(step * STEP_S, hand, True, True)
        volts.append(run.state.bus_v)
    return np.array(volts) - float(steady.bus_v)


@pytest.mark.parametrize("farad", [2e-4, 3e-3, 0.05])
@pytest.mark.parametrize("droop", [1.2, 3.0])
def test_how_it_settles(droop, farad) -> None:
    """The whole course after the push, from the linear system that the same blocks give; and
    nothing swings, since handle and capacitor push each other with one sign."""
    import control

    rig = machine(farad)
    found = poles(rig, droop)
    assert (found.real < 0).all()
    assert (found.imag == 0).all()
    volts, per, inertia = float(operate(rig, PACE).bus_v), EMF_V / START, Parts(rig, 1.0).inertia
    slopes = np.array([
        [-(droop + per**2 / ETA / OHM) / inertia, per / ETA / OHM / inertia],
        [per / OHM / farad, (POWER_W / volts**2 - 1 / OHM) / farad]])
    assert np.sort(np.linalg.eigvals(slopes)) == pytest.approx(np.sort(found.real), rel=1e-6)
    linear = control.ss(slopes, np.zeros((2, 1)), [[0, 1]], 0)
    off = course(rig, droop, 0.4)
    at = np.arange(len(off) + 1) * STEP_S
    said = control.initial_response(linear, at, [0.001 * START, 0.0]).outputs[1:]
    assert np.abs(off - said).max() < 0.05 * np.abs(said).max()
    assert np.abs(off - said)[20:].max() < 0.01 * np.abs(said).max()


@pytest.mark.parametrize("farad", [2e-4, 1e-3, 0.05])
def test_runs_away_where_the_source_is_above_the_load(farad) -> None:
    """Middlebrook: |Zs| below V**2 / P at all frequencies is enough; above it at rest, a pole
    stands to the right and the machine leaves its state. What matters is the arm's droop."""
    rig = machine(farad)
    volts = float(operate(rig, PACE).bus_v)
    at = np.logspace(-2, 5, 400)
    for droop, stable in ((1.0, True), (0.6, False)):
        size = np.abs(np.asarray(impedance(rig, droop)(1j * at)))
        assert (size.max() < volts**2 / POWER_W) == stable
        assert (poles(rig, droop)[0].real < 0) == stable
        off = np.abs(course(rig, droop, 3.0))
        if stable:
            assert off.max() < 0.1
            assert off[-1] < 0.5 * off.max()
        else:
            assert off[-1] > 3 * off[500] or off.max() > 0.5, (droop, off)


def test_static_stability_is_the_same_rule() -> None:
    """With a stiff hand what is left is R < V**2 / P, true of the upper root only."""
    rig = machine(1e-3)
    upper, lower = 7.236, 2.764
    source = abs(complex(impedance(rig, 1e9)(1e-6j)))
    assert source == pytest.approx(OHM, rel=1e-3)
    assert lower**2 / POWER_W < source < upper**2 / POWER_W
    assert float(operate(rig, PACE).bus_v) == pytest.approx(upper, rel=1e-4)
