"""The search of trains and what is built of it: ratios hit, teeth sound, nothing collides."""

from __future__ import annotations

from dataclasses import replace
from math import gcd, hypot, pi
from random import Random

import numpy as np
import pytest
from gear_tasks import task
from steadyturn.gears import search, strength
from steadyturn.gears.layout import hull, lay_out, smallest_box
from steadyturn.gears.pairs import NoPair, pair
from steadyturn.gears.stages import stages
from steadyturn.gears.teeth import interferes, is_undercut
from steadyturn.gears.trains import best_in, build, choices, of_teeth

DEG20 = 20 * pi / 180


def test_table_of_stages_agrees_with_exact_pairs() -> None:
    every = stages(DEG20)
    dice = Random(1)
    for row in dice.sample(range(len(every.driver)), 60):
        driver, driven = int(every.driver[row]), int(every.driven[row])
        if driven < 11:
            continue  # their tips are cut, which the table leaves out
        exact = pair(driver, driven, 2.0)
        assert every.centre[row] * 2 == pytest.approx(exact.centre_mm, abs=1e-9)
        assert every.contact[row] == pytest.approx(exact.mesh.contact_ratio, abs=1e-9)
        assert every.sliding[row] == pytest.approx(
            strength.friction_loss(exact.driver, exact.driven, exact.centre_mm, 1.0), abs=1e-9)
        assert every.hunting[row] == (gcd(driver, driven) == 1)


def test_combinations_are_all_there() -> None:
    """Of one and two stages every one near the ratio, counted again one by one."""
    every = stages(DEG20, 40)
    asked = task(ratio=6.0, tolerance=0.01)
    logs = np.log(every.ratio)
    (one,) = search.combinations(every, asked, 1)
    assert set(one.tolist()) == set(np.flatnonzero(abs(every.ratio / 6 - 1) <= 0.01).tolist())
    first, second = search.combinations(every, asked, 2)
    low, high = np.log(6 * 0.99), np.log(6 * 1.01)
    both = logs[:, None] + logs
    assert len(first) == int(((both >= low - 1e-12) & (both <= high + 1e-12)).sum())
    assert len(set(zip(first.tolist(), second.tolist(), strict=True))) == len(first)


@pytest.mark.parametrize(("ratio", "counts"), [(4.5, (1,)), (14.0, (2,)), (25.0, (1, 2, 3))])
def test_what_is_listed_is_sound(ratio: float, counts: tuple[int, ...]) -> None:
    asked = task(ratio=ratio, counts=counts)
    found = choices(asked)
    assert found.trains
    assert found.tried_count > 10
    for train in found.trains:
        assert len(train.stages) in counts
        assert abs(train.ratio / ratio - 1) <= 0.02 + 1e-9
        assert train.fits
        assert train.safety >= 0.99
        for stage in train.stages:
            one = stage.pair
            assert not is_undercut(one.driver)
            assert not is_undercut(one.driven)
            assert not interferes(one.driver, one.driven, one.centre_mm)
            assert stage.contact_ratio >= 1.2
            assert stage.judged.overload_safety >= 1.5 * 0.99
            assert stage.judged.running_safety >= 0.99


@pytest.mark.parametrize(("ratio", "counts"), [(25.0, (1, 2, 3)), (5.0, (1, 2)), (12.0, (2,))])
def test_the_list_is_a_choice(ratio: float, counts: tuple[int, ...]) -> None:
    """Not all rows are just strong enough: more strength is there, and costs plastic, in trains
    that are no copies of each other; what is said to be best is it."""
    trains = choices(task(ratio=ratio, counts=counts)).trains
    margins = [t.safety for t in trains]
    assert max(margins) > min(margins) + 0.4
    strong = max(trains, key=lambda t: t.safety)
    same = [t for t in trains if len(t.stages) == len(strong.stages) and t.safety < 1.2]
    assert all(strong.plastic_cm3 > t.plastic_cm3 for t in same)
    best = dict(best_in(trains))
    assert trains[best["smallest"]].width_mm <= min(t.width_mm for t in trains) + 0.5
    assert trains[best["quickest to print"]].hours == min(t.hours for t in trains)
    assert trains[best["strongest"]].safety > max(margins) - 0.25
    for one in trains:
        for other in trains:
            if other is not one and len(one.stages) == len(other.stages):
                assert (abs(one.hours - other.hours) > 0.5 or abs(one.safety - other.safety) > 0.2
                        or abs(one.sliding_percent - other.sliding_percent) > 0.5
                        or abs(one.width_mm - other.width_mm) > 5), (one.teeth, other.teeth)


def test_a_high_ratio_finds_room() -> None:
    """Modules larger than the load asks for, where only they leave room for axles and motors."""
    asked = task(ratio=150.0, counts=(3,))
    trains = choices(asked).trains
    assert trains
    for train in trains:
        assert train.fits
        assert train.safety >= 0.99
        last = train.stages[-1]
        assert last.centre_mm >= asked.given.can_mm / 2 + search.HEAD_MM


def test_what_is_asked_for_is_asked_with_its_margin() -> None:
    asked = task(counts=(2,))
    teeth = ((46, 11), (83, 14))
    light = build(teeth, (2.5, 1.25), (None, None), asked)
    heavy = build(teeth, (2.5, 1.25), (None, None), replace(asked, margin=1.4))
    for a, b in zip(light.stages, heavy.stages, strict=True):
        assert b.width_mm > a.width_mm or a.safety >= 1.4
        assert b.least >= 1.4 - 1e-9


def test_best_of_the_list_is_not_beaten() -> None:
    found = choices(task(counts=(2,))).trains
    for one in found:
        for other in found:
            if other is not one:
                assert not (other.hours < one.hours * 0.9 and other.safety > one.safety + 0.2
                            and max(other.width_mm, other.height_mm) < one.width_mm - 10
                            and other.sliding_percent < one.sliding_percent - 1), (one, other)


def test_two_stage_trains_of_many_rigs_go_together() -> None:
    """Axles, wheels and motors of random trains are clear of each other."""
    dice = Random(7)
    seen = 0
    while seen < 12:
        asked = task(ratio=20.0, motors=dice.randint(1, 4), can_m=dice.uniform(0.02, 0.045))
        teeth = tuple((dice.randint(40, 70), dice.randint(10, 16))
                      for _ in range(dice.choice((1, 2, 2, 3))))
        try:
            train = of_teeth(teeth, asked)
        except ValueError:
            continue
        seen += 1
        lay, given = train.layout, asked.given
        for n, stage in enumerate(train.stages):
            here = lay.axles[n]
            ends = lay.motors if n == len(train.stages) - 1 else (lay.axles[n + 1],)
            for x, y in ends:
                assert hypot(x - here[0], y - here[1]) == pytest.approx(stage.centre_mm)
        for n, stage in enumerate(train.stages):
            for m in range(n):  # axles that pass behind the faces of earlier wheels
                apart = hypot(*(a - b for a, b in zip(lay.axles[n], lay.axles[m], strict=True)))
                assert apart > stage.pair.driver.tip_mm + given.axle_mm / 2
        for i, a in enumerate(lay.motors):
            for b in lay.motors[:i]:
                assert hypot(a[0] - b[0], a[1] - b[1]) > given.can_mm
            for b in lay.axles:
                assert hypot(a[0] - b[0], a[1] - b[1]) > given.can_mm / 2 + given.axle_mm / 2


def test_reverted_train_has_one_centre_distance() -> None:
    asked = task(ratio=16.0, counts=(2,), motors=1, layout="reverted")
    found = choices(asked).trains
    assert found
    for train in found:
        assert train.stages[0].centre_mm == pytest.approx(train.stages[1].centre_mm, abs=1e-6)
        assert train.layout.motors == ((0.0, 0.0),)
        for stage in train.stages:
            assert stage.pair.mesh.backlash_mm == pytest.approx(
                asked.given.backlash_mm(stage.module_mm), rel=0.1)


def test_a_given_module_and_width_are_kept() -> None:
    train = of_teeth(((60, 12), (60, 12)), task(module_m=0.0015, width_m=0.012))
    assert [(s.module_mm, s.width_mm) for s in train.stages] == [(1.5, 12.0)] * 2


def test_no_pair_says_why() -> None:
    with pytest.raises(NoPair, match="asks for shifts"):
        pair(60, 12, 2.0, centre_mm=68.0)
    with pytest.raises(NoPair, match="undercut"):
        pair(12, 12, 2.0, centre_mm=24.0)


def test_more_load_never_asks_for_less() -> None:
    asked = task(counts=(2,))
    heavy = replace(asked, loads=replace(asked.loads, blocked_nm=2 * asked.loads.blocked_nm))
    teeth = ((60, 12), (60, 12))
    light_one, heavy_one = of_teeth(teeth, asked), of_teeth(teeth, heavy)
    assert heavy_one.plastic_cm3 > light_one.plastic_cm3
    for a, b in zip(light_one.stages, heavy_one.stages, strict=True):
        assert b.module_mm * b.width_mm > a.module_mm * a.width_mm


def test_hull_and_box_of_a_known_shape() -> None:
    outline = hull([((0.0, 0.0), 10.0), ((50.0, 0.0), 10.0)], 360)
    width, height, _ = smallest_box(outline)
    assert (width, height) == pytest.approx((70.0, 20.0), abs=0.05)


def test_layout_is_near_the_best_of_a_finer_search() -> None:
    asked = task(counts=(2,))
    train = of_teeth(((60, 12), (60, 12)), asked)
    found = lay_out(tuple(s.pair for s in train.stages), asked.given)
    assert found.width_mm * found.height_mm <= 1.001 * train.width_mm * train.height_mm
