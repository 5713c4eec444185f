"""What holds the train: plate with columns and motor mounts, cover, holder, spacers."""

from __future__ import annotations

from math import atan2, cos, hypot, pi, sin
from typing import Any

import numpy as np

from steadyturn.gears import shapes
from steadyturn.gears.given import Given
from steadyturn.gears.layers import Slab
from steadyturn.gears.layout import COLUMN_MM, EDGE_MM, WALL_MM, Point
from steadyturn.gears.shapes import Printer, circle, polygon, slot
from steadyturn.gears.trains import COVER_MM, GAP_MM, MOUNT_MM, PLATE_MM, TOP_MM, Train
from steadyturn.gears.wheels import RUNS_MM, journal_mm

COLUMN_APART_MM = 130.0  # along the edge, at most
PILOT_MM = 1.45  # radius: an M3 screw cuts its thread in it
M3_MM = 1.7  # radius of a hole an M3 screw passes
ADJUST_MM = 1.5  # a motor can be moved so far either way, along the line of its mesh
PLAY_MM = 0.3  # of a wheel along its axle
BEARING_WALL_MM = 5.0  # about the handle's wheel
HOLDER_MM, HOLDER_REACH_MM = 6.0, 50.0  # thickness, length of the leg that is clamped
STRAP_MM = 28.0


def columns(train: Train) -> list[Point]:
    """Middles of the columns: evenly along the plate's edge."""
    ring = np.array(train.layout.outline)
    steps = np.hypot(*np.diff(np.concatenate([ring, ring[:1]]), axis=0).T)
    way = np.concatenate([[0.0], np.cumsum(steps)])
    count = max(4, int(np.ceil(way[-1] / COLUMN_APART_MM)))
    at = way[-1] * (np.arange(count) + 0.5) / count
    closed = np.concatenate([ring, ring[:1]])
    return [(float(np.interp(a, way, closed[:, 0])), float(np.interp(a, way, closed[:, 1])))
            for a in at]


def height_mm(train: Train) -> float:
    """From the plate's face to the cover's inner face."""
    return train.depth_mm - PLATE_MM - COVER_MM


def _floor(train: Train) -> Any:
    """The plate's flat shape: outline and pads about the columns."""
    pads = [circle(COLUMN_MM, x, y, 40) for x, y in columns(train)]
    return shapes.union([polygon(train.layout.outline), *pads])


def plate(train: Train, given: Given, printer: Printer) -> Any:
    """The plate, columns upwards. It lies turned as it fits the printer."""
    ways = columns(train)
    pilot = shapes.union([circle(PILOT_MM, x, y, 24) for x, y in ways])
    upper = _floor(train) - pilot - _axle_holes(train, given)
    lower = upper
    for spot in train.layout.motors:
        upper = upper - _mount(train, given, spot)
        lower = lower - _recess(train, given, spot)
    stand = shapes.union([circle(COLUMN_MM, x, y, 40) for x, y in ways]) - pilot
    slabs = [Slab(0.0, PLATE_MM - MOUNT_MM, lower), Slab(PLATE_MM - MOUNT_MM, PLATE_MM, upper),
             Slab(PLATE_MM, PLATE_MM + height_mm(train), stand)]
    return shapes.solid(slabs, printer).rotate((0, 0, train.layout.turn_rad * 180 / pi))


def _axle_holes(train: Train, given: Given) -> Any:
    radius = given.axle_mm / 2 + 0.1
    axles = train.layout.axles[1:] if given.reverted else train.layout.axles
    return shapes.union([circle(radius, x, y, 48) for x, y in axles])


def _along(train: Train, spot: Point) -> float:
    """Direction from the last wheel's axle to a motor."""
    x, y = train.layout.axles[-1]
    return atan2(spot[1] - y, spot[0] - x)


def _mount(train: Train, given: Given, spot: Point) -> Any:
    """Slots for the raised ring about a motor's shaft and for its two screws."""
    way = _along(train, spot)
    x, y = spot
    cut = slot(given.boss_mm / 2 + 0.3, 2 * ADJUST_MM, x, y, way)
    for side in (1, -1):
        dx, dy = -sin(way) * side * given.screws_mm / 2, cos(way) * side * given.screws_mm / 2
        cut = cut + slot(M3_MM, 2 * ADJUST_MM, x + dx, y + dy, way)
    return cut


def _recess(train: Train, given: Given, spot: Point) -> Any:
    """The can's seat in the plate's back."""
    return slot(given.can_mm / 2 + 0.4, 2 * ADJUST_MM, *spot, _along(train, spot))


def cover(train: Train, given: Given, printer: Printer) -> Any:
    """The guard over all meshes: a lid with a wall down to the plate, and the bearing that the
    handle's wheel turns in. Printed lid down, so it is drawn mirrored."""
    outline = polygon(train.layout.outline)
    outer, inner = outline.offset(-EDGE_MM), outline.offset(-EDGE_MM - WALL_MM)
    ways = columns(train)
    lid = _floor(train)
    for x, y in ways:
        lid = lid - circle(M3_MM, x, y, 24)
    middle, journal = train.layout.axles[0], journal_mm(train)
    hole = [circle(journal + RUNS_MM, *middle)]
    hole += [circle(given.axle_mm / 2 + 0.1, x, y, 48) for x, y in train.layout.axles[1:]]
    lid = lid - shapes.union(hole)
    wall = outer - inner
    for x, y in ways:
        wall = wall - circle(COLUMN_MM + 0.4, x, y, 40)
    bearing = circle(journal + BEARING_WALL_MM, *middle) - hole[0]
    slabs = [Slab(0.0, COVER_MM, lid.mirror((1, 0))),
             Slab(COVER_MM, COVER_MM + TOP_MM - GAP_MM, bearing.mirror((1, 0))),
             Slab(COVER_MM, COVER_MM + height_mm(train) - 0.3, wall.mirror((1, 0)))]
    turn = -train.layout.turn_rad * 180 / pi
    return shapes.solid(slabs, printer).rotate((0, 0, turn))


def holder_columns(train: Train) -> tuple[int, int]:
    """Two neighbouring columns, those farthest from the motors."""
    ways = columns(train)
    pairs = [(n, (n + 1) % len(ways)) for n in range(len(ways))]

    def clear(pair: tuple[int, int]) -> float:
        return min(hypot(ways[n][0] - x, ways[n][1] - y)
                   for n in pair for x, y in train.layout.motors)

    return max(pairs, key=lambda pair: (round(clear(pair), 6), -pair[0]))


def holder(train: Train, given: Given, printer: Printer) -> Any:
    """An angle on two columns: a leg for a table clamp, with slots for a strap round a post or
    a thigh. It is printed standing on its side, so that no layer is bent apart."""
    del given
    ways = columns(train)
    a, b = (ways[n] for n in holder_columns(train))
    apart = hypot(a[0] - b[0], a[1] - b[1])
    width = max(apart + 4 * COLUMN_MM, 2 * STRAP_MM)
    leg, t = 3 * COLUMN_MM, HOLDER_MM
    profile = np.array([[0.0, 0.0], [HOLDER_REACH_MM, 0.0], [HOLDER_REACH_MM, t], [t + 8, t],
                        [t, t + 8], [t, leg + t], [0.0, leg + t]])
    body = shapes.solid([Slab(0.0, width, polygon(profile))], printer)
    tools = []
    for z in (width / 2 - apart / 2, width / 2 + apart / 2):  # screws into the columns
        tools.append(circle(M3_MM, corners=24).extrude(4 * t).rotate((0, 90, 0))
                     .translate((-t, leg + t - COLUMN_MM - 1, z)))
    strap = shapes.rectangle(5.0, STRAP_MM).extrude(4 * t).rotate((-90, 0, 0))
    for x in (HOLDER_REACH_MM - 8, HOLDER_REACH_MM - 22):
        tools.append(strap.translate((x, -t, width / 2)))
    for tool in tools:
        body = body - tool
    return body


def spacer_heights(train: Train, given: Given) -> list[float]:
    """Of the rings below and above each wheel, handle's axle first (its upper one is the
    wheel's own collar; reverted it has none below either), each shorter by half the play."""
    widths = [s.width_mm for s in train.stages]
    rings = []
    for n in range(len(widths)):
        below = GAP_MM + sum(w + GAP_MM for w in widths[n + 1:])
        if n or not given.reverted:
            rings.append(below - PLAY_MM / 2)
        if n:
            above = TOP_MM + sum(w + GAP_MM for w in widths[:n - 1])
            rings.append(above - PLAY_MM / 2)
    return rings


def spacers(train: Train, given: Given, printer: Printer) -> Any:
    """All rings side by side."""
    outer = given.axle_mm / 2 + 3.5
    ring = circle(outer) - circle(given.axle_mm / 2 + 0.1)
    parts = []
    for n, height in enumerate(spacer_heights(train, given)):
        parts.append(shapes.solid([Slab(0.0, height, ring)], printer)
                     .translate((n * (2 * outer + 4), 0, 0)))
    engine = shapes.kernel()
    return engine.Manifold.compose(parts)
