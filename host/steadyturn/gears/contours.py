"""Contours of flat shapes on a grid of fine steps, so that one point is the same in every layer.

Arrays of whole steps: [point, x or y].
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Whole = NDArray[np.int64]
STEP_MM = 1e-5
ON_EDGE = 3.0  # steps from an edge within which a point lies on it
NONE = np.zeros((0, 2), np.int64)
WIDEST = 2**27  # steps from the middle: two such and a height make one number of 64 bits


class NotClosed(Exception):
    """Layers do not make a closed body this way."""


def steps(points: ArrayLike) -> Whole:
    """Points [mm] in steps; NotClosed where they lie too far out."""
    whole = np.rint(np.asarray(points, dtype=float) / STEP_MM).astype(np.int64)
    if len(whole) and int(np.abs(whole).max()) >= WIDEST:
        raise NotClosed
    return whole


def on_grid(points: ArrayLike) -> Whole:
    """A contour in steps, no point twice, beginning at a point that its place alone decides."""
    whole = steps(points)
    place_of = keys(whole)
    first = int(place_of.argmin()) if len(whole) else 0
    order = np.roll(np.arange(len(whole)), -first)
    return whole[order[place_of[order] != place_of[order - 1]]]


def thin(loop: Whole) -> bool:
    """Whether a contour is no wider than what counts as on an edge."""
    around = np.hypot(*(loop - np.roll(loop, -1, axis=0)).T).sum()
    return bool(abs(area(loop)) <= ON_EDGE * around / 2)


def area(loop: Whole) -> float:
    """Inside a contour [steps squared]; of a hole negative."""
    x, y = (loop - loop[0]).astype(float).T
    return float(np.dot(x, np.roll(y, -1)) - np.dot(y, np.roll(x, -1))) / 2


def place(loop: Whole) -> bytes:
    """The same for a contour wherever it begins."""
    return np.sort(keys(loop)).tobytes()


def keys(points: Whole) -> Whole:
    """One number for each place."""
    return (points[..., 0] + WIDEST) * (2 * WIDEST) + points[..., 1] + WIDEST


def leaned(loop: Whole, low: NDArray[np.float64], high: NDArray[np.float64]) -> Whole:
    """Where the contour's points are at the lower end; itself where it is another's contour."""
    ends, wanted = keys(steps(high)), keys(loop)
    order = np.argsort(ends)
    at = order[np.minimum(np.searchsorted(ends, wanted, sorter=order), len(ends) - 1)]
    same = ends[at] == wanted
    if not same.any():
        return loop
    if not same.all():
        raise NotClosed
    return steps(low)[at]


def with_spots(loop: Whole, spots: dict[int, Whole]) -> Whole:
    """With further points on its edges, by the edge's number."""
    if not spots:
        return loop
    return np.insert(loop, np.concatenate([np.full(len(s), edge + 1)
                                           for edge, s in spots.items()]),
                     np.concatenate(list(spots.values())), axis=0)


def unspiked(loop: Whole) -> Whole:
    """Without what goes to a point and back the same way: shapes all but on one another leave
    such."""
    while len(loop) > 2:
        ends = np.flatnonzero((np.roll(loop, 1, axis=0) == np.roll(loop, -1, axis=0)).all(axis=1))
        if not len(ends):
            break
        end = int(ends[0])
        loop = np.delete(loop, [end, (end + 1) % len(loop)], axis=0)
    return loop
