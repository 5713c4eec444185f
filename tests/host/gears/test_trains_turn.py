"""Whole trains as they are printed, the outlines of few points with their tips relieved: every
mesh turned through a pitch; and what calipers and scales read on printed wheels."""

from __future__ import annotations

from math import pi
from random import Random

import numpy as np
import pytest
from gear_tasks import task
from steadyturn.gears import wheels
from steadyturn.gears.given import Given
from steadyturn.gears.outline import area_mm2, cut_to_width, outline
from steadyturn.gears.pairs import NoPair, pair
from steadyturn.gears.teeth import Gear, form_mm, is_undercut, span_mm, span_teeth, thickness_mm
from steadyturn.gears.trains import Train, of_teeth

shapely = pytest.importorskip("shapely", reason="the extra 'print' is not installed")
pytest.importorskip("manifold3d", reason="the extra 'print' is not installed")

from gear_turning import Turned, phases  # noqa: E402
from steadyturn.gears import layers, shapes  # noqa: E402


def train_of(dice: Random) -> tuple[Train, Given]:
    """A train that can be made, of a random rig: one to three stages, now and then reverted."""
    while True:
        reverted = dice.random() < 0.15
        count = 2 if reverted else dice.choice((1, 2, 2, 3))
        printing = {"can_m": dice.uniform(0.02, 0.045), "module_m": None if dice.random() < 0.7
                    else dice.choice((0.001, 0.0015, 0.002)),
                    "pressure_deg": dice.choice((20, 20, 20, 25)),
                    "backlash_m": None if dice.random() < 0.7 else dice.uniform(0.1, 0.4) / 1000,
                    "layout": "reverted" if reverted else "open"}
        teeth = tuple((dice.randint(24, 90), dice.randint(8, 20)) for _ in range(count))
        asked = task(ratio=20.0, motors=1 if reverted else dice.randint(1, 3), **printing)
        try:
            return of_teeth(teeth, asked), asked.given
        except ValueError:  # no such train
            continue


def check_train(train: Train, given: Given, steps: int) -> None:
    for stage in train.stages:
        of = stage.pair
        assert not is_undercut(of.driver)
        assert not is_undercut(of.driven)
        turned = Turned(of, lambda gear: wheels.printed_outline(gear, given))
        for angle in phases(of, steps):
            assert turned.overlap(angle) == 0.0, (of, angle)
        play = min(turned.play(angle, 1) + turned.play(angle, -1) for angle in phases(of, 5))
        # the least of all places: there both flanks touch where nothing is taken off
        assert play * turned.driven_mm == pytest.approx(of.mesh.backlash_mm, rel=0.1), of


@pytest.mark.parametrize("seed", range(3))
def test_printed_trains_turn(seed: int) -> None:
    check_train(*train_of(Random(seed)), 12)


@pytest.mark.soak
@pytest.mark.timeout(3000)
def test_many_printed_trains_turn() -> None:
    dice = Random(2024)
    for _ in range(500):
        check_train(*train_of(dice), 24)


def wheel_of(dice: Random) -> Gear:
    while True:
        try:
            made = pair(dice.randint(12, 90), dice.randint(8, 20),
                        dice.choice((1.0, 1.25, 1.5, 2.0, 2.5, 3.0)),
                        backlash_mm=dice.uniform(0.1, 0.3))
        except NoPair:
            continue
        return dice.choice((made.driver, made.driven))


def section(body) -> np.ndarray:
    """Outline of a body at half its height."""
    (ring,) = body.slice(5.0).to_polygons()
    return np.asarray(ring)


def check_moved(dice: Random) -> None:
    """What makes up for the printer runs beside the tooth, as far as asked everywhere, and never
    folds over itself."""
    gear, given = wheel_of(dice), task().given
    by = dice.choice((-1, 1)) * dice.uniform(0.02, 0.25)
    if by < 0:
        gear = cut_to_width(gear, -wheels.TIP_TAKEN * by)
    moved = shapely.Polygon(wheels.printed_outline(gear, given, by))
    assert moved.is_valid, (gear, by)
    fine = [outline(gear, flank=100, fillet=60), outline(gear, flank=100, fillet=60,
                                                         grown_mm=by)]
    one = shapely.Polygon(fine[0]).exterior
    tooth = fine[1][: len(fine[1]) // gear.teeth]
    away = shapely.distance(shapely.points(tooth), one)
    # but about the tips' corners, where two walls meet
    below = np.hypot(*tooth.T) < gear.tip_mm - abs(by) - 0.02
    assert away[below] == pytest.approx(abs(by), abs=0.003), (gear, by)


@pytest.mark.parametrize("seed", range(4))
def test_making_up_runs_beside_the_tooth(seed: int) -> None:
    check_moved(Random(seed))


@pytest.mark.soak
@pytest.mark.timeout(3000)
def test_making_up_runs_beside_many_teeth() -> None:
    dice = Random(5)
    for _ in range(500):
        check_moved(dice)


def calipers_mm(points: np.ndarray, gear: Gear, over: int) -> float:
    """Between two parallel jaws over so many teeth, their edges short of the roots: turned to and
    fro until they read least."""
    pitch = 2 * pi / gear.teeth
    middle = 0.0 if over % 2 else pitch / 2  # the jaws' teeth lie evenly about this direction
    angle = (np.arctan2(points[:, 1], points[:, 0]) - middle + pi) % (2 * pi) - pi
    some = points[(np.abs(angle) <= over * pitch / 2)
                  & (np.hypot(*points.T) >= form_mm(gear) - 1e-3)]
    reads = []
    for tilt in np.linspace(-0.2, 0.2, 81) * pitch:
        across = np.array([-np.sin(middle + tilt), np.cos(middle + tilt)])
        reads.append(np.ptp(some @ across))
    return float(min(reads))


def check_wheel(gear: Gear) -> None:
    given = task().given
    body = layers.body(wheels.toothed(gear, 10.0, given, shapes.Printer()))
    points = section(body)
    assert body.volume() == pytest.approx(
        area_mm2(wheels.printed_outline(gear, given)) * 10, rel=1e-5)
    fine = outline(gear, flank=200, fillet=100,
                   tip_relief_mm=given.tip_relief_mm(gear.module_mm))
    assert body.volume() == pytest.approx(area_mm2(fine) * 10, rel=1e-3)
    over = span_teeth(gear)
    assert calipers_mm(points, gear, over) == pytest.approx(
        span_mm(gear, over), abs=0.01), gear
    # arc on the circle through the flank's middle, where no tip relief has begun
    radius = (gear.root_mm + gear.tip_mm) / 2
    ring = shapely.Point(0, 0).buffer(radius, quad_segs=20_000).exterior
    inside = ring.intersection(shapely.Polygon(points)).length / gear.teeth
    assert inside == pytest.approx(thickness_mm(gear, radius), abs=0.01), gear


@pytest.mark.parametrize("seed", range(4))
def test_printed_wheels_measure_as_the_formulas_say(seed: int) -> None:
    check_wheel(wheel_of(Random(seed)))


@pytest.mark.soak
@pytest.mark.timeout(3000)
def test_many_printed_wheels_measure_as_the_formulas_say() -> None:
    dice = Random(77)
    for _ in range(500):
        check_wheel(wheel_of(dice))
