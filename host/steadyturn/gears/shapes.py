"""Solid shapes from flat ones: slabs stacked on each other, made up for what a printer adds.

Needs manifold3d (extra 'print'). Lengths in mm; a part lies as it is printed, on z = 0.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from math import cos, pi, sin, sqrt
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from steadyturn import extras
from steadyturn.errors import Failed

FIRST_LAYER_MM = 0.3
ROUND = 72  # corners of a circle


class NoKernel(Failed):
    """The library that makes bodies is missing."""


def kernel() -> Any:
    """manifold3d, or NoKernel with how to get it."""
    try:
        import manifold3d
    except ImportError:
        raise NoKernel("the library manifold3d is missing: parts to print cannot be made.",
                       extras.install("print")) from None
    return manifold3d


@dataclass(frozen=True)
class Printer:
    """grows_mm: how far a printed wall stands outside of the drawn one; foot_mm: how much
    further the first layer does."""

    grows_mm: float = 0.0
    foot_mm: float = 0.0


@dataclass(frozen=True)
class Slab:
    """A flat shape from one height to another."""

    low_mm: float
    high_mm: float
    shape: Any


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
        shape = _moved(slab.shape, -printer.grows_mm)
        foot = min(low + FIRST_LAYER_MM, slab.high_mm)
        if slab.low_mm == low and printer.foot_mm > 0:
            pieces.append(_raised(_moved(slab.shape, -printer.grows_mm - printer.foot_mm / 2),
                                  low, foot))
            if foot < slab.high_mm:
                pieces.append(_raised(shape, foot, slab.high_mm))
        else:
            pieces.append(_raised(shape, slab.low_mm, slab.high_mm))
    engine = kernel()
    return engine.Manifold.batch_boolean(pieces, engine.OpType.Add)


def _moved(shape: Any, by_mm: float) -> Any:
    if by_mm == 0:
        return shape
    return shape.offset(by_mm, kernel().JoinType.Miter, 2.0)


def _raised(shape: Any, low: float, high: float) -> Any:
    return shape.extrude(high - low).translate((0, 0, low))


def turned(profile: ArrayLike) -> Any:
    """A body of revolution about z; profile: (radius, z), counter-clockwise."""
    return polygon(profile).revolve(ROUND)


# --------------------------------------------------------------------- toothed bodies


def prism(rings: Sequence[ArrayLike], heights: Sequence[float]) -> Any:
    """A body whose walls join outlines of equally many points, one at each height."""
    engine = kernel()
    flat = [np.asarray(ring, dtype=float) for ring in rings]
    count = len(flat[0])
    points = np.concatenate([np.column_stack([ring, np.full(count, z)])
                             for ring, z in zip(flat, heights, strict=True)])
    here = np.arange(count)
    there = (here + 1) % count
    faces = []
    for level in range(len(flat) - 1):
        a, b = here + level * count, there + level * count
        faces += [np.stack([a, b, b + count], axis=1), np.stack([a, b + count, a + count], axis=1)]
    low = np.asarray(engine.triangulate([flat[0]]))
    high = np.asarray(engine.triangulate([flat[-1]])) + (len(flat) - 1) * count
    every = np.concatenate([*faces, low[:, ::-1], high]).astype(np.uint32)
    return engine.Manifold(engine.Mesh(vert_properties=points.astype(np.float32),
                                       tri_verts=every))


def with_cuts(body: Any, cuts: Sequence[Slab], printer: Printer) -> Any:
    """Without what the cuts take: each wider by what the printer adds, and by its foot in the
    first layer."""
    tools = []
    for slab in cuts:
        wide = _moved(slab.shape, printer.grows_mm)
        tools.append(_raised(wide, slab.low_mm, slab.high_mm))
        if slab.low_mm < FIRST_LAYER_MM and printer.foot_mm > 0:
            foot = _moved(slab.shape, printer.grows_mm + printer.foot_mm / 2)
            tools.append(_raised(foot, slab.low_mm, FIRST_LAYER_MM))
    engine = kernel()
    return body - engine.Manifold.batch_boolean(tools, engine.OpType.Add)


def stack(slabs: Sequence[Slab], printer: Printer) -> Any:
    """Slabs as one body that does not lie on the printer."""
    engine = kernel()
    added = [_raised(_moved(s.shape, -printer.grows_mm), s.low_mm, s.high_mm) for s in slabs]
    return engine.Manifold.batch_boolean(added, engine.OpType.Add)


def with_slabs(body: Any, slabs: Sequence[Slab], printer: Printer) -> Any:
    """With the slabs added; let each reach a little into what it stands on."""
    return body + stack(slabs, printer)
