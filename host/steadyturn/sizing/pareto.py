"""The trade-off: which rows nothing else beats, and a few of them that differ."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]
Whole = NDArray[np.int64]


def unbeaten(costs: Floats) -> Flags:
    """Rows of `costs` [row, criterion] (less is better) that no other row beats: none is at
    least as good in everything and better in something. Of equal rows the first stays.

    >>> unbeaten(np.array([[1.0, 5], [2, 4], [2, 6], [1, 5]])).tolist()
    [True, True, False, False]
    """
    kept = np.ones(len(costs), dtype=bool)
    order = np.lexsort(costs.T[::-1])  # what beats a row stands before it
    left = costs[order]
    where = order
    front: list[int] = []
    while len(left):
        first = left[0]
        front.append(int(where[0]))
        better = (left < first).any(axis=1)
        left, where = left[better], where[better]
    kept[:] = False
    kept[front] = True
    return kept


def best_of_boxes(boxes: Whole, value: Floats) -> Whole:
    """Indices of the row with the least `value` in each box (equal numbers in `boxes`), the
    first of equal ones; in the order of the boxes."""
    order = np.lexsort((value, boxes))
    first = np.concatenate([[True], boxes[order][1:] != boxes[order][:-1]])[: len(order)]
    return np.asarray(order[first])


def thinned(costs: Floats, kinds: Whole, most: int) -> list[int]:
    """At most `most` rows that differ: the best in each criterion, then always the one
    farthest from those chosen. kinds [row, kind]: what makes machines of another sort, such
    as motor and converter; rows of different kinds are farther apart.

    >>> thinned(np.array([[0.0, 1.0], [0.1, 0.9], [1.0, 0.0]]), np.zeros((3, 1), int), 2)
    [0, 2]
    """
    n = len(costs)
    if n <= most:
        return list(range(n))
    spans = costs.max(axis=0) - costs.min(axis=0)
    scaled = (costs - costs.min(axis=0)) / np.where(spans > 0, spans, 1)
    chosen: list[int] = []
    apart = np.full(n, np.inf)

    def choose(row: int) -> None:
        nonlocal apart
        chosen.append(row)
        far = np.abs(scaled - scaled[row]).sum(axis=1)
        far = far + 0.5 * (kinds != kinds[row]).sum(axis=1)
        apart = np.minimum(apart, far)

    for criterion in range(costs.shape[1]):
        order = np.lexsort((*costs.T[::-1], costs[:, criterion]))
        if int(order[0]) not in chosen and len(chosen) < most:
            choose(int(order[0]))
    while len(chosen) < most:
        row = int(np.argmax(apart))
        if apart[row] <= 0:
            break
        choose(row)
    return sorted(chosen)
