"""The paces that work for a share of many bands."""

from __future__ import annotations

from heapq import heappush, heappushpop
from math import ceil

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


def widest(low: Floats, high: Floats, share: float) -> tuple[float, float] | None:
    """The widest pair (a, b) such that at least `share` of the bands low..high (NaN: none)
    reach from a to b; None where there is none.

    With a moving up through the sorted low edges, b is the n-th highest high edge of those
    met so far: a heap keeps it.

    >>> widest(np.array([1.0, 2.0, 3.0]), np.array([9.0, 6.0, 8.0]), 0.6)
    (3.0, 8.0)
    >>> widest(np.array([1.0, np.nan]), np.array([9.0, np.nan]), 0.6) is None
    True
    """
    needed = max(ceil(share * len(low) - 1e-9), 1)
    order = np.argsort(low)  # NaN last
    heap: list[float] = []
    best: tuple[float, float] | None = None
    for a, b in zip(low[order].tolist(), high[order].tolist(), strict=True):
        if a != a:  # noqa: PLR0124 - NaN
            break
        if len(heap) < needed:
            heappush(heap, b)
        else:
            heappushpop(heap, b)
        if len(heap) == needed and heap[0] > a and (
                best is None or heap[0] - a > best[1] - best[0]):
            best = (a, heap[0])
    return best


def best_pace(low: Floats, high: Floats) -> tuple[float, float]:
    """The pace at which most bands work (the middle of the stretch), and their share.

    >>> best_pace(np.array([1.0, 2.0, 3.0]), np.array([9.0, 6.0, 8.0]))
    (4.5, 1.0)
    """
    some = np.isfinite(low)
    if not some.any():
        return float("nan"), 0.0
    edges = np.concatenate([low[some], high[some]])
    steps = np.concatenate([np.ones(some.sum()), -np.ones(some.sum())])
    order = np.lexsort((-steps, edges))  # of equal paces the beginnings first
    count = np.cumsum(steps[order])
    top = int(np.argmax(count))
    until = edges[order][min(top + 1, len(count) - 1)]
    return float(0.5 * (edges[order][top] + until)), float(count[top] / len(low))


def share_over(low: Floats, high: Floats, pace: Floats) -> Floats:
    """Share of the bands that work at each pace.

    >>> share_over(np.array([1.0, 2.0]), np.array([3.0, 6.0]), np.array([1.5, 2.5, 7.0])).tolist()
    [0.5, 1.0, 0.0]
    """
    some = np.isfinite(low)
    begun = np.searchsorted(np.sort(low[some]), pace, side="right")
    ended = np.searchsorted(np.sort(high[some]), pace, side="left")
    return (begun - ended) / len(low)
