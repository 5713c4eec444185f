"""Minutes for a power, power for minutes, breaks, and effort over pace."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from steadyturn.model import endurance
from steadyturn.model.band import find_band
from steadyturn.model.effort import effort
from steadyturn.model.point import operate
from steadyturn.rig.examples import example_path
from steadyturn.rig.file import read_rig, read_rig_text
from steadyturn.rig.types import Arm

WATTS = st.floats(0.1, 300)
ARM_W = st.floats(2, 300)
SPREADS = st.tuples(st.floats(0.2, 0.8), st.just(1.0), st.floats(1.2, 4))
HUT = example_path("lakeside-hut")
assert HUT is not None


@given(ARM_W, WATTS, WATTS, SPREADS)
def test_more_power_never_lasts_longer(own_w, one, other, spread):
    arm = Arm(power_w=own_w)
    more, less = max(one, other), min(one, other)
    for short, long in zip(endurance.minutes(arm, more, spread),
                           endurance.minutes(arm, less, spread), strict=True):
        assert short <= long


@given(ARM_W, WATTS, SPREADS)
def test_the_band_is_in_order(own_w, watts, spread):
    low, middle, high = endurance.minutes(Arm(power_w=own_w), watts, spread)
    assert 0 < low <= middle <= high <= 480


@given(ARM_W, st.floats(0.2, 480), SPREADS)
def test_power_and_minutes_are_inverse(own_w, time, spread):
    arm = Arm(power_w=own_w)
    for which, watts in enumerate(endurance.power_w(arm, time, spread)):
        back = endurance.minutes(arm, watts, spread)[which]
        assert float(back) == pytest.approx(time, rel=1e-6)


@given(st.floats(0.01, 3), st.floats(2, 300))
def test_only_the_share_of_power_w_counts(share, own_w):
    """Unit scaling: a stronger arm at a power stronger by the same factor lasts as long."""
    one = endurance.minutes(Arm(power_w=20.0), share * 20.0)
    other = endurance.minutes(Arm(power_w=own_w), share * own_w)
    assert np.allclose(one, other, rtol=1e-9)


def test_power_w_is_kept_for_ten_minutes_by_the_middle_arm():
    assert float(endurance.minutes(Arm(power_w=37.0), 37.0)[1]) == pytest.approx(10)


def test_there_is_no_jump_where_the_formula_ends():
    arm = Arm()
    for just, after in zip(endurance.power_w(arm, 4 - 1e-9), endurance.power_w(arm, 4 + 1e-9),
                           strict=True):
        assert float(just) == pytest.approx(float(after), rel=1e-6)


def test_shapes_and_impossible_powers():
    for of_each in endurance.minutes(Arm(), np.array([[5.0, 10.0], [20.0, 0.0]])):
        assert of_each.shape == (2, 2)
        assert of_each[1, 1] == 480
    with pytest.raises(ValueError, match="negative"):
        endurance.minutes(Arm(), -1.0)
    with pytest.raises(ValueError, match="above 0"):
        endurance.power_w(Arm(), 0.0)
    assert float(endurance.minutes(Arm(), 1e300)[0]) > 0


# ------------------------------------------------------------------------- breaks


@given(st.floats(0.5, 60), st.floats(0.5, 400))
def test_breaks_never_ask_more_than_the_arm_keeps(watts, crank_min):
    arm = Arm()
    plan = endurance.breaks(arm, watts, crank_min)
    low, middle, high = plan.elapsed_min
    assert crank_min <= low <= middle <= high
    if plan.rest_min == 0:
        assert plan.work_min == crank_min <= 15
        return
    assert plan.work_min <= 15
    rounds_w = watts * plan.work_min / (plan.work_min + plan.rest_min)
    if math.isfinite(middle):
        # over the whole time, last rest counted, this is what the middle arm keeps
        whole = crank_min * (plan.work_min + plan.rest_min) / plan.work_min
        assert rounds_w <= float(endurance.power_w(arm, whole)[1]) * (1 + 1e-6)
        assert crank_min <= plan.day_min[1] * (1 + 1e-6)
    else:
        assert crank_min > plan.day_min[1]


@given(st.floats(1, 40), st.floats(1, 200))
def test_more_work_never_takes_less_time(watts, crank_min):
    one = endurance.breaks(Arm(), watts, crank_min).elapsed_min
    longer = endurance.breaks(Arm(), watts, crank_min * 1.3).elapsed_min
    for short, long in zip(one, longer, strict=True):
        assert long >= short


def test_a_short_light_job_needs_no_break():
    plan = endurance.breaks(Arm(), 6.0, 10.0)
    assert plan.rest_min == 0
    assert plan.elapsed_min == (10.0, 10.0, 10.0)


# ------------------------------------------------------------- the rig file's keys


def hut(arm: str):
    return read_rig_text(HUT.read_text(encoding="utf-8") + f"\n[arm]\n{arm}\n", "hut.toml")


def test_age_and_arms_move_only_a_power_that_nobody_gave():
    assert hut("").arm.power_w == 20
    old = hut('arms = "two"\nage_years = 60')
    assert old.arm.power_w == pytest.approx(20 * 1.5 * 0.8)
    origin = old.origins["arm.power_w"]
    assert (origin.kind, origin.low, origin.high) == ("assumed", pytest.approx(12),
                                                      pytest.approx(36))
    own = hut('arms = "two"\nage_years = 60\npower_w = 33')
    assert own.arm.power_w == 33
    assert hut('arms = "two"\npower_w = { assumed = 20 }').arm.power_w == 20


def test_a_measured_power_narrows_the_band_but_not_to_nothing():
    wide = endurance.spread_of(hut(""))
    measured = endurance.spread_of(hut("power_w = { measured = 30, low = 29, high = 31 }"))
    assert wide == (0.5, 1.0, 1.5)
    assert measured == (0.8, 1.0, 1.2)
    assert endurance.spread_of(hut("power_w = 30")) == (0.8, 1.0, 1.2)


# ------------------------------------------------------------------------- effort


@pytest.mark.parametrize("name", ["lakeside-hut", "night-ferry", "radio-tent"])
def test_the_target_is_the_cheapest_pace_inside_the_band(name):
    rig = read_rig(example_path(name))
    band = find_band(rig, deep=False)
    assert band.low_tpm is not None
    inset = 0.15 * (band.high_tpm - band.low_tpm)
    inside = np.linspace(band.low_tpm + inset, band.high_tpm - inset, 301)
    cost = effort(rig, inside)
    assert float(effort(rig, band.target_tpm)) <= cost.min() * (1 + 1e-6)
    at = operate(rig, inside)
    assert np.allclose(cost * at.out_w, at.arm_w)


def test_effort_has_a_minimum_with_a_converter():
    """Slower costs more (currents), faster costs more (friction): the lowest point is inside."""
    rig = read_rig(HUT)
    rig = replace(rig, converter=replace(rig.converter, stop_v=2.5, start_v=2.6),
                  supply=replace(rig.supply, feed="usb"))
    pace = np.linspace(10, 150, 281)
    cost = effort(rig, pace)
    best = int(np.nanargmin(cost))
    known = np.nonzero(~np.isnan(cost))[0]
    assert known[0] < best < known[-1]
    assert (np.diff(cost[best:]) > 0).all()
