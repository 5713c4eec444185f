"""Other ways to write one machine: figures that must not change, or change by a known factor.

Every failure prints the rig.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from random_rigs import random_rig
from steadyturn.model import gears, motor
from steadyturn.model.bank import emf_v_per_tpm
from steadyturn.model.edges import find_edges
from steadyturn.model.load import cable_ohm
from steadyturn.model.point import LOSSES, operate
from steadyturn.rig.types import RPM, Rig, Stage

PACES = np.linspace(2.0, 170.0, 57)
VOLTS = ("emf_v", "bus_v", "node_v", "in_v", "out_v", "converter_v", "idle_v")
AMPS = ("bus_a", "motor_a", "out_a")
POWERS = ("arm_w", "out_w", "crank_nm")
SEEDS = st.integers(0, 10**6)


def times(part, by: float, *names: str):
    """`part` with these fields, where they are there, multiplied."""
    return replace(part, **{name: getattr(part, name) * by for name in names
                            if getattr(part, name) is not None})


def scaled(rig: Rig, volts: float, amps: float) -> Rig:
    """The machine whose volts and currents are these multiples, at the same paces."""
    ohm, watt = volts / amps, volts * amps
    k = motor.emf_constant(rig.motor)
    one = replace(rig.motor, emf_v_s=k * volts, rated_v=None, no_load_rad_s=None)
    one = times(times(one, ohm, "terminal_ohm"), volts, "brush_drop_v")
    one = times(times(one, amps, "brush_knee_a", "no_load_a", "max_a"), watt, "drag_nm_s")
    one = times(one, 1 / watt, "winding_case_k_w", "case_air_k_w")
    part = times(rig.converter, volts, "out_v", "start_v", "stop_v", "max_in_v", "headroom_v",
                 "pass_drop_v", "loss_v")
    part = times(times(part, amps, "in_limit_a", "out_limit_a"), ohm, "loss_ohm")
    load = times(times(rig.load, volts, "sag_v", "min_v", "max_v"), amps, "draw_a")
    return replace(
        rig, motor=one, converter=times(part, watt, "loss_w"),
        rectifier=times(times(rig.rectifier, volts, "drop_v", "max_v"), amps, "knee_a"),
        bus=times(times(rig.bus, ohm, "bleed_ohm"), volts, "capacitor_max_v"),
        switch=times(times(rig.switch, ohm, "on_ohm"), volts, "max_v"),
        protection=times(times(rig.protection, volts, "bus_clamp_v", "bus_cut_v", "output_cut_v"),
                         watt, "bus_clamp_w"),
        supply=times(times(rig.supply, volts, "wake_v", "drop_v", "reservoir_max_v", "fade_v",
                           "forbid_v", "off_v"), watt, "power_w"),
        load=times(times(load, ohm, "resistance_ohm"), ohm, "cable_m"),
        sensor=times(rig.sensor, ohm, "shunt_ohm"), crank=times(rig.crank, watt, "friction_nm"),
        arm=times(rig.arm, watt, "force_n", "power_w"))


def alike(rig: Rig, other: Rig, *, volts: float = 1.0, amps: float = 1.0, motor_amps: float = 1.0,
          paces: float = 1.0, torque: float = 1.0, tight: float = 1e-8) -> None:
    """`other` at `paces` times the paces does the same, by these factors."""
    for running, connected in ((True, True), (False, True), (True, False)):
        a = operate(rig, PACES, running=running, connected=connected)
        b = operate(other, paces * PACES, running=running, connected=connected)
        sure = steady(rig, running, connected)
        assert (a.regime == b.regime)[sure].all(), (rig, other)
        factors = {**dict.fromkeys(VOLTS, volts), **dict.fromkeys(AMPS, amps),
                   "motor_a": amps * motor_amps, "arm_w": volts * amps, "out_w": volts * amps,
                   "crank_nm": volts * amps * torque}
        for name, factor in factors.items():
            same(getattr(a, name)[sure] * factor, getattr(b, name)[sure], name, tight, rig)
        for name in LOSSES:
            same(a.losses_w[name][sure] * volts * amps, b.losses_w[name][sure], name, tight, rig)


def steady(rig: Rig, running: bool, connected: bool) -> np.ndarray:
    """Paces where the regime does not change within a millionth: elsewhere rounding decides."""
    near = [operate(rig, PACES * share, running=running, connected=connected).regime
            for share in (1 - 1e-6, 1 + 1e-6)]
    return near[0] == near[1]


def same(a: np.ndarray, b: np.ndarray, name: str, tight: float, rig: Rig) -> None:
    # right at the fold a root is ill-conditioned: the square root of the rounding
    assert np.allclose(a, b, rtol=tight, atol=1e-9, equal_nan=True), (name, a - b, rig)


@given(seed=SEEDS)
@settings(max_examples=12, deadline=None)
def test_nameplate_or_constant_teeth_or_ratio(seed) -> None:
    rig = random_rig(seed)
    k = motor.emf_constant(rig.motor)
    named = replace(rig.motor, emf_v_s=k, rated_v=None, no_load_rad_s=None)
    alike(rig, replace(rig, motor=named))
    toothed = replace(rig, stages=(Stage(driver_teeth=72, driven_teeth=16, efficiency=0.9),
                                   Stage(driver_teeth=65, driven_teeth=13, efficiency=0.8)))
    plain = replace(rig, stages=(Stage(ratio=22.5, efficiency=0.72),))
    alike(toothed, plain)
    alike(rig, replace(rig, stages=rig.stages[::-1]))


@given(seed=SEEDS, volts=st.floats(0.3, 4), amps=st.floats(0.3, 4))
@settings(max_examples=25, deadline=None)
def test_the_same_machine_at_other_volts_and_currents(seed, volts, amps) -> None:
    rig = random_rig(seed)
    alike(rig, scaled(rig, volts, amps), volts=volts, amps=amps)


@given(seed=SEEDS)
@settings(max_examples=4, deadline=None)
def test_a_band_does_not_depend_on_the_scale(seed) -> None:
    """All volts doubled, all currents halved: the same edges for the same reasons. The
    sensor's own rating does not scale, nor the ADC's."""
    rig = random_rig(seed)
    a, b = find_edges(rig), find_edges(scaled(rig, 2.0, 0.5))
    own = ("open_circuit_sensor", "open_circuit_adc")
    ours, theirs = ([(x.name, x.side, x.pace_tpm) for x in edges.limits if x.name not in own]
                    for edges in (a, b))
    key = [[(name, side) for name, side, _ in sorted(found)] for found in (ours, theirs)]
    assert key[0] == key[1], rig
    for left, right in zip(sorted(ours), sorted(theirs), strict=True):
        assert np.allclose(left[2], right[2], atol=1e-5, equal_nan=True), (left, right, rig)


@given(seed=SEEDS, faster=st.floats(0.4, 2.5))
@settings(max_examples=12, deadline=None)
def test_more_gear_for_less_pace(seed, faster) -> None:
    """The same motor speed from a faster hand: the same watts, less torque."""
    rig = random_rig(seed)
    first, *rest = rig.stages
    geared = replace(rig, stages=(times(first, 1 / faster, "ratio"), *rest),
                     crank=times(rig.crank, 1 / faster, "friction_nm"))
    alike(rig, geared, paces=faster, torque=1 / faster)


@given(seed=SEEDS, split=st.sampled_from([2, 3]))
@settings(max_examples=12, deadline=None)
def test_one_motor_or_many_small_ones(seed, split) -> None:
    """One motor, n in series of an n-th of its volts, or n in parallel of an n-th of its
    current: the same machine."""
    rig = random_rig(seed)
    one = replace(rig.motor, emf_v_s=motor.emf_constant(rig.motor), rated_v=None,
                  no_load_rad_s=None)
    rig = replace(rig, motor=one, bank=replace(rig.bank, series=1, parallel=1, diode_each=False))
    low = times(one, 1 / split, "emf_v_s", "terminal_ohm", "brush_drop_v", "drag_nm_s")
    alike(rig, replace(rig, motor=low, bank=replace(rig.bank, series=split)))
    thin = times(times(one, split, "terminal_ohm"), 1 / split, "brush_knee_a", "no_load_a",
                 "drag_nm_s")
    side = replace(rig, motor=thin, bank=replace(rig.bank, parallel=split))
    alike(rig, side, motor_amps=1 / split)
    each = replace(side, bank=replace(side.bank, diode_each=True),
                   rectifier=times(side.rectifier, 1 / split, "knee_a"))
    alike(rig, each, motor_amps=1 / split)


@given(seed=SEEDS, winding=st.floats(-20, 150))
@settings(max_examples=25, deadline=None)
def test_torque_is_the_slope_of_the_emf(seed, winding) -> None:
    """What the shaft gives beyond friction is EMF times current, and k = dE/dw is the torque of
    an ampere; so the arm always gives more than arrives."""
    rig = random_rig(seed)
    at = operate(rig, PACES, winding_c=winding)
    there = at.regime != "collapse"
    rad_s = PACES * RPM
    gear = at.losses_w["gears"] + at.losses_w["crank"] + at.losses_w["motor_friction"]
    turned = (at.arm_w - gear)[there]
    electric = (at.emf_v * at.motor_a * rig.bank.parallel)[there]
    assert np.allclose(turned, electric, rtol=1e-9, atol=1e-12), rig
    slope = (at.emf_v[-1] - at.emf_v[0]) / (rad_s[-1] - rad_s[0])  # of the bank, at the handle
    still = rig.crank.friction_nm + rig.bank.series * rig.bank.parallel * motor.friction_nm(
        rig.motor, rad_s * gears.ratio(rig.stages)) * gears.ratio(
            rig.stages) / gears.efficiency(rig.stages)
    pulls = slope * at.motor_a * rig.bank.parallel / gears.efficiency(rig.stages)
    assert np.allclose((at.crank_nm - still)[there], pulls[there], rtol=1e-9, atol=1e-12), rig
    assert (at.arm_w >= at.out_w + at.losses_w["winding"] - 1e-12)[there].all(), rig


@given(seed=SEEDS)
@settings(max_examples=20, deadline=None)
def test_emf_grows_with_ratio_and_series_only(seed) -> None:
    rig = random_rig(seed)
    base = emf_v_per_tpm(rig)
    for by in (1.01, 2.0):
        first, *rest = rig.stages
        assert np.isclose(emf_v_per_tpm(replace(
            rig, stages=(times(first, by, "ratio"), *rest))), by * base), rig
    emf = [emf_v_per_tpm(replace(rig, bank=replace(rig.bank, series=n))) for n in range(1, 7)]
    assert np.allclose(emf, np.arange(1, 7) * emf[0]), rig
    assert emf_v_per_tpm(replace(rig, bank=replace(rig.bank, parallel=5))) == base, rig
    # a cable scales with its length (used above)
    assert np.isclose(cable_ohm(times(rig.load, 3.0, "cable_m")), 3 * cable_ohm(rig.load))
