"""This outing against the same machine's earlier ones: median and spread, and a trend.

Usual is what lies within 2.5 deviations of the median, the deviation taken from the median
distance to it (Iglewicz & Hoaglin 1993: 1.4826 times that, from memory), and never nearer than
a floor below which hand and sensor differ anyway. A trend is one that the Mann-Kendall test
(Mann 1945, Kendall 1975, from memory) finds in 95 of 100.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right, insort
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import inf, isfinite, nan, sqrt
from typing import Any

import numpy as np

LEAST_OUTINGS = 3  # earlier ones; of two nobody knows which is usual
TREND_OUTINGS = 6  # the test cannot reach 95 % with fewer than five
LEAST_TURNING_S, LEAST_CONNECTED_S = 60.0, 30.0
DEVIATIONS, MAD = 2.5, 1.4826
NORMAL = 1.96


@dataclass(frozen=True, slots=True)
class Past:
    """One figure against the earlier outings of the machine.

    value: this time; median, low, high: of `count` earlier outings, the usual range; all in
    `unit`. verdict: "better", "worse", "usual" or "too few" (to say). trend: "better", "worse"
    or "none" over all outings, this one the last.
    """

    name: str
    value: float
    median: float
    low: float
    high: float
    count: int
    unit: str
    verdict: str
    trend: str


@dataclass(frozen=True, slots=True)
class Figure:
    """of: from an outing's row (fields as in outing_rows.OutingRow); good: 1 where more is
    better, -1 where less is. floor, floor_share: the least half-width of what is usual; top:
    it cannot be more."""

    name: str
    unit: str
    good: int
    of: Callable[[Any], float]
    floor: float = 0.0
    floor_share: float = 0.0
    top: float = inf


def _over(part: float, whole: float) -> float:
    return part / whole if whole > 0 else nan


# the machine's own first: what the hand does changes the last two as well
FIGURES = (
    Figure("out_per_turn", "J", 1, lambda o: _over(o.energy_out_j, o.turns),
           floor_share=0.07),
    Figure("power_out", "W", 1, lambda o: _over(o.energy_out_j, o.connected_s), floor_share=0.05),
    Figure("losses_share", "%", -1, lambda o: 100 * (1 - _over(o.energy_out_j, o.energy_in_j)),
           floor=1.5),
    Figure("connections", "", -1, lambda o: 600 * _over(o.connections, o.connected_s),
           floor=2.0),
    Figure("faults", "", -1, lambda o: float(o.faults), floor=0.9),
    Figure("in_band", "%", 1, lambda o: 100 * min(1.0, _over(o.band_s, o.turning_s)), floor=8.0,
           top=100.0),
)


def enough(row: Any) -> bool:
    """Is an outing long enough to say something of the machine?"""
    return bool(row.turning_s >= LEAST_TURNING_S and row.connected_s >= LEAST_CONNECTED_S)


def history(now: Any, earlier: Sequence[Any]) -> tuple[Past, ...]:
    """now: this outing; earlier: those before it, oldest first, of the same machine. Empty where
    this one is too short."""
    if not enough(now):
        return ()
    rows = [row for row in earlier if enough(row)]
    return tuple(_past(figure, now, rows) for figure in FIGURES)


def _past(figure: Figure, now: Any, rows: Sequence[Any]) -> Past:
    value = figure.of(now)
    known = np.array([x for row in rows if isfinite(x := figure.of(row))])
    count = len(known)
    if count < LEAST_OUTINGS or not isfinite(value):
        return Past(figure.name, value, nan, nan, nan, count, figure.unit, "too few", "none")
    median = float(np.median(known))
    reach = max(DEVIATIONS * MAD * float(np.median(np.abs(known - median))),
                figure.floor, figure.floor_share * abs(median))
    if abs(value - median) <= reach:
        verdict = "usual"
    else:
        verdict = "better" if (value - median) * figure.good > 0 else "worse"
    return Past(figure.name, value, median, max(0.0, median - reach),
                min(figure.top, median + reach), count, figure.unit,
                verdict, _trend([*known.tolist(), value], figure, median))


def _trend(values: Sequence[float], figure: Figure, median: float) -> str:
    """"better" or "worse" where the values rise or fall too steadily for chance, and by more
    than what hand and sensor differ anyway."""
    count = len(values)
    if count < TREND_OUTINGS:
        return "none"
    table = np.array(values)
    score = _score(values)
    _, ties = np.unique(table, return_counts=True)
    variance = (count * (count - 1) * (2 * count + 5)
                - float((ties * (ties - 1) * (2 * ties + 5)).sum())) / 18
    if variance <= 0 or abs(score) - 1 <= NORMAL * sqrt(variance):
        return "none"
    third = max(2, count // 3)
    moved = float(np.median(table[-third:]) - np.median(table[:third]))
    if abs(moved) < max(figure.floor, figure.floor_share * abs(median)):
        return "none"
    return "better" if moved * figure.good > 0 else "worse"


def _score(values: Sequence[float]) -> int:
    """Pairs that rise less pairs that fall. One value at a time among those before it: all
    pairs at once would be a hundred million for ten thousand outings."""
    score, seen = 0, list[float]()
    for value in values:
        score += bisect_left(seen, value) - (len(seen) - bisect_right(seen, value))
        insort(seen, value)
    return score
