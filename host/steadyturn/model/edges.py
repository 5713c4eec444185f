"""From margins to paces: where each constraint begins or ceases to hold.

The side of a constraint is found, not assumed: a grid of paces shows each change
of sign, which is then narrowed. Feasible intervals follow from the edges alone, so
that a band narrower than the grid is found too.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from steadyturn.model.kept import fastest_tpm, slowest_tpm
from steadyturn.model.limits import Constraint, Sheet, constraints
from steadyturn.model.pair import Pair
from steadyturn.model.view import View
from steadyturn.rig.types import Rig

Floats = NDArray[np.float64]

SLOWEST_TPM, FASTEST_TPM = 1.0, 301.0
GRID = 241
FAN = 64  # points in each narrowing
ROUNDS = 4  # 1.25 turns/min / 63**4: below a millionth
NEAR_TPM = (-0.3, -0.03, -0.003, 0.003, 0.03, 0.3)  # around each edge that the grid shows
DIP = 15  # paces looked at where a margin might touch zero between two of the grid


@dataclass(frozen=True)
class Limit:
    """One edge: at pace_tpm the constraint holds, just beyond it (below for side "low",
    above for "high") it does not. NaN: it holds at no pace at which the converter runs, and more
    (low) or less (high) pace would come nearest."""

    name: str
    side: str
    pace_tpm: float
    reason: str


@dataclass(frozen=True)
class Edges:
    """intervals: feasible paces (low, high), slowest first; limits, binding first;
    never: names of the constraints that hold at no pace (see Limit)."""

    intervals: tuple[tuple[float, float], ...]
    limits: tuple[Limit, ...]
    never: tuple[str, ...]

    def widest(self) -> tuple[float, float] | None:
        return max(self.intervals, key=lambda pair: pair[1] - pair[0], default=None)


def find_edges(rig: Rig) -> Edges:
    """All edges between SLOWEST_TPM and FASTEST_TPM, with reasons.

    >>> from steadyturn.rig.examples import example_path
    >>> from steadyturn.rig.file import read_rig
    >>> hut = read_rig(example_path("lakeside-hut"))
    >>> edges = find_edges(hut)
    >>> [round(tpm) for tpm in edges.widest()], edges.never
    ([50, 90], ())
    """
    listed = constraints(rig)
    pace = np.linspace(SLOWEST_TPM, FASTEST_TPM, GRID)
    for offsets in (NEAR_TPM, None):
        margins = Sheet(rig, listed, pace).margins
        good, judged = margins >= 0, ~np.isnan(margins)
        turns = (good[:, :-1] != good[:, 1:]) & judged[:, :-1] & judged[:, 1:]
        rows, columns = np.nonzero(turns)
        rising = good[rows, columns + 1]
        low, high = pace[columns], pace[columns + 1]
        for _ in range(ROUNDS if rows.size else 0):
            low, high = _narrow(rig, listed, rows, rising, low, high)
        if offsets is not None:  # once more: what comes and goes close to an edge
            near = (0.5 * (low + high)[:, None] + np.array(offsets)).ravel()
            pace = np.unique(np.concatenate([pace, near.clip(SLOWEST_TPM, FASTEST_TPM),
                                             _dips(pace, margins)]))
    edges = np.where(rising, high, low)
    # where a state only begins to be judged, its margin jumps: no edge of that constraint
    unjudged = np.isnan(Sheet(rig, listed, np.concatenate([low, high])).by_state)
    left, right = np.split(unjudged, 2, axis=2)
    own = (left == right).all(axis=0)[rows, np.arange(len(rows))]
    found = [(row, "low" if up else "high", at, at)
             for row, up, at in zip(rows[own], rising[own], edges[own], strict=True)]
    runs = _runs(listed, good)
    never = [row for row in range(len(listed)) if judged[row].any()
             and not good[row][runs if (judged[row] & runs).any() else judged[row]].any()]
    told = {row for row, *_ in found}
    for row in never:
        if row in told and judged[row].all():
            continue  # a limit of the pace alone: its edge tells all, the machine needs more
        side, nearest = _nearest(np.where(runs, margins[row], np.nan)
                                 if (judged[row] & runs).any() else margins[row])
        found.append((row, side, np.nan, pace[nearest]))
    why = [""] * len(found)
    if found:
        sheet = Sheet(rig, listed, np.array([shown for _, _, _, shown in found]))
        why = [sheet.reason(row, i) for i, (row, *_) in enumerate(found)]
    limits = [Limit(listed[row].name, side, float(at), text)
              for (row, side, at, _), text in zip(found, why, strict=True)]
    intervals = () if never else _intervals(rig, listed, edges)
    return Edges(intervals, _ordered(limits), tuple(listed[row].name for row in never))


def rough_band(rig: Rig, low_tpm: float = 5.0,
               high_tpm: float = 205.0) -> tuple[float, float] | None:
    """The widest band between two paces [turns/min] to about a tenth of a turn, from one
    look at the margins; None where there is none. For comparing many rigs.

    >>> from steadyturn.rig.examples import example_path
    >>> from steadyturn.rig.file import read_rig
    >>> hut = read_rig(example_path("lakeside-hut"))
    >>> [round(tpm) for tpm in rough_band(hut)]
    [50, 90]
    """
    comfort = np.linspace(slowest_tpm(rig), fastest_tpm(rig), 25)
    quick = Pair(rig, comfort, np.full(25, rig.air.cold_c)).found
    if quick is None or not quick.there.any():  # spares the long look at a hopeless rig
        return None
    pace, listed = np.linspace(low_tpm, high_tpm, 201), constraints(rig)
    # the hot machine takes most of the time; it is looked at only where the cold one will do
    cold = View(rig, pace, hot=False)
    good = np.nonzero(~(np.array([one.margin(cold) for one in listed]) < 0).any(axis=0))[0]
    if not good.size:
        return None
    return rough_of(Sheet(rig, listed, pace[max(good[0] - 1, 0):good[-1] + 2]))


def rough_of(sheet: Sheet) -> tuple[float, float] | None:
    """The widest band [turns/min] that a sheet's margins show, edges by straight lines between.

    >>> from steadyturn.rig.examples import example_path
    >>> from steadyturn.rig.file import read_rig
    >>> hut = read_rig(example_path("lakeside-hut"))
    >>> sheet = Sheet(hut, constraints(hut), np.linspace(40, 140, 101))
    >>> [round(tpm) for tpm in rough_of(sheet)]
    [50, 90]
    """
    pace, worst = sheet.pace, np.nanmin(sheet.margins, axis=0)
    good = worst >= 0
    starts = np.nonzero(good & ~np.concatenate([[False], good[:-1]]))[0]
    ends = np.nonzero(good & ~np.concatenate([good[1:], [False]]))[0]

    def between(inside: int, outside: int) -> float:
        if not 0 <= outside < len(pace):
            return float(pace[inside])
        a, b = worst[inside], worst[outside]
        return float(pace[inside] + (pace[outside] - pace[inside]) * a / (a - b))

    bands = [(between(i, i - 1), between(j, j + 1))
             for i, j in zip(starts.tolist(), ends.tolist(), strict=True)]
    return max(bands, key=lambda band: band[1] - band[0], default=None)


def _narrow(rig: Rig, listed: list[Constraint], rows: NDArray[np.intp],
            rising: NDArray[np.bool_], low: Floats, high: Floats) -> tuple[Floats, Floats]:
    """Each bracket low..high, cut to the part around its first change of sign."""
    fan = np.linspace(low, high, FAN, axis=1)
    every = np.arange(len(rows))
    margins = Sheet(rig, listed, fan.ravel()).margins.reshape(len(listed), len(rows), FAN)
    good = margins[rows, every] >= 0
    good[:, -1] = rising
    change = np.maximum(np.argmax(good == rising[:, None], axis=1), 1)
    return fan[every, change - 1], fan[every, change]


def _dips(pace: Floats, margins: Floats) -> Floats:
    """Paces between three of an even grid where a margin turns back towards zero and, by the
    straight lines on either side, might cross it and return unseen."""
    before, left, here, right, after = (margins[:, n:n + len(pace) - 4] for n in range(5))
    falls, rises = left - before, after - right
    with np.errstate(invalid="ignore", divide="ignore"):
        across = (left - right + 2 * rises) / (rises - falls)  # where the two lines meet
        meet = left + falls * across
    inside = (across >= 0) & (across <= 2)
    good = (left >= 0) & (here >= 0) & (right >= 0)
    bad = (left < 0) & (here < 0) & (right < 0)
    below = good & (falls < 0) & (rises > 0) & (meet < 0)
    above = bad & (falls > 0) & (rises < 0) & (meet >= 0)
    columns = np.unique(np.nonzero(inside & (below | above))[1])
    fan = np.linspace(0, 2, DIP + 2)[1:-1] * (pace[1] - pace[0])
    return (pace[1 + columns, None] + fan).ravel()


def _runs(listed: list[Constraint], good: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Paces at which the converter starts and holds on: what holds only while nothing runs
    is no help."""
    ways = [good[row] for row, one in enumerate(listed) if one.name in ("start", "holding")]
    return np.logical_and.reduce(ways) if ways else np.ones(good.shape[1], dtype=bool)


def _nearest(margins: Floats) -> tuple[str, int]:
    """For a constraint that never holds: which way it would get better, and where it is
    best among the paces that can be judged."""
    known = np.nonzero(~np.isnan(margins))[0]
    best = known[int(np.nanargmax(margins[known]))]
    rises = margins[known[-1]] > margins[known[0]]
    return ("low" if best > known[0] or rises else "high"), int(best)


def _intervals(rig: Rig, listed: list[Constraint],
               edges: Floats) -> tuple[tuple[float, float], ...]:
    """Runs of neighbouring pieces between edges in whose middle everything holds."""
    marks = np.unique(np.concatenate([[SLOWEST_TPM], edges, [FASTEST_TPM]]))
    middles = 0.5 * (marks[:-1] + marks[1:])
    margins = Sheet(rig, listed, middles).margins
    good = ~(margins < 0).any(axis=0)
    found: list[tuple[float, float]] = []
    for low, high, holds in zip(marks[:-1], marks[1:], good, strict=True):
        if not holds or high - low < 1e-5:
            continue
        if found and low - found[-1][1] < 1e-5:
            found[-1] = (found[-1][0], float(high))
        else:
            found.append((float(low), float(high)))
    return tuple(found)


def _ordered(limits: list[Limit]) -> tuple[Limit, ...]:
    """Low limits from the fastest down, then high limits from the slowest up; those that
    never hold first on their side."""
    lows = [limit for limit in limits if limit.side == "low"]
    highs = [limit for limit in limits if limit.side == "high"]
    lows.sort(key=lambda limit: -np.nan_to_num(limit.pace_tpm, nan=np.inf))
    highs.sort(key=lambda limit: np.nan_to_num(limit.pace_tpm, nan=-np.inf))
    return (*lows, *highs)
