"""Where one machine, hot or cold, keeps all its limits: volts at the converter, and paces."""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import Any

import numpy as np
from numpy.typing import NDArray

from steadyturn.model.batch_frame import Frame
from steadyturn.model.batch_look import EITHER, Look, look, margins, worst

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]
Names = NDArray[np.int64]
Sides = tuple[Floats, Floats]

TINY = 1e-12
CLOSE = 2e-6  # a margin this small is an edge, the last step still to come


@dataclass(frozen=True)
class Effort:
    """chunk: builds looked at together, what stays in a processor's cache; points: of the
    grid; zooms: looks at a finer one where no point holds, if the best of them misses by at
    most `miss`; rounds: of each narrowing, and more where it has not ended; heats: steps of
    the temperature on the grid and when narrowing."""

    chunk: int
    points: int
    zooms: int
    miss: float
    rounds: int
    more: int
    heats: tuple[int, int]


FINE = Effort(chunk=8192, points=9, zooms=4, miss=np.inf, rounds=4, more=14, heats=(2, 3))
ROUGH = Effort(chunk=8192, points=8, zooms=2, miss=1.0, rounds=3, more=0, heats=(1, 2))


@dataclass
class State:
    """One machine: air_c, and whether its windings settle above it."""

    frame: Frame
    air_c: Any
    heated: bool

    def take(self, which: Any) -> State:
        air_c = self.air_c
        if isinstance(air_c, np.ndarray) and air_c.ndim:
            air_c = air_c[which]
        return State(self.frame.take(which), air_c, self.heated)

    def see(self, in_v: Floats, heats: int) -> tuple[Look, Sides]:
        """And the smallest margins of the low and of the high side."""
        at = look(self.frame, in_v, self.air_c, heated=self.heated, rounds=heats)
        return at, worst(self.frame, at)


@dataclass
class Ends:
    """Volts at the converter's terminals between which a build may work, with the index of
    the limit that sets each."""

    low_v: Floats
    high_v: Floats
    low_name: Names
    high_name: Names

    def take(self, which: Any) -> Ends:
        return Ends(self.low_v[which], self.high_v[which], self.low_name[which],
                    self.high_name[which])


@dataclass
class Side:
    """One edge of each build: between a point that fails and one that holds, with their
    margins and the pace of the latter. name: of the limit where the edge is known to be the
    point that holds, else -1. far_v: volts at which the pace surely rises again, where the
    edge may be past the fold, else 0."""

    out_v: Floats
    in_v: Floats
    miss: Floats
    has: Floats
    in_tpm: Floats
    name: Names
    far_v: Floats

    def take(self, which: Any) -> Side:
        return Side(*(getattr(self, f.name)[which] for f in fields(self)))


@dataclass
class Scan:
    """works: builds of which a point holds; low and high mean something for these only."""

    works: Flags
    low: Side
    high: Side

    def back(self, which: Names, n: int) -> Scan:
        """Of these builds among n; the others do not work."""
        if which.size == n:
            return self

        def whole(values: Any) -> Any:
            found = np.zeros(n, values.dtype)
            found[which] = values
            return found

        low, high = (Side(*(whole(getattr(side, f.name)) for f in fields(side)))
                     for side in (self.low, self.high))
        return Scan(whole(self.works), low, high)


def scan(state: State, ends: Ends, effort: Effort) -> Scan:
    """A grid between the ends (low_v below high_v [V] in every build), and the widest run of
    its points that hold.

    >>> from steadyturn.rig.examples import example_path
    >>> from steadyturn.rig.file import read_rig
    >>> hut = read_rig(example_path("lakeside-hut"))
    >>> from steadyturn.model.batch import LIMIT_NAMES
    >>> from steadyturn.model.batch_frame import build, spread
    >>> two = build(spread(hut, {"motor.terminal_ohm": [1.34, 6.0]}), LIMIT_NAMES, 2)
    >>> from steadyturn.model.batch_ends import ends
    >>> cold, reach = State(two, two.cold_c, False), ends(two, 2, LIMIT_NAMES)
    >>> found = scan(cold, reach, FINE)
    >>> found.works.tolist(), bool((found.low.in_v > found.low.out_v).all())
    ([True, True], True)
    """
    low_v, high_v = ends.low_v, ends.high_v
    points, columns = effort.points, np.arange(len(low_v))
    grid = between(low_v, high_v, points)
    at, each = state.see(grid, effort.heats[0])
    pace, least = at.pace, np.minimum(*each)
    top = least.max(axis=0)
    none: Flags = (top < 0) & (top >= -effort.miss)
    if none.any():
        _zoom(state, none, (grid, least, pace, *each), effort)
    first, last, works = _widest(least >= 0, pace)
    sides = []
    for margin, row, step, name in zip(each, (first, last), (-1, 1),
                                       (ends.low_name, ends.high_name), strict=True):
        ended = row == (0 if step < 0 else points - 1)
        ended &= grid[row, columns] == (low_v if step < 0 else high_v)
        beyond = np.clip(row + step, 0, points - 1)
        sides.append(Side(
            grid[beyond, columns], grid[row, columns],
            np.minimum(margin[beyond, columns], -TINY), margin[row, columns],
            pace[row, columns],
            np.where(ended, name, -1), np.zeros(len(low_v))))
    _near_fold(sides[0], grid, pace, first, works)
    return Scan(works, *sides)


def between(low: Floats, high: Floats, points: int) -> Floats:
    """[points, builds], volts as low and high; equal steps of the logarithm, both ends exact.

    >>> between(np.array([2.0]), np.array([8.0]), 3).T.tolist()
    [[2.0, 4.0, 8.0]]
    """
    grid = low * (high / low) ** np.linspace(0.0, 1.0, points)[:, None]
    grid[-1] = high
    return grid


def _zoom(state: State, none: Flags, tables: tuple[Floats, ...], effort: Effort) -> None:
    """A finer grid around the best point: something narrower than the grid, or nothing.
    tables: volts, smallest margin, pace, margins of either side."""
    which = np.nonzero(none)[0]
    grid, least = tables[:2]
    for _ in range(effort.zooms):
        row = np.argmax(least[:, which], axis=0)
        low = grid[np.maximum(row - 1, 0), which]
        high = grid[np.minimum(row + 1, effort.points - 1), which]
        fresh = between(low, high, effort.points)
        seen, each = state.take(which).see(fresh, effort.heats[1])
        margin = np.minimum(*each)
        for table, new in zip(tables, (fresh, margin, seen.pace, *each), strict=True):
            table[:, which] = new
        which = which[(margin < 0).all(axis=0)]
        if not which.size:
            return


def _widest(good: Flags, pace: Floats) -> tuple[Names, Names, Flags]:
    """First and last row of each build's widest run of good points, and whether it has one."""
    first = np.argmax(good, axis=0)
    last = len(good) - 1 - np.argmax(good[::-1], axis=0)
    works: Flags = np.any(good, axis=0)
    torn = works & (good.sum(axis=0) < last - first + 1)
    for column in np.nonzero(torn)[0]:  # rare
        marks = np.diff(np.concatenate([[0], good[:, column].astype(np.int64), [0]]))
        starts, stops = np.nonzero(marks == 1)[0], np.nonzero(marks == -1)[0] - 1
        wide = int(np.argmax(pace[stops, column] - pace[starts, column]))
        first[column], last[column] = starts[wide], stops[wide]
    return first, last, works


def _near_fold(side: Side, grid: Floats, pace: Floats, first: Names, works: Flags) -> None:
    """Where the good points reach to the lowest pace of the grid, the low edge may be where the
    stable state and the other, unstable one of the same paces meet. (Warmth can bring that
    about before the collapse margin is used up.) `edge` looks closer."""
    lowest = np.argmin(np.where(np.isnan(pace), np.inf, pace), axis=0)
    which = np.nonzero(works & (first <= lowest + 1) & (lowest > 0))[0]
    row = lowest[which]
    side.far_v[which] = grid[np.minimum(row + 1, len(grid) - 1), which]


def edge(state: State, side: Side, which: int, effort: Effort, names: tuple[str, ...]
         ) -> tuple[Floats, Names]:
    """Pace of every edge [turns/min] and the index of the limit that makes it; which: LOW or
    HIGH.

    >>> from steadyturn.rig.examples import example_path
    >>> from steadyturn.rig.file import read_rig
    >>> hut = read_rig(example_path("lakeside-hut"))
    >>> from steadyturn.model.batch import LIMIT_NAMES
    >>> from steadyturn.model.batch_frame import build, spread
    >>> two = build(spread(hut, {"motor.terminal_ohm": [1.34, 6.0]}), LIMIT_NAMES, 2)
    >>> from steadyturn.model.batch_ends import ends
    >>> cold, reach = State(two, two.cold_c, False), ends(two, 2, LIMIT_NAMES)
    >>> pace, name = edge(cold, scan(cold, reach, FINE).low, 0, FINE, LIMIT_NAMES)
    >>> round(float(pace[0]), 2), LIMIT_NAMES[name[0]]  # of the cold machine alone
    (42.96, 'board_fade')
    """
    tpm, name, edge_v = side.in_tpm.copy(), side.name.copy(), side.in_v.copy()
    heats = effort.heats[1]
    open_ = np.nonzero(name < 0)[0]
    if open_.size:
        some, part = state.take(open_), side.take(open_)
        in_v, off = _narrow(some, part, which, effort.rounds, heats)
        left = np.nonzero(off > CLOSE)[0] if effort.more else open_[:0]
        if left.size:
            rest = part.take(left)
            in_v[left] = _narrow(some.take(left), rest, which, effort.more, heats,
                                   halve=True)[0]
        at = look(some.frame, in_v, some.air_c, heated=some.heated, rounds=heats)
        edge_v[open_], tpm[open_] = in_v, at.pace
        name[open_] = first_to_fail(some.frame, at, which, names)
    maybe = np.nonzero(side.far_v > edge_v)[0]
    if maybe.size:
        some, low = state.take(maybe), edge_v[maybe]
        above = some.see(low * (1 + 1e-4), heats)[0].pace
        past = np.nonzero(~(above >= tpm[maybe]))[0]  # the pace falls there: the wrong side
        if past.size:
            here = maybe[past]
            tpm[here] = _fold_tpm(state.take(here), low[past], side.far_v[here], heats)
            name[here] = names.index("holding")
    return tpm, name


def _fold_tpm(state: State, low: Floats, high: Floats, heats: int) -> Floats:
    """The lowest pace between two volts."""
    every = np.arange(len(low))
    for _ in range(4):
        fan = between(low, high, 9)
        pace = state.see(fan, heats)[0].pace
        row = np.argmin(np.where(np.isnan(pace), np.inf, pace), axis=0)
        low, high = fan[np.maximum(row - 1, 0), every], fan[np.minimum(row + 1, 8), every]
    return pace[row, every]


def first_to_fail(frame: Frame, at: Look, which: int, names: tuple[str, ...]) -> Names:
    """Index of the smallest margin of a side, `at` being 1-D; limits that share one margin are
    told apart. which: LOW or HIGH.

    >>> from steadyturn.rig.examples import example_path
    >>> from steadyturn.rig.file import read_rig
    >>> hut = read_rig(example_path("lakeside-hut"))
    >>> from steadyturn.model.batch import LIMIT_NAMES
    >>> from steadyturn.model.batch_frame import build, spread
    >>> two = build(spread(hut, {"motor.terminal_ohm": [1.34, 6.0]}), LIMIT_NAMES, 2)
    >>> at = look(two, np.array([9.0, 9.0]), 20.0, heated=False)
    >>> [LIMIT_NAMES[i] for i in first_to_fail(two, at, 0, LIMIT_NAMES)]
    ['collapse_margin', 'collapse_margin']
    """
    rows = [(name, row) for name, side, row in margins(frame, at) if side in (which, EITHER)]
    table = np.stack([row for _, row in rows])
    found = np.array([names.index(name) for name, _ in rows])[
        np.argmin(np.where(np.isnan(table), np.inf, table), axis=0)]
    found = np.where(found == names.index("comfort_high"), frame.fast_name, found)
    return np.where(found == names.index("clamp"), frame.node_high_name, found)


def _narrow(state: State, side: Side, which: int, rounds: int, heats: int, *,
            halve: bool = False) -> tuple[Floats, Floats]:
    """Where the margin goes through zero: regula falsi, the value of an end that stays behind
    scaled down (Pegasus); with `halve` every other step bisects, which helps where the limit
    of the other side is near. Narrows `side` itself. Also the size of the last margin
    looked at."""
    off = np.zeros_like(side.in_v)
    for turn in range(rounds + 1):
        share = side.has / (side.has - side.miss)
        if halve and turn % 2 == 0 and turn < rounds:
            share = np.full_like(share, 0.5)
        x = side.in_v + (side.out_v - side.in_v) * share
        x = np.where(np.isfinite(x), x, side.in_v)
        if turn == rounds:
            return x, off
        value = state.see(x, heats)[1][which]
        off = np.abs(value)
        good = value >= 0
        keeps = np.where(good, side.has / (side.has + value), side.miss / (side.miss + value))
        keeps = np.where(np.isfinite(keeps), keeps, 0.5)
        side.miss, side.has = (np.where(good, side.miss * keeps, value),
                               np.where(good, value, side.has * keeps))
        side.out_v, side.in_v = np.where(good, side.out_v, x), np.where(good, x, side.in_v)
    raise AssertionError
