"""Gear trains: published ones come out, and none smaller was passed over."""

from __future__ import annotations

import itertools
import time
from math import log, prod

import pytest
from steadyturn.sizing.trains import SPACING, ratio, text, trains


def near(found, wanted, within=0.01):
    return [t for t in found if abs(t.ratio / wanted - 1) <= within]


# check values: T1 Wentzell Ex 11.1 p.217, T3 Khurmi Ex 13.1 p.432 run backwards (975 rpm from
# 52), T4 Khurmi Ex 13.3 p.435 (28/99 and 36/124); the books' trains slow down, these speed up
T1 = ((60, 20), (60, 20))
T3 = ((50, 20), (75, 25), (65, 26))
T4 = ((124, 36), (99, 28))


@pytest.mark.parametrize(("train", "expected"), [(T1, 3600 / 400), (T3, 975 / 52), (T4, 12.18)])
def test_ratio_of_published_trains(train, expected) -> None:
    assert ratio(train) == pytest.approx(expected, rel=1e-3)


def test_t1_is_the_only_way_to_nine() -> None:
    assert [t.teeth for t in near(trains(range(20, 61), 2, 3, 9), 9)] == [T1]


def test_t4_comes_from_its_wheels() -> None:
    (found,) = near(trains((28, 99, 36, 124), 2, 4, 13), 12.18)
    assert sorted(found.teeth, key=lambda p: p[1]) == sorted(T4, key=lambda p: p[1])


def test_t3_is_matched_with_no_more_teeth() -> None:
    (found,) = near(trains((20, 25, 26, 50, 65, 75), 3, 3, 19), 18.75)
    assert found.ratio == pytest.approx(18.75, rel=1e-12)
    assert len(found.teeth) == 3
    assert sum(map(sum, found.teeth)) <= sum(map(sum, T3))


def test_stages_multiply() -> None:  # rule of the trade: 4:1 after 6:1 is 24:1
    assert ratio(((72, 12), (48, 12))) == 24
    assert text(((72, 12), (48, 12))) == "72/12 x 48/12"


def test_within_limits_and_spaced() -> None:
    found = trains(range(12, 61), 3, 6, 130)
    ratios = [t.ratio for t in found]
    assert ratios == sorted(ratios)
    assert ratios[0] == 1
    assert ratios[-1] == 125  # 60/12 three times
    for train in found:
        assert 1 <= len(train.teeth) <= 3
        assert train.ratio == pytest.approx(ratio(train.teeth), rel=1e-12)
        assert all(12 <= z <= 60 for pair in train.teeth for z in pair)
        assert all(1 <= a / b <= 6 for a, b in train.teeth)
    steps = [log(b / a) / log(1 + SPACING) for a, b in itertools.pairwise(ratios)]
    assert max(steps) < 2.01  # of equal steps, each train is anywhere in its own
    assert len(found) > 0.95 * log(125) / log(1 + SPACING)


def test_none_smaller_and_none_of_fewer_stages() -> None:
    """Against every train of two stages of some wheels."""
    wheels = (12, 13, 15, 18, 22, 27, 33, 40)
    single = [(a, b) for a in wheels for b in wheels if 1 <= a / b <= 3.4]
    every = [(p,) for p in single] + list(itertools.product(single, repeat=2))

    def place(teeth):
        return int(log(ratio(teeth)) / log(1 + SPACING) + 0.5)

    best = {}
    for teeth in every:
        key = (len(teeth), sum(map(sum, teeth)))
        best[place(teeth)] = min(best.get(place(teeth), (99, 0)), key)
    found = {place(t.teeth): (len(t.teeth), sum(map(sum, t.teeth)))
             for t in trains(wheels, 2, 3.4, 12)}
    assert found.keys() == best.keys()
    # single stages are thinned before they are put together, so a hair may be lost
    assert all(found[k][0] == best[k][0] for k in best)
    assert sum(found[k] == best[k] for k in best) > 0.9 * len(best)
    assert all(found[k][1] <= 1.1 * best[k][1] for k in best)


def test_the_widest_limits_end_soon() -> None:
    began = time.perf_counter()
    found = trains(range(6, 401), 6, 20, 1e4)
    assert time.perf_counter() - began < 20
    assert found[-1].ratio == pytest.approx(1e4, rel=0.02)


def test_nothing_fits() -> None:
    assert trains((), 3, 6, 100) == []
    assert trains(range(12, 61), 3, 6, 0.5) == []
    assert [t.ratio for t in trains((15,), 3, 6, 100)] == [1]
    assert prod(a / b for a, b in trains((15,), 3, 6, 100)[0].teeth) == 1
