"""Bodies of level layers: the walls of each, and between two of them what only one covers.

To join slabs as bodies costs a search for where their faces cross, though all of that happens in
the planes between them. Here those planes are dealt with as flat shapes, which is several times
quicker. Where that does not close (edges all but on one another) the slabs are joined as bodies.

Lengths in mm; inside, places are steps of `contours`; triangles: [triangle, corner, x or y or
number of the height].
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from steadyturn.gears import contours
from steadyturn.gears.contours import NONE, ON_EDGE, STEP_MM, NotClosed, Whole
from steadyturn.gears.kernel import kernel

NEAR = 1e-6  # of the volume that the areas give


@dataclass(frozen=True)
class Slab:
    """A flat shape from one height to another. leans: where each point of its one contour is at
    the lower and at the upper end, in the same order; left out, its walls are upright."""

    low_mm: float
    high_mm: float
    shape: Any
    leans: tuple[NDArray[np.float64], NDArray[np.float64]] | None = None


def leaning(low_mm: float, high_mm: float, low: NDArray[np.float64],
            high: NDArray[np.float64]) -> Slab:
    """A slab between two outlines of equally many points, one at each end."""
    low, high = (np.rint(points / STEP_MM) * STEP_MM for points in (low, high))
    return Slab(low_mm, high_mm, kernel().CrossSection([high]), leans=(low, high))


def body(adds: Sequence[Slab], cuts: Sequence[Slab] = ()) -> Any:
    """One body of all of `adds` without any of `cuts`."""
    try:
        return stacked(adds, cuts)
    except NotClosed:
        return joined(adds, cuts)


def joined(adds: Sequence[Slab], cuts: Sequence[Slab] = ()) -> Any:
    """The same by joining bodies: slower, and for every shape."""
    engine = kernel()
    whole = engine.Manifold.batch_boolean([raised(s) for s in adds], engine.OpType.Add)
    if not cuts:
        return whole
    return whole - engine.Manifold.batch_boolean([raised(s) for s in cuts], engine.OpType.Add)


def raised(slab: Slab) -> Any:
    """One slab as a body."""
    if slab.leans is not None:
        return stacked([slab])
    return slab.shape.extrude(slab.high_mm - slab.low_mm).translate((0, 0, slab.low_mm))


@dataclass(frozen=True)
class _Layer:
    """Contours at the lower and at the upper end: as many, of as many points each."""

    low: list[Whole]
    high: list[Whole]

    def walls(self) -> list[tuple[Whole, Whole]]:
        return list(zip(self.low, self.high, strict=True))

    def mean_area(self) -> float:
        """[mm2] by Simpson's rule, exact for walls that lean."""
        ends = [(low, low + high, high) for low, high in self.walls()]
        return STEP_MM**2 / 6 * sum(contours.area(loop) for three in ends for loop in three)

    def upright(self) -> list[Whole]:
        return [high for low, high in self.walls() if low is high]


def stacked(adds: Sequence[Slab], cuts: Sequence[Slab] = ()) -> Any:
    """The same in layers; NotClosed where it cannot be done."""
    lowest, highest = min(s.low_mm for s in adds), max(s.high_mm for s in adds)
    heights = sorted({z for s in (*adds, *cuts) for z in (s.low_mm, s.high_mm)
                      if lowest <= z <= highest})
    layers = [_layer(adds, cuts, low, high) for low, high in pairwise(heights)]
    faces: list[Whole] = []
    spots = [_Spots(under.high if under else [], over.low if over else [])
             for under, over in zip([None, *layers], [*layers, None], strict=True)]
    for level, spot in enumerate(spots):
        faces += spot.faces(level)
    begun: dict[bytes, int] = {}  # walls that go on from a layer below
    for level, layer in enumerate(layers):
        over = layers[level + 1].upright() if level + 1 < len(layers) else []
        going = {contours.place(loop) for loop in over} - spots[level + 1].met
        below, begun = begun, {}
        for low, high in layer.walls():
            place = contours.place(high)
            start = below.get(place, level) if low is high else level
            if low is high and place in going:
                begun[place] = start
            else:
                faces += _wall((low, spots[start].on(low), start),
                               (high, spots[level + 1].on(high), level + 1))
    made = _closed(np.concatenate(faces), np.array(heights))
    volume = sum(layer.mean_area() * (high - low)
                 for layer, (low, high) in zip(layers, pairwise(heights), strict=True))
    if abs(made.volume() - volume) > NEAR * volume:
        raise NotClosed
    return made


def _layer(adds: Sequence[Slab], cuts: Sequence[Slab], low: float, high: float) -> _Layer:
    def here(slabs: Sequence[Slab]) -> list[Slab]:
        return [s for s in slabs if s.low_mm <= low and s.high_mm >= high]

    engine = kernel()
    added, taken = here(adds), here(cuts)
    region = engine.CrossSection.batch_boolean([s.shape for s in added], engine.OpType.Add)
    if taken:
        region -= engine.CrossSection.batch_boolean([s.shape for s in taken], engine.OpType.Add)
    upper = [contours.on_grid(loop) for loop in region.to_polygons()]
    lower = upper
    for slab in added:
        if slab.leans is not None:
            lower = [contours.leaned(loop, *slab.leans) for loop in lower]
    return _Layer(lower, upper)


class _Spots:
    """The plane between two layers: contours of the one below and of the one above it, and the
    points where an edge of one is met by the other."""

    def __init__(self, under: list[Whole], over: list[Whole]) -> None:
        engine = kernel()
        whole = [engine.CrossSection([loop * STEP_MM for loop in loops]) if loops else
                 engine.CrossSection() for loops in (under, over)]
        bare = [(whole[0] - whole[1]).to_polygons() if under and over else
                [loop * STEP_MM for loop in under],
                (whole[1] - whole[0]).to_polygons() if under and over else
                [loop * STEP_MM for loop in over]]
        self.bare = [[grid for loop in loops if not contours.thin(grid := contours.on_grid(loop))]
                     for loops in bare]
        # where nothing meets, what lies bare has the contours of the layers themselves
        own = {contours.place(loop) for loop in (*under, *over)}
        new = [loop for loops in self.bare for loop in loops if contours.place(loop) not in own]
        keys = np.unique(contours.keys(np.concatenate([*new, NONE])))
        met = [loop for loop in (*under, *over) if np.isin(contours.keys(loop), keys).any()]
        self.met = {contours.place(loop) for loop in (*new, *met)}
        points = np.concatenate([*new, *met, NONE])
        self.points = points[np.unique(contours.keys(points), return_index=True)[1]]

    def on(self, loop: Whole) -> dict[int, Whole]:
        """Points that lie on an edge of the contour, by the edge's number, in order along it."""
        if contours.place(loop) not in self.met:
            return {}
        inside = ((self.points >= loop.min(axis=0) - ON_EDGE)
                  & (self.points <= loop.max(axis=0) + ON_EDGE)).all(axis=1)
        others = self.points[inside]
        start = loop.astype(float)
        x, y = (np.roll(start, -1, axis=0) - start).T[:, :, None]
        off_x, off_y = others.T[:, None, :] - start.T[:, :, None]
        square, along = x * x + y * y, off_x * x + off_y * y
        met = ((np.abs(off_x * y - off_y * x) <= ON_EDGE * np.sqrt(square))
               & (along > 0) & (along < square))
        edges, spots = np.nonzero(met)
        found = {}
        for edge in np.unique(edges).tolist():
            mine = spots[edges == edge]
            found[edge] = others[mine[np.argsort(along[edge, mine], kind="stable")]]
        return found

    def faces(self, level: int) -> list[Whole]:
        """What lies bare in this plane: of the layer below, looking up, and of that above."""
        found = []
        for loops, upwards in zip(self.bare, (True, False), strict=True):
            if not loops:
                continue
            rich = [contours.unspiked(contours.with_spots(loop, self.on(loop))) for loop in loops]
            rich = [loop for loop in rich if len(loop) > 2]
            if not rich:
                continue
            corners = np.asarray(kernel().triangulate([loop * STEP_MM for loop in rich]))
            flat = np.concatenate(rich)[corners if upwards else corners[:, ::-1]]
            found.append(_at(flat, level))
        return found


def _at(points: Whole, level: int) -> Whole:
    return np.concatenate([points, np.full((*points.shape[:-1], 1), level)], axis=-1)


_End = tuple[Whole, dict[int, Whole], int]  # a wall's points, those on its edges, its height


def _wall(low: _End, high: _End) -> list[Whole]:
    """The wall over a contour; edges met by others at either end in as many triangles more."""
    (below, low_spots, low_level), (above, high_spots, high_level) = low, high
    a, b = _at(below, low_level), _at(above, high_level)
    a_next, b_next = np.roll(a, -1, axis=0), np.roll(b, -1, axis=0)
    rich = sorted({*low_spots, *high_spots})
    plain = np.delete(np.arange(len(a)), rich)
    faces = [np.stack([a[plain], a_next[plain], b_next[plain]], axis=1),
             np.stack([a[plain], b_next[plain], b[plain]], axis=1)]
    for edge in rich:
        ends = [np.concatenate([corner[edge:edge + 1], _at(spots.get(edge, NONE), level),
                                after[edge:edge + 1]])
                for corner, after, spots, level in ((a, a_next, low_spots, low_level),
                                                    (b, b_next, high_spots, high_level))]
        faces.append(_strip(*ends))
    return faces


def _strip(low: Whole, high: Whole) -> Whole:
    """Triangles between two rows of points along one edge: a fan at either end."""
    fan = [[low[n], low[n + 1], high[-1]] for n in range(len(low) - 1)]
    fan += [[low[0], high[n + 1], high[n]] for n in range(len(high) - 1)]
    return np.array(fan)


def _closed(faces: Whole, heights: NDArray[np.float64]) -> Any:
    """The body with these faces; NotClosed where they leave a gap."""
    engine = kernel()
    rows = faces.reshape(-1, 3)
    keys = contours.keys(rows) * len(heights) + rows[:, 2]
    _, first, corners = np.unique(keys, return_index=True, return_inverse=True)
    points = rows[first]
    places = np.column_stack([points[:, :2] * STEP_MM, heights[points[:, 2]]])
    made = engine.Manifold(engine.Mesh64(
        vert_properties=places, tri_verts=corners.reshape(-1, 3).astype(np.uint64)))
    if made.status() != engine.Error.NoError:
        raise NotClosed
    return made
