"""What must hold at every operating point of any rig."""

from __future__ import annotations

import warnings
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from random_rigs import random_rig, random_rigs
from steadyturn.model.bank import circulating_a, emf_v_per_tpm, source_ohm
from steadyturn.model.point import LOSSES, operate
from steadyturn.rig.types import Bank, Load, Protection, Switch

PACES = np.concatenate([[0.0, 1e-9], np.linspace(1, 300, 80)])


def balance(at) -> np.ndarray:
    """What the account leaves over, as a share of the arm's power."""
    left = at.arm_w - at.out_w - sum(at.losses_w.values())
    return np.abs(left) / np.maximum(at.arm_w, 1e-12)


@pytest.fixture(autouse=True)
def no_warnings():
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        yield


@given(seed=st.integers(0, 10**6), running=st.booleans(), connected=st.booleans(),
       winding=st.floats(-20, 150))
@settings(max_examples=60, deadline=None)
def test_accounts_close_and_no_part_makes_power(seed, running, connected, winding) -> None:
    rig = random_rig(seed)
    at = operate(rig, PACES, running=running, connected=connected, winding_c=winding)
    there = at.regime != "collapse"
    assert (balance(at)[there] < 1e-9).all(), rig
    for name in LOSSES:
        assert (at.losses_w[name][there] >= -1e-9).all(), (name, rig)
    assert np.isnan(at.bus_v[~there]).all()
    assert np.isnan(at.arm_w[~there]).all()
    assert not np.isnan(at.arm_w[there]).any()


@given(seed=st.integers(0, 10**6))
@settings(max_examples=30, deadline=None)
def test_emf_rises_with_pace_and_falls_with_heat(seed) -> None:
    rig = random_rig(seed)
    at = operate(rig, PACES)
    assert (np.diff(at.emf_v) > 0).all()
    assert np.allclose(at.emf_v, emf_v_per_tpm(rig) * PACES)
    assert emf_v_per_tpm(rig, 80) < emf_v_per_tpm(rig, 20) < emf_v_per_tpm(rig, -10)
    assert source_ohm(rig, 80) > source_ohm(rig, 20)


@given(seed=st.integers(0, 10**6))
@settings(max_examples=30, deadline=None)
def test_rest_never_runs_where_running_does_not(seed) -> None:
    """Hysteresis: what starts from rest also runs on; idle from rest may run on."""
    rig = random_rig(seed)
    on = operate(rig, PACES).regime
    rest = operate(rig, PACES, running=False).regime
    runs_from_rest = ~np.isin(rest, ["idle", "collapse"])
    assert (on[runs_from_rest] == rest[runs_from_rest]).all(), rig
    assert ((rest == "collapse") == (on == "collapse")).all(), rig


@given(seed=st.integers(0, 10**6))
@settings(max_examples=30, deadline=None)
def test_idle_carries_only_the_board(seed) -> None:
    rig = random_rig(seed)
    at = operate(rig, PACES, running=False)
    idle = at.regime == "idle"
    for quantity in (at.bus_a, at.out_v, at.out_a, at.out_w):
        assert (quantity[idle] == 0).all(), rig
    drawn = at.losses_w["board_supply"][idle]
    assert np.all((np.abs(drawn) < 1e-12) | (drawn > 0))
    if rig.supply.feed != "crank":
        assert (drawn == 0).all()


def test_an_unloaded_bus_stands_where_its_bleed_lets_it() -> None:
    """Nothing is held: the bleed takes what the source gives, and at rest there are no volts."""
    for seed in range(40):
        rig = random_rig(seed)
        if rig.supply.feed == "crank" or rig.protection.bus_clamp_v is not None:
            continue
        at = operate(replace(rig, load=replace(rig.load, kind="none")),
                     [0.0, 40.0, 90.0], connected=False)
        idle = at.regime == "idle"
        given = rig.bank.parallel * at.motor_a[idle]
        assert given == pytest.approx(at.node_v[idle] / rig.bus.bleed_ohm, rel=1e-9, abs=1e-12)
        assert at.losses_w["bleed"][idle] == pytest.approx(
            at.node_v[idle] ** 2 / rig.bus.bleed_ohm, rel=1e-12)
        assert idle[0]
        assert at.node_v[0] == at.losses_w["bleed"][0] == 0


def test_shapes_and_scalars() -> None:
    rig = random_rig(3)
    grid = np.linspace(10, 120, 12).reshape(3, 4)
    table, row = operate(rig, grid), operate(rig, grid.ravel())
    assert table.bus_v.shape == table.regime.shape == table.losses_w["cable"].shape == (3, 4)
    assert np.array_equal(table.emf_v.ravel(), row.emf_v)
    one = operate(rig, 60.0)
    assert one.bus_v.shape == ()
    assert one.regime == operate(rig, [60.0]).regime[0]
    assert operate(rig, []).bus_v.shape == (0,)
    for wrong in (-1.0, np.nan, np.inf):
        with pytest.raises(ValueError, match="pace_tpm"):
            operate(rig, [30.0, wrong])


def test_one_point_does_not_depend_on_its_neighbours() -> None:
    for rig in random_rigs(12):
        together = operate(rig, PACES)
        alone = [float(operate(rig, pace).motor_a) for pace in PACES[::9]]
        assert np.allclose(together.motor_a[::9], alone, rtol=1e-11, atol=1e-15,
                           equal_nan=True), rig


def test_released_load() -> None:
    """What a released switch still lets through, by its place and the converter's kind."""
    for seed in range(60):
        rig = random_rig(seed)
        for place in ("enable", "bus_switch", "output_switch"):
            at = operate(replace(rig, switch=Switch(place=place)), PACES, connected=False)
            passes = (place == "enable" and rig.converter.kind == "boost"
                      and not rig.converter.isolates)
            ends = at.out_a[~np.isnan(at.out_a)]
            assert passes or (ends == 0).all(), (place, rig)
            if place == "bus_switch":
                assert (at.regime == "idle").all()


def test_plain_boost_passes_when_switched_off() -> None:
    """Open-circuit volts of a fast hand reach the device through coil and diode."""
    plain = next(rig for rig in random_rigs(200) if rig.converter.kind == "boost"
             and rig.load.kind == "phone")
    plain = replace(plain, switch=Switch(place="enable"), protection=Protection(),
                    converter=replace(plain.converter, isolates=False))
    at = operate(plain, 300.0, connected=False)
    assert at.regime == "pass_through"
    assert float(at.out_v) > 5.5
    parted = replace(plain, converter=replace(plain.converter, isolates=True))
    assert operate(parted, 300.0, connected=False).out_v == 0


def test_a_clamp_holds_the_bus_and_costs_the_arm() -> None:
    for rig in random_rigs(40):
        clamp = rig.converter.start_v * 1.6
        free = operate(replace(rig, protection=Protection()), PACES, running=False)
        held = operate(replace(rig, protection=Protection(bus_clamp_v=clamp)), PACES,
                       running=False)
        there = ~np.isnan(held.node_v)
        assert (held.node_v[there] <= clamp + 1e-9).all(), rig
        burns = there & (held.losses_w["clamp"] > 1e-6)
        idle = burns & (held.regime == "idle") & (free.regime == "idle")
        assert (held.arm_w[idle] > free.arm_w[idle]).all(), rig


def test_unequal_motors_in_parallel() -> None:
    """max(0, E1 - E2 - drops) / (R1 + R2), nothing with a diode each."""
    rig = replace(random_rig(1), bank=Bank(series=1, parallel=2, spread=0.1))
    emf = emf_v_per_tpm(rig) * 120
    expected = max(0.0, 0.1 * emf - 2 * rig.motor.brush_drop_v) / (2 * rig.motor.terminal_ohm)
    assert float(circulating_a(rig, 120.0)) == pytest.approx(expected)
    each = replace(rig, bank=replace(rig.bank, diode_each=True))
    assert circulating_a(each, 120.0) == 0


def test_load_of_nothing_draws_nothing() -> None:
    rig = replace(random_rig(5), load=Load(kind="none"))
    at = operate(rig, PACES)
    assert (at.out_w[~np.isnan(at.out_w)] == 0).all()
