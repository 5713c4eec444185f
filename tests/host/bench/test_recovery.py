"""Random motors, measured by the recommended readings: constants found, intervals that cover."""

from __future__ import annotations

import math

import numpy as np
import pytest
from benches import recommended, spoilt, true_values, world
from steadyturn.bench.constants import MOTOR
from steadyturn.bench.result import analyse
from steadyturn.bench.setup import Setup

SCALE = {one.name: one.scale for one in MOTOR}
NAMES = ("emf_v_s", "terminal_ohm", "brush_drop_v", "no_load_a", "drag_nm_s")


def series(seeds, spoil=0.0):
    """Log errors by name, cover by name where told, and of the bad readings: all, named, and
    good readings called bad of how many."""
    errors = {name: [] for name in NAMES}
    cover = {name: [] for name in NAMES}
    counts = np.zeros(4, dtype=int)
    for seed in seeds:
        one = world(seed)
        readings, bad = spoilt(recommended(one), one.rng, spoil)
        found = analyse(readings, Setup())
        out = {s.index for s in found.suspects}
        counts += [len(bad), len(bad & out), len(out - bad), len(readings.items) - len(bad)]
        truth = true_values(one)
        for value in found.values:
            if value.name not in errors:
                continue
            true = truth[value.name] / SCALE[value.name]  # in the file's unit
            errors[value.name].append(abs(math.log(value.value / true)))
            if value.told:
                cover[value.name].append(value.low <= true <= value.high)
    return errors, cover, counts


def right(errors):
    k, ohm = np.array(errors["emf_v_s"]), np.array(errors["terminal_ohm"])
    assert np.median(k) < 0.01
    assert np.quantile(k, 0.9) < 0.03
    assert np.median(ohm) < 0.03
    assert np.quantile(ohm, 0.9) < 0.08


def test_constants_are_found_and_intervals_cover():
    errors, cover, counts = series(range(18))
    right(errors)
    assert counts[2] <= 0.02 * counts[3]
    for name in NAMES:  # binomial: below this for 95 % cover once in 500
        assert sum(cover[name]) >= len(cover[name]) - 5, name


def test_gross_errors_are_named_and_do_not_move_the_rest():
    errors, cover, (bad, named, false, good) = series(range(100, 112), spoil=0.1)
    right(errors)
    assert named >= 0.9 * bad - 1
    assert false <= 0.02 * good + 1
    for name in ("emf_v_s", "terminal_ohm"):
        assert sum(cover[name]) >= len(cover[name]) - 4, name


@pytest.mark.soak
@pytest.mark.timeout(6000)
def test_a_thousand_motors():
    errors, cover, counts = series(range(310_000, 311_000))
    print({n: (round(float(np.median(e)), 4), round(float(np.quantile(e, 0.9)), 4))
           for n, e in errors.items()})
    print({n: (round(float(np.mean(c)), 4), len(c)) for n, c in cover.items()}, counts)
    right(errors)
    assert counts[2] <= 0.02 * counts[3]
    for name in NAMES:
        assert 0.92 <= np.mean(cover[name]) <= 0.98, name


@pytest.mark.soak
@pytest.mark.timeout(6000)
def test_five_hundred_motors_with_gross_errors():
    errors, cover, (bad, named, false, good) = series(range(320_000, 320_500), spoil=0.1)
    print({n: (round(float(np.mean(c)), 4), len(c)) for n, c in cover.items()},
          bad, named, false, good)
    right(errors)
    assert named >= 0.9 * bad
    assert false <= 0.02 * good
    for name in NAMES:
        assert 0.92 <= np.mean(cover[name]) <= 0.98, name
