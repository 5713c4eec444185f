"""Solid shapes from flat ones: slabs stacked on each other, made up for what a printer adds.

Needs manifold3d (extra 'print'). Lengths in mm; a part lies as it is printed, on z = 0.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from math import cos, pi, sin, sqrt
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from steadyturn.gears import layers
from steadyturn.gears.kernel import kernel
from steadyturn.gears.layers import Slab

FIRST_LAYER_MM = 0.3
ROUND = 72  # corners of a circle


@dataclass(frozen=True)
class Printer:
    """grows_mm: how far a printed wall stands outside of the drawn one; foot_mm: how much
    further the first layer does."""

    grows_mm: float = 0.0
    foot_mm: float = 0.0


# ------------------------------------------------------------------------- flat shapes


def polygon(points: ArrayLike) -> Any:
    """The inside of a counter-clockwise outline."""
    return kernel().CrossSection([np.asarray(points, dtype=float)])


def circle(radius: float, x: float = 0.0, y: float = 0.0, corners: int = ROUND) -> Any:
    """A disc; its corners lie outside of the circle by as much as its sides lie inside, so that
    a bore is as wide as asked for on average."""
    turn = 2 * pi * np.arange(corners) / corners
    fair = radius * sqrt(2 * pi / corners / sin(2 * pi / corners))  # the disc's own area
    return polygon(np.stack([x + fair * np.cos(turn), y + fair * np.sin(turn)], axis=1))


def rectangle(width: float, height: float, x: float = 0.0, y: float = 0.0,
              turn_rad: float = 0.0) -> Any:
    """A rectangle about (x, y)."""
    corners = np.array([[-width, -height], [width, -height], [width, height],
                        [-width, height]]) / 2
    c, s = cos(turn_rad), sin(turn_rad)
    return polygon(corners @ np.array([[c, s], [-s, c]]) + (x, y))


def slot(radius: float, length: float, x: float, y: float, turn_rad: float) -> Any:
    """A slot with round ends: a hole of `radius` that may lie up to length / 2 either way."""
    dx, dy = cos(turn_rad) * length / 2, sin(turn_rad) * length / 2
    ends = [circle(radius, x - dx, y - dy, 32), circle(radius, x + dx, y + dy, 32)]
    return kernel().CrossSection.batch_hull(ends)


def hexagon(across_flats: float, turn_rad: float = 0.0) -> Any:
    """A hexagon about the middle."""
    turn = turn_rad + pi / 3 * np.arange(6)
    radius = across_flats / sqrt(3)
    return polygon(np.stack([radius * np.cos(turn), radius * np.sin(turn)], axis=1))


def d_shape(radius: float, flat_at: float) -> Any:
    """A disc with a flat, `flat_at` above its middle."""
    return circle(radius) - rectangle(4 * radius, 2 * radius, 0.0, flat_at + radius)


def hull(shapes: Sequence[Any]) -> Any:
    return kernel().CrossSection.batch_hull(list(shapes))


def union(shapes: Iterable[Any]) -> Any:
    """All of them together; at least one."""
    every = list(shapes)
    whole = every[0]
    for shape in every[1:]:
        whole = whole + shape
    return whole


# ------------------------------------------------------------------------------- solids


def solid(slabs: Sequence[Slab], printer: Printer) -> Any:
    """One body of slabs. Every wall is moved in by what the printer adds, bores so become
    wider; the lowest layer by its foot more."""
    low = min(slab.low_mm for slab in slabs)
    pieces = []
    for slab in slabs:
        begins = slab.low_mm
        if begins == low and printer.foot_mm > 0:
            begins = min(low + FIRST_LAYER_MM, slab.high_mm)
            by_mm = -printer.grows_mm - printer.foot_mm / 2
            pieces.append(Slab(low, begins, _moved(slab.shape, by_mm)))
        if begins < slab.high_mm:
            pieces.append(Slab(begins, slab.high_mm, _moved(slab.shape, -printer.grows_mm)))
    return layers.body(pieces)


def bored(slabs: Sequence[Slab], cuts: Sequence[Slab], printer: Printer) -> Any:
    """Slabs as one body, as they are, without what the cuts take: each of these is wider by what
    the printer adds, and by its foot in the first layer."""
    tools = []
    for cut in cuts:
        tools.append(replace(cut, shape=_moved(cut.shape, printer.grows_mm)))
        if cut.low_mm < FIRST_LAYER_MM and printer.foot_mm > 0:
            by_mm = printer.grows_mm + printer.foot_mm / 2
            tools.append(Slab(cut.low_mm, FIRST_LAYER_MM, _moved(cut.shape, by_mm)))
    return layers.body(slabs, tools)


def drawn_in(slab: Slab, printer: Printer) -> Slab:
    """A slab that does not lie on the printer."""
    return replace(slab, shape=_moved(slab.shape, -printer.grows_mm))


def _moved(shape: Any, by_mm: float) -> Any:
    if by_mm == 0:
        return shape
    return shape.offset(by_mm, kernel().JoinType.Miter, 2.0)


def turned(profile: ArrayLike) -> Any:
    """A body of revolution about z; profile: (radius, z), counter-clockwise."""
    return polygon(profile).revolve(ROUND)
