"""A running converter on a source line: which regime holds, and where.

Regions are tried from high input volts to low, so that the stable upper root of
a constant-power load is the one found. Equations in point.md.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from steadyturn.model import converter, load
from steadyturn.model.line import At, Clamped, Line, series_ohm
from steadyturn.model.solve import first_root, near_root
from steadyturn.rig.types import Rig

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


class Output:
    """Converter and what hangs on its output, as functions of volts.

    connected: False leaves the output open (an output switch that is released).
    enabled: False is a disabled plain boost, which only passes.
    """

    def __init__(self, rig: Rig, *, connected: bool = True, enabled: bool = True) -> None:
        self.kind = rig.converter.kind
        self.converter = rig.converter
        self.load, self.path = rig.load, load.path_ohm(rig)
        self.connected, self.enabled = connected, enabled
        self.loss_w, self.loss_v, self.loss_ohm = converter.loss_constants(rig.converter)
        set_v = rig.converter.out_v
        set_a = float(self.draw(np.array(set_v))[0])
        self.over = set_a > rig.converter.out_limit_a
        if self.over:
            set_a = rig.converter.out_limit_a
            set_v = min(set_v, load.volts_for(rig.load, self.path, set_a))
        self.set_v, self.set_a = set_v, set_a

    def draw(self, out_v: Floats) -> tuple[Floats, Floats]:
        if not self.connected:
            return np.zeros_like(out_v), np.zeros_like(out_v)
        return load.draw(self.load, self.path, out_v)

    def lost(self, coil: Floats) -> Floats:
        return self.loss_w + coil * (self.loss_v + self.loss_ohm * coil)

    def power(self, at: At) -> tuple[Floats, Floats]:
        """Input power less what the set point needs [W], and its slope."""
        if self.kind == "linear":
            spare = at.in_a - self.set_a
            return (at.in_v * spare - self.loss_w,
                    at.v_slope * spare + at.in_v * at.in_slope)
        need = self.set_v * self.set_a + self.loss_w
        by_input = self.kind == "boost"
        if self.kind == "buck_boost":  # mostly all points are on one side
            more = at.in_a > self.set_a
            by_input = bool(more.all())
            if not by_input and more.any():
                coil = np.maximum(at.in_a, self.set_a)
                by_coil = (self.loss_v + 2 * self.loss_ohm * coil) * more
                return (at.in_v * at.in_a - (need - self.loss_w) - self.lost(coil),
                        at.v_slope * at.in_a + (at.in_v - by_coil) * at.in_slope)
        if not by_input:
            need += self.set_a * (self.loss_v + self.loss_ohm * self.set_a)
            value = at.in_v * at.in_a
            value -= need
            slope = at.v_slope * at.in_a
            slope += at.in_v * at.in_slope
            return value, slope
        lost_v = self.loss_ohm * at.in_a  # what the coil's current leaves of the volts
        left = at.in_v - self.loss_v
        left -= lost_v
        value = left * at.in_a
        value -= need
        left -= lost_v
        left *= at.in_slope
        left += at.v_slope * at.in_a
        return value, left

    def passing(self, at: At) -> tuple[Floats, Floats]:
        """The same for a boost that only passes its input, less coil and diode."""
        amps, by_v = self.draw(at.in_v - self.converter.pass_drop_v)
        idle_w = self.loss_w if self.enabled else 0.0
        spare = at.in_a - amps
        return (spare * at.in_v - idle_w,
                (at.in_slope - by_v * at.v_slope) * at.in_v + spare * at.v_slope)

    def dropped_a(self, in_v: Floats) -> tuple[Floats, Floats]:
        """Current [A] into a buck or linear regulator out of headroom at in_v [V], and its
        slope."""
        out_v = np.maximum(in_v - self.converter.headroom_v, 0.0)
        amps, by_v = self.draw(out_v)
        if self.kind == "linear":
            return amps + self.loss_w / in_v, by_v - self.loss_w / (in_v * in_v)
        in_a = (out_v * amps + self.lost(amps)) / in_v
        need_slope = amps + by_v * (out_v + self.loss_v + 2 * self.loss_ohm * amps)
        return in_a, (need_slope - in_a) / in_v

    def near(self, line: Line | Clamped) -> Floats:
        """About the parameter of `line` at which `power` is zero; NaN where unknown."""
        if self.kind == "linear":
            volts = line.loaded(self.set_a)
            return line.feeding(self.set_a + self.loss_w / np.maximum(volts, self.set_v), volts)
        least = self.loss_w + self.set_v * self.set_a
        if self.kind == "buck":
            return line.near(least - self.loss_w + float(self.lost(np.array(self.set_a))), 0, 0)
        return line.near(least, self.loss_v, self.loss_ohm)

    def starved(self, in_v: Floats, in_a: float) -> Floats:
        """Output [V] of a converter held at in_a [A] by its input limit at in_v [V]."""
        linear, given = self.kind == "linear", in_v * in_a

        def over(out_v: Floats) -> tuple[Floats, Floats]:
            amps, by_v = self.draw(out_v)
            if linear:
                return in_v * amps + self.loss_w - given, in_v * by_v
            coil = {"boost": np.full_like(amps, in_a), "buck": amps,
                    "buck_boost": np.maximum(amps, in_a)}[self.kind]
            by_coil = (self.loss_v + 2 * self.loss_ohm * coil) * np.where(
                (self.kind == "buck") | (coil > in_a), by_v, 0.0)
            return out_v * amps + self.lost(coil) - given, amps + out_v * by_v + by_coil

        top = np.full_like(in_v, self.set_v)
        out_v, _ = first_root(over, np.zeros_like(in_v), top, bracketed=True)
        return out_v


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
