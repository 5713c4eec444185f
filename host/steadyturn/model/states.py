"""A running converter on a source line: which regime holds, and where.

Regions are tried from high input volts to low, so that the stable upper root of
a constant-power load is the one found. Equations in point.md.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from steadyturn.model import load
from steadyturn.model.clamped import Clamped
from steadyturn.model.line import At, Line, series_ohm
from steadyturn.model.output import Output
from steadyturn.model.solve import first_root, near_root

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

IDLE, REGULATING, LIMITED, DROPOUT, PASS_THROUGH, COLLAPSE = range(6)
REGIMES = np.array(
    ["idle", "regulating", "limited", "dropout", "pass_through", "collapse"]
)
HAIR = 1e-12  # a value that stands exactly at a boundary has reached it


@dataclass
class Running:
    """State of a running converter; `there` is False where none exists. x: the line's
    parameter; out_v, out_a: at the converter's output [V], [A]."""

    x: Floats
    regime: NDArray[np.int64]
    out_v: Floats
    out_a: Floats
    there: Flags


class _Search:
    """Tries the regions from high volts to low; `todo` are the points not yet settled."""

    def __init__(self, line: Line | Clamped, output: Output) -> None:
        self.line, self.output, self.start = line, output, line.zero()
        self.part = output.converter
        n = self.start.shape
        self.found = Running(self.start.copy(), np.full(n, COLLAPSE), np.zeros(n), np.zeros(n),
                             np.zeros(n, dtype=bool))
        self.in_v = np.zeros(n)
        self.todo = np.ones(n, dtype=bool)
        self.passes_above = output.set_v + self.part.pass_drop_v

    def some(self, where: Flags) -> Line | Clamped:
        return self.line if where.all() else self.line[where]

    def settle(self, where: Flags, x: Floats, regime: int, in_v: Floats, out_v: Floats | float,
               out_a: Floats | float | None = None) -> None:
        """x, in_v, out_v: at the points of `where`."""
        found = self.found
        if out_a is None:
            out_a = self.output.draw(np.asarray(out_v, dtype=float))[0]
        found.regime[where], found.there[where], self.todo[where] = regime, True, False
        found.x[where], self.in_v[where], found.out_v[where] = x, in_v, out_v
        found.out_a[where] = out_a

    def root(self, some: Line | Clamped, function: Callable[[At], tuple[Floats, Floats]],
             near: Floats, low: Floats) -> tuple[Floats, Flags, At]:
        """First root of function(at) on the line `some`, whether there is one, and what it
        is at. near: where it may be, NaN where unknown; low: not beyond it."""

        def full(x: Floats) -> tuple[Floats, Floats, At]:
            at = some.at(x)
            return *function(at), at

        if (known := ~np.isnan(near)).any():
            start = np.maximum(near if known.all() else np.where(known, near, low), 0.0)
            x, there, at, step = near_root(full, start)
            at = at.moved(step)
            if there.all():
                return x, there, at
            rest = ~there
            few = some[rest]
        else:
            few, rest, at = some, known, None
        found, ends = first_root(lambda x: function(few.at(x)), low[rest] if at else low,
                                 few.most())
        if at is None:
            return found, ends, few.at(found)
        x[rest], there[rest] = found, ends
        for all_of, part in zip(at, few.at(found), strict=True):
            all_of[rest] = part
        return x, there, at

    def pass_through(self) -> None:
        where, output = self.todo.copy(), self.output
        if output.enabled:
            # what the boundary's volts would take from the bus, and whether it can give that
            ends = np.array(self.passes_above)
            in_a = output.draw(ends - self.part.pass_drop_v)[0] + output.loss_w / ends
            where &= self.line.spare_v(in_a, ends) > -HAIR * ends
        if not where.any():
            return
        some = self.some(where)
        full = some.loaded(0.0)
        near = some.feeding(output.draw(full - self.part.pass_drop_v)[0], full)
        x, there, at = self.root(some, output.passing, near, some.zero())
        if output.enabled:
            there &= at.in_v > self.passes_above
        out_v = np.maximum(at.in_v - self.part.pass_drop_v, 0.0)
        self.settle(_among(where, there), x[there], PASS_THROUGH, at.in_v[there], out_v[there])

    def regulate(self) -> None:
        output = self.output
        kind, part, set_v = output.kind, self.part, output.set_v
        # of a linear regulator's input power a part goes through at the input's volts
        least = output.loss_w + (0.0 if kind == "linear" else set_v * output.set_a)
        where = self.todo & self.line.could_give(least)
        if not where.any():
            return
        some = self.some(where)
        x, there, at = self.root(some, output.power, output.near(some), some.too_little(least))
        there &= at.in_a <= part.in_limit_a
        if kind in ("buck", "linear"):
            there &= at.in_v >= set_v + part.headroom_v
        regime = LIMITED if output.over else REGULATING
        at = at.among(there)
        settled = _among(where, there)
        self.settle(settled, x[there], regime, at.in_v, set_v, output.set_a)
        if kind == "boost":
            self.slide(_among(settled, at.in_v > self.passes_above))

    def slide(self, where: Flags) -> None:
        """Passing draws more than regulating at one voltage: the boost toggles between
        them and the input stays there."""
        if where.any():
            x, at = self.falling_to(self.passes_above, self.some(where))
            self.settle(where, x, PASS_THROUGH, at.in_v, self.output.set_v)

    def falling_to(self, volts: float, some: Line | Clamped) -> tuple[Floats, At]:
        """Where the converter's input has fallen to `volts`."""
        x, _, at = self.root(some, lambda at: (volts - at.in_v, -at.v_slope),
                             np.full_like(some.zero(), np.nan), some.zero())
        return x, at

    def drop(self) -> None:
        """A buck or linear regulator whose output follows its input."""
        where, output = self.todo.copy(), self.output
        some = self.some(where)
        ends, stops = output.set_v + self.part.headroom_v, self.part.stop_v
        # what the source has to spare at each of these volts, high to low; in between, the
        # load's law has no kink
        inner = [v + self.part.headroom_v for v in load.kinks_v(output.load, output.path)]
        knots = np.array([ends, *sorted((v for v in inner if stops < v < ends), reverse=True),
                          stops])
        spare = [some.spare_v(in_a, v) for v, in_a in zip(knots, output.dropped_a(knots)[0],
                                                          strict=True)]
        lasts = (spare[0] <= 0) & (spare[-1] >= 0)
        if not lasts.any():
            return
        where, heights = _among(where, lasts), np.array(spare)[:, lasts]
        some = self.some(where)
        below = np.maximum(np.argmax(heights >= 0, axis=0), 1)
        top_v = knots[below - 1]

        def fallen(below_v: Floats) -> tuple[Floats, Floats]:
            in_v = top_v - below_v
            in_a, by_v = output.dropped_a(in_v)
            value, slope = some.spare_slope(in_a, by_v, in_v)
            return value, -slope

        fall, _ = first_root(fallen, np.zeros_like(top_v), top_v - knots[below],
                             bracketed=True, close=1e-14)
        in_v = top_v - fall
        in_a = output.dropped_a(in_v)[0]
        x = some.feeding(in_a, in_v + series_ohm(some.rig) * in_a)
        fits = in_a <= self.part.in_limit_a
        out_v = np.maximum(in_v - self.part.headroom_v, 0.0)
        self.settle(_among(where, fits), x[fits], DROPOUT, in_v[fits], out_v[fits])

    def limit(self) -> None:
        """The input limit holds the current; the output gives way."""
        most_a, stops = self.part.in_limit_a, np.array(self.part.stop_v)
        where = self.todo & (self.line.spare_v(np.array(most_a), stops) >= -HAIR * stops)
        if not where.any():
            return
        some = self.some(where)
        near = some.feeding(most_a, some.loaded(most_a))
        x, there, at = self.root(some, lambda at: (at.in_a - most_a, at.in_slope), near,
                                 some.zero())
        there &= at.in_v >= self.part.stop_v
        if not there.any():
            return
        at = at.among(there)
        out_v = self.output.starved(at.in_v, most_a)
        settled = _among(where, there)
        self.settle(settled, x[there], LIMITED, at.in_v, out_v)
        if self.output.kind == "boost":  # it cannot hold its output below its input
            passes = _among(settled, at.in_v - self.part.pass_drop_v > out_v)
            if passes.any():
                some = self.some(passes)
                full = some.loaded(most_a)
                near = some.feeding(self.output.draw(full - self.part.pass_drop_v)[0], full)
                x, _, at = self.root(some, self.output.passing, near, some.zero())
                volts = np.maximum(at.in_v - self.part.pass_drop_v, 0.0)
                self.settle(passes, x, PASS_THROUGH, at.in_v, volts)


def _among(where: Flags, chosen: Flags) -> Flags:
    """`chosen` counts within the points of `where`; the same as flags of all points."""
    flags = np.zeros_like(where)
    flags[where] = chosen
    return flags


def run(line: Line | Clamped, output: Output) -> Running:
    """State of a running converter on each point of `line`.

    >>> from steadyturn.rig.examples import example_path
    >>> from steadyturn.rig.file import read_rig
    >>> hut = read_rig(example_path("lakeside-hut"))
    >>> from steadyturn.model.line import source_line
    >>> line = source_line(hut, np.array([2.0, 10.0]), np.array([20.0, 20.0]))
    >>> REGIMES[run(line, Output(hut)).regime].tolist()
    ['collapse', 'regulating']
    """
    search = _Search(line, output)
    if output.kind == "boost":
        search.pass_through()
    if output.enabled:
        if search.todo.any():
            search.regulate()
        if search.todo.any() and output.kind in ("buck", "linear"):
            search.drop()
        if search.todo.any():
            search.limit()
        search.found.there &= search.in_v >= output.converter.stop_v * (1 - HAIR)
    search.found.regime[~search.found.there] = COLLAPSE
    return search.found
