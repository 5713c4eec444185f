"""Pairs turned through each other as polygons: nothing overlaps, the backlash is what was
set, contact stays on the line of action, and as many teeth touch as the formula says."""

from __future__ import annotations

from functools import partial
from math import cos, hypot, pi, sin

import numpy as np
import pytest
from gear_pairs import draw
from steadyturn.gears.outline import half_tooth, outline
from steadyturn.gears.pairs import Pair, angle_of_driven
from steadyturn.gears.teeth import contact_ratio

shapely = pytest.importorskip("shapely", reason="the extra 'print' is not installed")

from gear_turning import Turned, phases  # noqa: E402

FEW, MANY = range(20), range(500)
PHASES = 24  # of one pitch
FINE = 400  # points of a flank where the place of contact is asked for


def check_turning(of: Pair, count: int = PHASES) -> None:
    turned = Turned(of)
    for angle in phases(of, count):
        assert turned.overlap(angle) == 0.0, (of, angle)
    for angle in phases(of, 3 if count == PHASES else 1):
        play = turned.play(angle, 1) + turned.play(angle, -1)
        assert play * turned.driven_mm == pytest.approx(of.mesh.backlash_mm, rel=0.1), of


def check_line(of: Pair) -> None:
    """The touching points lie on the line through the pitch point, at the working angle. Where
    a tip's edge is just about to touch, less than the outlines' steps away, it may be the
    nearest point: those places say nothing."""
    turned = Turned(of, partial(outline, flank=FINE))
    angle, told = of.mesh.pressure_rad, 0
    for at in phases(of, 4):
        for way in (1, -1):
            one, two = turned.at(at, way * turned.play(at, way))
            point = shapely.shortest_line(one, two).interpolate(0.5, normalized=True)
            if (hypot(point.x, point.y) > of.driver.tip_mm - 0.02
                    or hypot(point.x - of.centre_mm, point.y) > of.driven.tip_mm - 0.02):
                continue
            x, y = point.x - turned.driver_mm, point.y
            # the other flanks touch on the mirrored line
            off = min(abs(x * cos(angle) + s * y * sin(angle)) for s in (1, -1))
            assert off < 0.01, (of, at, off)
            told += 1
    assert told > 0, of


def check_contact_ratio(of: Pair) -> None:
    """One tooth alone on each wheel: how long they touch, in pitches."""
    turned = Turned(of)
    flanks = []
    for gear in (of.driver, of.driven):
        radius, angle = half_tooth(gear, flank=FINE)
        keep = radius < gear.tip_mm + 1e-9
        flanks.append((radius[keep][:-3], angle[keep][:-3]))  # without the middle of the tip
    half = of.mesh.backlash_mm / 2 / turned.driven_mm
    pitch = 2 * pi / of.driver.teeth

    def gap(at: float) -> float:
        """Between the driver's tooth and the driven one that is before it, play taken up."""
        (r1, a1), (r2, a2) = flanks
        one = shapely.LineString(np.stack([r1 * np.cos(at + a1), r1 * np.sin(at + a1)], axis=1))
        behind = angle_of_driven(at, of) + half - 2 * pi / of.driven.teeth
        two = shapely.LineString(np.stack([of.centre_mm + r2 * np.cos(behind + a2),
                                           r2 * np.sin(behind + a2)], axis=1))
        return one.distance(two)

    reach = np.linspace(-1.6 * pitch, 1.6 * pitch, 33)
    touching = np.flatnonzero([gap(at) < 1e-4 for at in reach])
    ends = []
    for inside, beyond in ((touching[0], touching[0] - 1), (touching[-1], touching[-1] + 1)):
        near, far = reach[inside], reach[beyond]
        for _ in range(8):
            middle = (near + far) / 2
            near, far = (middle, far) if gap(middle) < 1e-4 else (near, middle)
        ends.append(near)
    measured = (ends[1] - ends[0]) / pitch
    formula = contact_ratio(of.driver, of.driven, of.centre_mm)
    assert measured == pytest.approx(formula, abs=0.05), of


@pytest.mark.parametrize("seed", FEW)
def test_turning(seed: int) -> None:
    check_turning(draw(seed), PHASES // 2)


@pytest.mark.parametrize("seed", FEW[:1])
def test_line_of_action_and_contact_ratio(seed: int) -> None:
    check_line(draw(seed))
    check_contact_ratio(draw(seed))


@pytest.mark.soak
@pytest.mark.timeout(3000)
def test_many_pairs() -> None:
    for seed in MANY:
        check_turning(draw(1000 + seed))
        check_line(draw(1000 + seed))
        check_contact_ratio(draw(1000 + seed))


def test_an_overlap_is_seen() -> None:
    """The check can fail: without room for the backlash the same pair overlaps."""
    of = draw(3)
    tight = Pair(driver=of.driver, driven=of.driven,
                 centre_mm=of.centre_mm - 0.3 * of.driver.module_mm)
    assert any(Turned(tight).overlap(at) > 0 for at in phases(of, PHASES))
