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
from steadyturn.model.line import At, Clamped, Line
from steadyturn.model.solve import first_root
from steadyturn.rig.types import Rig

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

IDLE, REGULATING, LIMITED, DROPOUT, PASS_THROUGH, COLLAPSE = range(6)
REGIMES = np.array(
    ["idle", "regulating", "limited", "dropout", "pass_through", "collapse"]
)


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
        given = at.in_v * at.in_a
        slope = at.v_slope * at.in_a + at.in_v * at.in_slope
        if self.kind == "linear":
            return (given - at.in_v * self.set_a - self.loss_w,
                    slope - at.v_slope * self.set_a)
        if self.kind == "buck":
            coil, coil_slope = np.full_like(at.in_a, self.set_a), np.zeros_like(at.in_a)
        elif self.kind == "boost":
            coil, coil_slope = at.in_a, at.in_slope
        else:
            coil = np.maximum(at.in_a, self.set_a)
            coil_slope = np.where(at.in_a > self.set_a, at.in_slope, 0.0)
        need = self.set_v * self.set_a + self.lost(coil)
        return given - need, slope - (self.loss_v + 2 * self.loss_ohm * coil) * coil_slope

    def passing(self, at: At) -> tuple[Floats, Floats]:
        """The same for a boost that only passes its input, less coil and diode."""
        amps, by_v = self.draw(at.in_v - self.converter.pass_drop_v)
        idle_w = self.loss_w if self.enabled else 0.0
        spare = at.in_a - amps
        return (spare * at.in_v - idle_w,
                (at.in_slope - by_v * at.v_slope) * at.in_v + spare * at.v_slope)

    def dropping(self, at: At) -> tuple[Floats, Floats]:
        """The same for a buck or linear regulator out of headroom."""
        out_v = at.in_v - self.converter.headroom_v
        amps, by_v = self.draw(out_v)
        by_x = by_v * at.v_slope
        if self.kind == "linear":
            spare = at.in_a - amps
            return (spare * at.in_v - self.loss_w,
                    (at.in_slope - by_x) * at.in_v + spare * at.v_slope)
        need = out_v * amps + self.lost(amps)
        need_slope = at.v_slope * amps + by_x * (
            out_v + self.loss_v + 2 * self.loss_ohm * amps)
        return (at.in_v * at.in_a - need,
                at.v_slope * at.in_a + at.in_v * at.in_slope - need_slope)

    def starved(self, in_v: Floats, in_a: float) -> Floats:
        """Output [V] of a converter held at in_a [A] by its input limit at in_v [V]."""
        low, high = np.zeros_like(in_v), np.full_like(in_v, self.set_v)
        given = in_v * in_a
        for _ in range(60):
            out_v = 0.5 * (low + high)
            amps, _ = self.draw(out_v)
            if self.kind == "linear":
                need = in_v * amps + self.loss_w
            else:
                coil = {"boost": np.full_like(amps, in_a), "buck": amps,
                        "buck_boost": np.maximum(amps, in_a)}[self.kind]
                need = out_v * amps + self.lost(coil)
            low, high = np.where(need > given, low, out_v), np.where(need > given, out_v, high)
        return low


class _Search:
    """Tries the regions from high volts to low; `todo` are the points not yet settled."""

    def __init__(self, line: Line | Clamped, output: Output) -> None:
        self.line, self.output, self.start = line, output, line.zero()
        self.part = output.converter
        start = self.start
        n = start.shape
        self.found = Running(start.copy(), np.full(n, COLLAPSE), np.zeros(n), np.zeros(n),
                             np.zeros(n, dtype=bool))
        self.todo = np.ones(n, dtype=bool)
        self.passes_above = output.set_v + self.part.pass_drop_v

    def settle(self, where: Flags, x: Floats, regime: int, out_v: Floats | float) -> None:
        volts = np.array(np.broadcast_to(np.asarray(out_v, dtype=float), x.shape))
        found = self.found
        found.x[where], found.regime[where], found.out_v[where] = x, regime, volts
        found.out_a[where] = self.output.draw(volts)[0]
        found.there[where] = True
        self.todo[where] = False

    def root(self, where: Flags, function: Callable[[At], tuple[Floats, Floats]],
             low: Floats, high: Floats | None = None) -> tuple[Floats, Flags, At]:
        """First root of function(at) among `where`, whether there is one, and what it is at."""
        some = self.line[where]
        top = some.most() if high is None else high
        x, there = first_root(lambda x: function(some.at(x)), low, top,
                              bracketed=high is not None)
        return x, there, some.at(x)

    def pass_through(self) -> None:
        where = self.todo.copy()
        if self.output.enabled:
            where &= self.line.at(self.start).in_v > self.passes_above
        if not where.any():
            return
        x, there, at = self.root(where, self.output.passing, self.start[where])
        if self.output.enabled:
            there &= at.in_v > self.passes_above
        out_v = np.maximum(at.in_v - self.part.pass_drop_v, 0.0)
        self.settle(_among(where, there), x[there], PASS_THROUGH, out_v[there])

    def regulate(self) -> None:
        where = self.todo.copy()
        kind, part, set_v = self.output.kind, self.part, self.output.set_v
        # of a linear regulator's input power a part goes through at the input's volts
        least = self.output.loss_w + (0.0 if kind == "linear" else set_v * self.output.set_a)
        x, there, at = self.root(where, self.output.power, self.line[where].too_little(least))
        there &= at.in_a <= part.in_limit_a
        if kind in ("buck", "linear"):
            there &= at.in_v >= set_v + part.headroom_v
        regime = LIMITED if self.output.over else REGULATING
        self.settle(_among(where, there), x[there], regime, set_v)
        if kind == "boost":
            self.slide(_among(where, there & (at.in_v > self.passes_above)))

    def slide(self, where: Flags) -> None:
        """Passing draws more than regulating at one voltage: the boost toggles between
        them and the input stays there."""
        if where.any():
            x, _, _ = self.root(where, lambda at: (self.passes_above - at.in_v, -at.v_slope),
                                self.start[where])
            self.settle(where, x, PASS_THROUGH, self.output.set_v)

    def drop(self) -> None:
        """A buck or linear regulator whose output follows its input."""
        where = self.todo.copy()
        ends = self.output.set_v + self.part.headroom_v
        start = self.start[where]

        def below(volts: float, low: Floats) -> tuple[Floats, Flags]:
            x, there, _ = self.root(where, lambda at: (volts - at.in_v, -at.v_slope), low)
            return x, there

        low = np.where(self.line[where].at(start).in_v > ends, below(ends, start)[0], start)
        high, lasts = below(self.part.stop_v, low)
        some = self.line[where]
        lasts &= self.output.dropping(some.at(low))[0] <= 0
        lasts &= self.output.dropping(some.at(high))[0] >= 0
        keep = _among(where, lasts)
        if keep.any():
            x, _, at = self.root(keep, self.output.dropping, low[lasts], high[lasts])
            fits = at.in_a <= self.part.in_limit_a
            out_v = np.maximum(at.in_v - self.part.headroom_v, 0.0)
            self.settle(_among(keep, fits), x[fits], DROPOUT, out_v[fits])

    def limit(self) -> None:
        """The input limit holds the current; the output gives way."""
        where = self.todo.copy()
        most_a = self.part.in_limit_a
        x, there, at = self.root(where, lambda at: (at.in_a - most_a, at.in_slope),
                                 self.start[where])
        there &= at.in_v >= self.part.stop_v
        if not there.any():
            return
        out_v = self.output.starved(at.in_v[there], most_a)
        settled = _among(where, there)
        self.settle(settled, x[there], LIMITED, out_v)
        if self.output.kind == "boost":  # it cannot hold its output below its input
            passes = _among(settled, at.in_v[there] - self.part.pass_drop_v > out_v)
            if passes.any():
                x, _, at = self.root(passes, self.output.passing, self.start[passes])
                volts = np.maximum(at.in_v - self.part.pass_drop_v, 0.0)
                self.settle(passes, x, PASS_THROUGH, volts)


def _among(where: Flags, chosen: Flags) -> Flags:
    """`chosen` counts within the points of `where`; the same as flags of all points."""
    flags = np.zeros_like(where)
    flags[where] = chosen
    return flags


def run(line: Line | Clamped, output: Output) -> Running:
    """State of a running converter on each point of `line`."""
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
        lasts = line.at(search.found.x).in_v >= output.converter.stop_v * (1 - 1e-12)
        search.found.there &= lasts
    search.found.regime[~search.found.there] = COLLAPSE
    return search.found
