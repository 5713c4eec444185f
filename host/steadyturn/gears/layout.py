"""Where the axles and motors of a train stand on its plate, so that nothing touches and the
plate stays small.

The handle's axle is at (0, 0), the next one on the x axis. Wheels turn in planes: the handle's
wheel in the foremost, each later driver one plane further back; the motors stand behind the
plate. Every axle goes from the plate to the cover, held at both ends.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import asin, atan2, cos, hypot, inf, pi, sin

import numpy as np
from numpy.typing import NDArray

from steadyturn.gears.given import Given
from steadyturn.gears.pairs import Pair
from steadyturn.gears.search import CLEAR_MM, HEAD_MM

Point = tuple[float, float]
Floats = NDArray[np.float64]

STEPS, MOTOR_STEPS = 24, 48  # directions tried for each axle, for the motors
DIRECTIONS = 48  # in which a plate is measured
WALL_MM = 2.4  # of the cover about the wheels
RIM_MM = 3.0  # between wheels and that wall
EDGE_MM = 3.0  # of the plate beyond the wall; the columns' middles stand on the edge
COLUMN_MM = 5.0  # radius of a column


class NoRoom(ValueError):
    """The train cannot stand on one plate; the text says why."""


@dataclass(frozen=True)
class Layout:
    """axles: of the wheels, handle's first; motors; outline: corners of the plate, convex,
    counter-clockwise; width_mm, height_mm: of the smallest upright rectangle about it and its
    columns when it is turned by turn_rad for the printer."""

    axles: tuple[Point, ...]
    motors: tuple[Point, ...]
    outline: tuple[Point, ...]
    width_mm: float
    height_mm: float
    turn_rad: float


def lay_out(pairs: tuple[Pair, ...], given: Given) -> Layout:
    """The smallest plate that these meshes fit on; NoRoom where there is none."""
    if given.reverted:
        return _reverted(pairs, given)
    places = _axle_choices(pairs, given)
    if not places:
        raise NoRoom("a wheel would run into the axle before it: let the first wheels be larger, "
                     "or the later ones smaller")
    choices = [(axles, motors) for axles in places
               for motors in _motor_choices(pairs, given, axles)]
    if not choices:
        many = "a motor" if given.motors == 1 else f"{given.motors} motors"
        raise NoRoom(f"no place about the last wheel for {many} of {given.can_mm:g} mm, clear of "
                     "each other and of the axles")
    axles, motors = choices[int(np.argmin(_sizes(pairs, given, choices)))]
    return _measured(pairs, given, axles, motors)


def _sizes(pairs: tuple[Pair, ...], given: Given,
           choices: list[tuple[tuple[Point, ...], tuple[Point, ...]]]) -> Floats:
    """For each choice what is to be small: its upright box, and a little the longer side."""
    every = [_about(pairs, given, axles, motors) for axles, motors in choices]
    middles = np.array([[c for c, _ in about] for about in every])
    radii = np.array([r for _, r in every[0]])
    angles = np.linspace(0, 2 * pi, DIRECTIONS, endpoint=False)
    reach = (middles @ np.stack([np.cos(angles), np.sin(angles)]) + radii[:, None]).max(axis=1)
    width = reach[:, : DIRECTIONS // 2] + reach[:, DIRECTIONS // 2:]
    across = np.roll(width, DIRECTIONS // 4, axis=1)
    return (width * across + 10 * np.maximum(width, across)).min(axis=1)


def _reverted(pairs: tuple[Pair, ...], given: Given) -> Layout:
    if len(pairs) != 2 or given.motors != 1:
        raise NoRoom("a reverted train has two stages and one motor")
    if abs(pairs[0].centre_mm - pairs[1].centre_mm) > 0.01:
        raise NoRoom("both stages of a reverted train need one centre distance")
    axles = ((0.0, 0.0), (pairs[0].centre_mm, 0.0))
    return _measured(pairs, given, axles, ((0.0, 0.0),))


def _axle_choices(pairs: tuple[Pair, ...], given: Given) -> list[tuple[Point, ...]]:
    """Places of the wheels' axles: the first two on the x axis, further ones folded back."""
    choices: list[tuple[Point, ...]] = [((0.0, 0.0),)]
    for number, pair in enumerate(pairs[:-1]):
        directions = [0.0] if number == 0 else list(np.linspace(0, pi, STEPS // 2 + 1))
        grown = []
        for axles in choices:
            for angle in directions:
                x, y = axles[-1]
                new = x + pair.centre_mm * cos(angle), y + pair.centre_mm * sin(angle)
                if _axle_is_free(new, axles, pairs, number + 1, given):
                    grown.append((*axles, new))
        choices = grown
    return choices


def _axle_is_free(new: Point, axles: tuple[Point, ...], pairs: tuple[Pair, ...], number: int,
                  given: Given) -> bool:
    """Whether the wheel on the new axle stays clear of the axles that come through its plane,
    and the new axle of the wheels in front of it."""
    tip = pairs[number].driver.tip_mm
    bare = given.axle_mm / 2 + CLEAR_MM
    for n, (x, y) in enumerate(axles):
        apart = hypot(new[0] - x, new[1] - y)
        front = pairs[n].driver.tip_mm if n < number - 1 else 0.0
        if apart < max(tip, front) + bare:
            return False
    return True


def _motor_choices(pairs: tuple[Pair, ...], given: Given, axles: tuple[Point, ...]
                   ) -> list[tuple[Point, ...]]:
    """Places of the motors about the last wheel, side by side as near as their cans allow."""
    pair, (cx, cy) = pairs[-1], axles[-1]
    radius = pair.centre_mm
    half = (given.can_mm / 2 + CLEAR_MM) / radius
    if given.motors > 1 and half >= 1:
        return []
    step = 2 * asin(half) if given.motors > 1 else 0.0
    found = []
    for k in range(MOTOR_STEPS):
        first = 2 * pi * k / MOTOR_STEPS
        spots = tuple((cx + radius * cos(first + n * step), cy + radius * sin(first + n * step))
                      for n in range(given.motors))
        if given.motors * step > 2 * pi:
            break
        if all(_motor_is_free(s, axles, pairs, given) for s in spots):
            found.append(spots)
    return found


def _motor_is_free(spot: Point, axles: tuple[Point, ...], pairs: tuple[Pair, ...],
                   given: Given) -> bool:
    """The can clear of the bolts' heads, the pinion of the axles."""
    room = max(given.can_mm / 2 + HEAD_MM,
               pairs[-1].driven.tip_mm + given.axle_mm / 2 + CLEAR_MM)
    return all(hypot(spot[0] - x, spot[1] - y) >= room for x, y in axles)


def circles(pairs: tuple[Pair, ...], axles: tuple[Point, ...], motors: tuple[Point, ...]
            ) -> list[tuple[Point, float]]:
    """Middle and tip radius of everything that turns."""
    found = [(axle, pair.driver.tip_mm) for axle, pair in zip(axles, pairs, strict=True)]
    found += [(axle, pair.driven.tip_mm) for axle, pair in zip(axles[1:], pairs, strict=False)]
    return found + [(spot, pairs[-1].driven.tip_mm) for spot in motors]


def _measured(pairs: tuple[Pair, ...], given: Given, axles: tuple[Point, ...],
              motors: tuple[Point, ...]) -> Layout:
    outline = hull(_about(pairs, given, axles, motors))
    width, height, turn = smallest_box(outline)
    width, height = width + 2 * COLUMN_MM, height + 2 * COLUMN_MM
    return Layout(axles=axles, motors=motors, outline=tuple(map(tuple, outline.tolist())),
                  width_mm=width, height_mm=height, turn_rad=turn)


def _about(pairs: tuple[Pair, ...], given: Given, axles: tuple[Point, ...],
           motors: tuple[Point, ...]) -> list[tuple[Point, float]]:
    """Circles that the plate reaches round: wheels with the cover's wall, and motors."""
    margin = RIM_MM + WALL_MM + EDGE_MM
    about = [(middle, radius + margin) for middle, radius in circles(pairs, axles, motors)]
    can = max(given.can_mm / 2 + 5, given.screws_mm / 2 + 6)
    return about + [(spot, can) for spot in motors]


def hull(about: list[tuple[Point, float]], points: int = 120) -> Floats:
    """Convex hull of circles, as corners, counter-clockwise: in each direction the point that
    is farthest out.

    >>> hull([((0.0, 0.0), 1.0)], 4).round(3).tolist()
    [[1.0, 0.0], [0.0, 1.0], [-1.0, 0.0], [-0.0, -1.0]]
    """
    angles = np.linspace(0, 2 * pi, points, endpoint=False)
    out = np.stack([np.cos(angles), np.sin(angles)], axis=1)
    middles, radii = np.array([c for c, _ in about]), np.array([r for _, r in about])
    farthest = (out @ middles.T + radii).argmax(axis=1)
    return middles[farthest] + radii[farthest, None] * out


def smallest_box(outline: Floats) -> tuple[float, float, float]:
    """Sides of the smallest rectangle about a convex outline, the longer first, and the angle
    by which the outline is to be turned to lie along the axes.

    >>> w, h, turn = smallest_box(np.array([[0, 0], [2, 2], [1, 3], [-1, 1.0]]))
    >>> round(w, 6), round(h, 6)
    (2.828427, 1.414214)
    """
    best = (inf, 0.0, 0.0, 0.0)
    for a, b in zip(outline, np.roll(outline, -1, axis=0), strict=True):
        if hypot(b[0] - a[0], b[1] - a[1]) < 1e-9:
            continue
        turn = -atan2(b[1] - a[1], b[0] - a[0])
        c, s = cos(turn), sin(turn)
        size = np.ptp(outline @ np.array([[c, s], [-s, c]]), axis=0)
        if float(size[0] * size[1]) < best[0] - 1e-9:
            best = (float(size[0] * size[1]), float(size[0]), float(size[1]), turn)
    _, width, height, turn = best
    if height > width:
        return height, width, turn + pi / 2
    return width, height, turn
