"""Charging: closed forms, an independent integration, accounts, ranges, what a machine gives."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from steadyturn.model.band import find_band
from steadyturn.model.charging import (
    Feed,
    arm_at,
    cell,
    charge,
    course,
    feed,
    with_draw,
)
from steadyturn.model.charging_reach import reach
from steadyturn.model.charging_sure import sure
from steadyturn.model.point import operate
from steadyturn.rig.examples import example_path
from steadyturn.rig.file import read_rig
from steadyturn.rig.types import Load, Origin

HUT = read_rig(example_path("lakeside-hut"))
PACE = 65.0
GIVEN = feed(HUT, PACE)

LOADS = st.builds(
    Load, capacity_j=st.floats(3600, 3.6e6), charge_efficiency=st.floats(0.3, 1),
    self_use_w=st.floats(0, 1), taper_from=st.floats(0.5, 1))
WATTS = st.floats(0.5, 20)


def machine(watts: float) -> Feed:
    shares = np.linspace(0.02, 1, 9)
    return Feed(PACE, shares * watts, 1.0 + 1.7 * shares * watts, GIVEN.full, 5.0)


def stepped_s(load: Load, watts: float, start: float, end: float) -> float:
    """The rule of charging.md, stepped in time by Heun: nothing shared with the model."""
    capacity = load.capacity_j or 0.0
    top = load.charge_efficiency * watts
    last = min(0.05 * capacity / 3600, top)

    def rate(s):
        limit = top if s <= load.taper_from else top - (top - last) * (
            s - load.taper_from) / max(1 - load.taper_from, 1e-9)
        return min(top - load.self_use_w, limit) / capacity

    step = (end - start) / 4000 / rate(start)
    s, t = start, 0.0
    while s < end:
        gain = 0.5 * step * (rate(s) + rate(min(s + step * rate(s), 1.0)))
        if s + gain >= end:
            return t + step * (end - s) / gain
        s, t = s + gain, t + step
    return t


@given(LOADS, WATTS, st.floats(0, 0.9), st.floats(0.02, 1))
def test_time_agrees_with_stepping(load, watts, start, more):
    end = start + more * (1 - start)
    seconds = cell(load, watts).seconds(start, end)
    if load.charge_efficiency * watts - load.self_use_w <= 0:
        assert seconds == math.inf
        return
    assert seconds == pytest.approx(stepped_s(load, watts, start, end), rel=5e-3)


@given(LOADS, WATTS, st.floats(0, 0.9), st.floats(0.02, 1))
def test_time_and_state_are_inverse(load, watts, start, more):
    end = start + more * (1 - start)
    battery = cell(load, watts)
    seconds = battery.seconds(start, end)
    if math.isfinite(seconds):
        assert battery.state_after(start, seconds) == pytest.approx(end, abs=1e-6)


@given(st.floats(3600, 3.6e6), st.floats(0.3, 1), st.floats(0, 0.1), WATTS, st.floats(0, 0.5))
def test_without_taper_it_is_a_division(capacity, efficiency, own_w, watts, start):
    load = Load(capacity_j=capacity, charge_efficiency=efficiency, self_use_w=own_w,
                taper_from=1.0)
    done = charge(load, machine(watts), start, end=1.0)
    assert done.seconds == pytest.approx((1 - start) * capacity / (efficiency * watts - own_w))
    assert done.arm_j == pytest.approx((1.0 + 1.7 * watts) * done.seconds)


@given(LOADS, WATTS, st.floats(0, 0.9), st.floats(1, 1e6))
def test_account_of_energy(load, watts, start, seconds):
    """What arrives times its efficiency is what the battery gains and the device uses."""
    done = charge(load, machine(watts), start, seconds=seconds)
    assert done.socket_j * load.charge_efficiency == pytest.approx(done.cell_j + done.self_j)
    assert done.cell_j == pytest.approx((done.end - done.start) * (load.capacity_j or 0))
    assert 0 <= done.end <= 1
    if load.charge_efficiency * watts > load.self_use_w:
        assert done.seconds <= seconds * (1 + 1e-9)
        # the arm's law here is 1 W + 1.7 W a watt at the socket, taper or not
        least = 0.02 * watts
        if (cell(load, watts).end_w + load.self_use_w) / load.charge_efficiency > least:
            assert done.arm_j == pytest.approx(done.seconds + 1.7 * done.socket_j, rel=1e-3)


@given(st.floats(0.1, 10))
def test_only_the_capacity_over_power_counts(by):
    """Unit scaling: capacity, machine and own use times `by` take the same time."""
    load = Load(capacity_j=50_000.0, self_use_w=0.3)
    scaled = replace(load, capacity_j=50_000.0 * by, self_use_w=0.3 * by)
    one = charge(load, machine(3.0), 0.1, end=1.0)
    other = charge(scaled, machine(3.0 * by), 0.1, end=1.0)
    assert other.seconds == pytest.approx(one.seconds, rel=1e-9)


@given(st.floats(0, 1.5), st.floats(0, 1.5))
def test_a_device_that_uses_more_never_fills_sooner(one, other):
    fills = [charge(replace(HUT.load, self_use_w=own_w), GIVEN, 0.2, end=0.9).seconds
             for own_w in sorted((one, other))]
    assert fills[0] <= fills[1]


def test_a_device_that_uses_all_of_it_loses():
    load = replace(HUT.load, self_use_w=4.0)
    assert charge(load, GIVEN, 0.2, end=0.8).seconds == math.inf
    lost = charge(load, GIVEN, 0.2, seconds=600.0)
    assert lost.end < lost.start
    assert charge(load, GIVEN, 0.001, seconds=1e6).end == 0


def test_it_agrees_with_the_operating_point():
    at = operate(HUT, PACE)
    done = charge(HUT.load, GIVEN, 0.2, end=0.5)
    assert done.arm_j / done.seconds == pytest.approx(float(at.arm_w))
    assert done.socket_j / done.seconds == pytest.approx(float(at.out_w))
    spent = float(at.out_w) + sum(float(x) for x in at.losses_w.values())
    assert done.arm_j == pytest.approx(spent * done.seconds)


def test_the_taper_follows_the_machine_at_smaller_draws():
    """The arm's power in the taper, against operating points at exactly those draws."""
    for amps in (0.1, 0.23, 0.41):
        at = operate(with_draw(HUT, amps), PACE)
        cell_w = HUT.load.charge_efficiency * float(at.out_w) - HUT.load.self_use_w
        assert float(arm_at(HUT.load, GIVEN, np.array(cell_w))) == pytest.approx(
            float(at.arm_w), rel=3e-3)


def test_the_course_ends_where_the_charge_does():
    done = charge(HUT.load, GIVEN, 0.2, end=1.0)
    times, states, socket_w, arm_w = course(HUT.load, GIVEN, done, 2001)
    assert (times[-1], states[-1]) == (done.seconds, pytest.approx(1.0))
    assert (np.diff(states) > 0).all()
    assert (np.diff(socket_w) <= 1e-9).all()
    assert np.trapezoid(socket_w, times) == pytest.approx(done.socket_j, rel=1e-4)
    assert np.trapezoid(arm_w, times) == pytest.approx(done.arm_j, rel=1e-4)


# ------------------------------------------------------------------------- ranges


def test_one_value_that_is_not_given_gives_the_range_of_its_ends():
    rig = replace(HUT, origins={"load.charge_efficiency": Origin("assumed", 0.85, 0.7, 0.93)})
    done = charge(rig.load, GIVEN, 0.2, end=0.8)
    found = sure(rig, GIVEN, done)
    ends = [charge(replace(rig.load, charge_efficiency=x), GIVEN, 0.2, end=0.8).seconds
            for x in (0.7, 0.93)]
    assert (found.seconds.high, found.seconds.low) == pytest.approx(tuple(ends))
    assert found.movers[0].seconds == pytest.approx(tuple(ends))
    assert found.movers[0].gained_percent == pytest.approx((60, 60))
    assert found.arm_j.high / found.arm_j.value == pytest.approx(ends[0] / done.seconds)


def test_shifts_add_as_squares_and_given_values_do_not_count():
    origins = {"load.charge_efficiency": Origin("assumed", 0.85, 0.7, 0.93),
               "load.capacity_wh": Origin("measured", 54_000.0, 50_000.0, 58_000.0),
               "load.self_use_w": Origin("given", 0.05, 0.05, 0.05)}
    rig = replace(HUT, origins=origins)
    done = charge(rig.load, GIVEN, 0.2, end=0.8)
    both = sure(rig, GIVEN, done)
    parts = [sure(replace(HUT, origins={key: origin}), GIVEN, done)
             for key, origin in origins.items()]
    ups = [math.log(part.seconds.high / done.seconds) for part in parts]
    assert ups[2] == 0
    assert math.log(both.seconds.high / done.seconds) == pytest.approx(math.hypot(*ups))
    assert [one.key for one in both.movers] == ["load.charge_efficiency", "load.capacity_wh"]


def test_the_range_holds_nineteen_of_twenty_draws():
    """Ends and squares against 500 batteries drawn at random (triangles over the ranges)."""
    origins = {"load.charge_efficiency": Origin("assumed", 0.85, 0.7, 0.93),
               "load.capacity_wh": Origin("assumed", 50_400.0, 36_000.0, 72_000.0),
               "load.self_use_w": Origin("assumed", 0.05, 0.02, 0.15)}
    load = replace(HUT.load, capacity_j=50_400.0)
    rig = replace(HUT, load=load, origins=origins)
    found = sure(rig, GIVEN, charge(load, GIVEN, 0.2, end=0.8))
    draw = np.random.default_rng(7)
    inside = 0
    for _ in range(500):
        efficiency, capacity, own_w = (draw.triangular(o.low, o.value, o.high)
                                       for o in origins.values())
        one = replace(load, charge_efficiency=efficiency, capacity_j=capacity, self_use_w=own_w)
        seconds = charge(one, GIVEN, 0.2, end=0.8).seconds
        inside += found.seconds.low <= seconds <= found.seconds.high
    assert inside >= 0.95 * 500


def test_a_range_that_ends_in_nothing_has_no_end():
    rig = replace(HUT, origins={"load.self_use_w": Origin("assumed", 0.05, 0.0, 5.0)})
    done = charge(rig.load, GIVEN, 0.2, end=0.8)
    found = sure(rig, GIVEN, done)
    assert found.seconds.high == found.arm_j.high == math.inf
    timed = sure(rig, GIVEN, charge(rig.load, GIVEN, 0.2, seconds=900.0), seconds=900.0)
    assert timed.gained.low < 0 < timed.gained.value < timed.gained.high


def test_a_guess_of_the_machine_moves_the_work_only():
    rig = replace(HUT, origins={"crank.friction_nm": Origin("assumed", 0.06, 0.02, 0.2)})
    found = sure(rig, GIVEN, charge(rig.load, GIVEN, 0.2, end=0.8))
    assert found.seconds.low == found.seconds.high
    assert found.arm_j.low < found.arm_j.value < found.arm_j.high
    assert found.movers == ()


# ---------------------------------------------------------------- what it can give


@pytest.mark.parametrize("name", ["lakeside-hut", "night-ferry", "radio-tent"])
def test_a_draw_within_reach_works_and_one_beyond_breaks_the_named_limit(name):
    rig = read_rig(example_path(name))
    pace = find_band(rig, deep=False).target_tpm
    found = reach(rig, pace)
    assert found.gives_a >= rig.load.draw_a
    assert found.port_a is not None
    assert found.port_a <= found.gives_a
    inside = find_band(with_draw(rig, found.gives_a), deep=False)
    assert any(low <= pace <= high for low, high in inside.intervals)
    beyond = with_draw(rig, found.gives_a + 0.001)
    assert not any(low <= pace <= high for low, high in find_band(beyond, deep=False).intervals)
    assert found.limit in {one.name for one in find_band(beyond, deep=False).limits}


def test_a_port_is_not_told_more_than_a_hot_machine_bears():
    """At 75 turns/min and 1.5 A the ferry's windings would pass 100 degC, if it started at all."""
    rig = read_rig(example_path("night-ferry"))
    assert float(operate(with_draw(rig, 1.5), 75.0).out_a) == pytest.approx(1.5)
    assert reach(rig, 75.0).port_a == 0.9


def test_too_slow_gives_nothing():
    found = reach(HUT, 5.0)
    assert (found.gives_a, found.port_a) == (0.0, None)
    assert found.limit == "start"
