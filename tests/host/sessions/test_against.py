"""Which figures of two outings differ by more than they are known to."""

from math import hypot, nan

import numpy as np
import pytest
from steadyturn.sessions.against import CONSTANTS, REPEATS, compare, same_constants
from steadyturn.sessions.estimates import Estimate, about


def one(a, b, *, same=False):
    [found] = compare([a], [b], same_sensor=same)
    return found


def test_two_machines_ranges_count_in_full():
    a = Estimate("energy_out", 10.0, 9.0, 12.0, "Wh", "inferred")
    b = Estimate("energy_out", 6.0, 5.5, 7.5, "Wh", "inferred")
    got = one(a, b)
    assert got.difference == 4.0
    assert got.difference_low == pytest.approx(4 - hypot(1.0, 1.5))
    assert got.difference_high == pytest.approx(4 + hypot(2.0, 0.5))
    assert got.verdict == "more"
    assert one(b, a).verdict == "less"
    assert one(a, about("energy_out", 9.0, 1.0, "Wh", "inferred")).verdict == "unsure"


def test_one_machines_error_only_stretches_the_difference():
    a, b = (about("energy_out", x, 0.1 * x, "Wh", "inferred") for x in (10.0, 9.5))
    assert one(a, b).verdict == "unsure"
    got = one(a, b, same=True)
    assert got.verdict == "more"
    reach = hypot(0.1 * 0.5, REPEATS * hypot(10.0, 9.5))
    assert got.difference_low == pytest.approx(0.5 - reach)
    near = one(a, about("energy_out", 9.96, 0.996, "Wh", "inferred"), same=True)
    assert near.verdict == "unsure"  # nearer than a sensor repeats itself


@pytest.mark.parametrize("same", [True, False])
def test_the_range_holds_the_true_difference_95_times_in_100(same):
    rng = np.random.default_rng(4)
    held = 0
    tries = 4000
    for _ in range(tries):
        true = rng.uniform(1, 10, 2)
        gain = rng.normal(1, 0.05, 2)
        if same:
            gain[1] = gain[0]
            gain *= rng.normal(1, REPEATS / 1.96, 2)
        a, b = (about("x", t * g, 1.96 * 0.05 * t * g, "Wh", "inferred")
                for t, g in zip(true, gain, strict=True))
        got = one(a, b, same=same)
        held += got.difference_low <= true[0] - true[1] <= got.difference_high
    assert 0.93 < held / tries < 0.97


def test_what_is_counted_is_sure():
    def count(name, value):
        return about(name, value, 0.0, "", "measured")

    assert one(count("faults", 3.0), count("faults", 2.0), same=True).verdict == "more"
    assert one(count("faults", 3.0), count("faults", 3.0)).verdict == "same"


def test_a_trend_is_chance_even_of_one_machine():
    a, b = (Estimate("power_trend", x, x - 2, x + 2, "% in 10 min", "measured") for x in (3, 0.5))
    assert one(a, b, same=True).verdict == "unsure"


def test_what_only_one_side_has():
    a = about("percent", 3.0, 0.1, "%", "inferred")
    b = about("arm_work", 9.0, 1.0, "kJ", "modelled")
    first, second = compare([a], [b], same_sensor=True)
    assert (first.name, first.verdict, second.name) == ("percent", "unknown", "arm_work")
    assert second.kind == "modelled"
    assert compare([about("mean_pace", nan, nan, "", "inferred")],
                   [about("mean_pace", nan, nan, "", "inferred")], same_sensor=False) == ()
    without = Estimate("energy_in", 2.0, nan, nan, "Wh", "measured")
    assert one(without, about("energy_in", 9.0, 0.1, "Wh", "measured")).verdict == "unsure"


def test_settings_that_read_alike():
    settings = dict.fromkeys(CONSTANTS, 5) | {"label": "a", "low_dtpm": 500}
    assert same_constants(settings, settings | {"label": "b", "low_dtpm": 400})
    for name in CONSTANTS:
        assert not same_constants(settings, settings | {name: 6})
    assert not same_constants({}, {})
