"""The balance at the bus node of many machines: Newton between bounds, as in `dynamics_step`,
on fewer and fewer machines as they come to their answers."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from steadyturn.model.dynamics_step import ENOUGH_A, FREE, MOST

if TYPE_CHECKING:
    from steadyturn.model.dynamics_batch import Machines
    from steadyturn.model.dynamics_batch_bus import Bus

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]
where = np.where

NOTHING, REGULATES, DIRECT, DROPS, LINEAR = range(5)
_SHEDS = (2, 4, 8, 16)  # rounds after which those that are done are left out
_NAMES = """
co_h rs brush_a brush_v brush_ohm diode_a diode_v diode_ohm leak in_limit direct_v min_d
loss_w loss_v loss_ohm feeds feed_v feed_r feed_a clamp_v clamp_s
"""
_OF_MACHINES = _NAMES.split()
_RESULTS = ("i", "vx", "tb", "ic", "ib", "want", "vo1", "idev", "io_now")


class Node:
    """Currents and volts of all nodes; answers: i of the source, ic into the converter, ib into
    the board [A], vx [V] that they flow at, fit, and what dynamics_step has with them."""

    def __init__(self, b: Bus, m: Machines, mode: NDArray[np.int64], power: Floats, lv: Floats,
                 lr: Floats, io: Floats, quiet: Floats, slope_d: Floats, draw_d: Floats) -> None:
        for name in _OF_MACHINES:
            setattr(self, name, getattr(m, name))
        self.v, self.vo, self.blocks = m.bus_v, m.converter_v, m.blocks_flags
        self.e, self.r, self.i = b.e, b.r, b.i.copy()
        self.sinks_v, self.short_w = b.sinks_v, b.short_w
        self.power, self.lv, self.lr, self.io, self.quiet = power, lv, lr, io, quiet
        self.slope_d, self.draw_d = slope_d, draw_d
        self.regulates, self.direct = mode == REGULATES, mode == DIRECT
        self.drops, self.linear = mode == DROPS, mode == LINEAR
        self.held = self.blocks & (self.i == 0) & (self.e <= self.v)
        self.fit = where(self.direct | self.drops | (self.v > m.clamp_v), 1.0,
                         where(self.held, m.fit_alone, m.fit_source))
        self.c = m.c_h / self.fit
        n = len(self.v)
        self.vx, self.done = self.v.copy(), ~b.todo
        self.low, self.high = np.full(n, -np.inf), np.full(n, np.inf)
        zero = np.zeros(n)
        self.tb, self.td, self.ic = zero, zero, b.ic
        self.ib = self.want = self.vo1 = self.idev = zero
        self.io_now = io

    if TYPE_CHECKING:  # the arrays of the machines are set by name
        def __getattr__(self, name: str) -> Any: ...

    def balance(self) -> None:
        """Rounds until all are done."""
        self._rounds(1)

    def _rounds(self, first: int) -> None:
        for rounds in range(first, MOST + 1):
            self._round(rounds)
            if self.done.all():
                return
            if rounds in _SHEDS:
                rest = np.flatnonzero(~self.done)
                if 2 * len(rest) < len(self.done):
                    some = Node.__new__(Node)
                    for name, array in self.__dict__.items():
                        setattr(some, name, array[rest])
                    some._rounds(rounds + 1)
                    for name in _RESULTS:
                        whole = getattr(self, name).copy()
                        whole[rest] = getattr(some, name)
                        setattr(self, name, whole)
                    return

    def _round(self, rounds: int) -> None:
        done, held, i = self.done, self.held, self.i
        fresh = ~held & ~done
        self.tb = tb = where(fresh, np.tanh(i * self.brush_a), self.tb)
        self.td = td = where(fresh, np.tanh(i * self.diode_a), self.td)
        vx = where(fresh, self.e - self.r * i - self.brush_v * tb - self.diode_v * td, self.vx)
        ic, g = self._converter(vx)
        load = ic + self.leak * vx
        if self.feeds.any():
            vf = vx - self.feed_v
            ib = (vf - self.sinks_v) / self.feed_r
            want = self.short_w / vf
            over = (ib > want) | (ib > self.feed_a)
            takes = self.feeds & (ib > 0)
            g = where(takes & ~over, g + 1 / self.feed_r, g)
            ib = where(takes, where(over, np.minimum(want, self.feed_a), ib), 0.0)
            load = load + ib
            self.ib, self.want = where(done, self.ib, ib), where(done, self.want, want)
        clamps = vx > self.clamp_v
        if clamps.any():
            g = where(clamps, g + self.clamp_s, g)
            load = load + where(clamps, self.clamp_s * (vx - self.clamp_v), 0.0)
        error = self.c * (vx - self.v) + load - i
        near = (np.abs(error) < ENOUGH_A) | (rounds >= MOST)
        self.ic = where(done, self.ic, ic)
        low, high = self.low, self.high
        # -- those that the rectifier holds off
        rests = held & ~done
        if rests.any():
            high = where(rests & (error > 0), vx, high)
            low = where(rests & (error <= 0), vx, low)
            step = vx - error / g
            if rounds > FREE:
                step = where((low < step) & (step < high), step, 0.5 * (low + high))
            vx = where(rests, step, vx)
            ends = rests & near
            stays = ends & ((self.e <= vx) | (rounds >= MOST))
            frees = ends & ~stays
            done = done | stays
            held = held & ~frees
            low, high = where(frees, -np.inf, low), where(frees, np.inf, high)
        # -- those that are fed
        dv = self.r + self.brush_ohm * (1 - tb * tb) + self.diode_ohm * (1 - td * td)
        change = error / (1 + g * dv)
        stuck = fresh & self.blocks & (i + change <= 0)
        if stuck.any():
            shuts = stuck & (i == 0)
            held = held | shuts
            vx = where(shuts, self.v, vx)
            low, high = where(shuts, -np.inf, low), where(shuts, np.inf, high)
            down = stuck & ~shuts
            high = where(down, i, high)
            half = where(low >= 0, 0.5 * (low + high), 0.0) if rounds > FREE else 0.0
            i = where(down, half, i)
        moves = fresh & ~stuck
        low = where(moves & (change > 0), i, low)
        high = where(moves & (change <= 0), i, high)
        i = where(moves, i + change, i)
        ends = moves & near
        vx = where(ends, vx - dv * change, vx)
        if rounds > FREE:
            i = where(moves & ~ends & ~((low < i) & (i < high)), 0.5 * (low + high), i)
        self.done, self.held, self.low, self.high = done | ends, held, low, high
        self.i, self.vx = i, vx

    def _converter(self, vx: Floats) -> tuple[Floats, Floats]:
        """What the converters take at vx [A], and how all that hangs on the bus grows [A/V]."""
        vo, rs, co_h, quiet = self.vo, self.rs, self.co_h, self.quiet
        g = self.c + self.leak
        ic = np.zeros(len(vx))
        if self.regulates.any():
            a = vx - self.lv
            q = a * a - 4 * (rs + self.lr) * self.power
            asks = where(a > 0, 2 * self.power / (a + np.sqrt(np.maximum(q, 0.0))), self.in_limit)
            asks = where(asks >= self.in_limit, self.in_limit, asks)
            eases = self.regulates & (asks < self.in_limit) & (asks < 0.5 * self.c * vx)
            g = where(eases, g - asks / vx, g)
            ic = where(self.regulates, asks, ic)
        if self.direct.any():
            over = vx - self.direct_v
            plain = 1 + co_h * rs
            full = (quiet + co_h * (over - vo) + self.draw_d) / plain
            less = self.slope_d * (over - rs * full - self.min_d) < self.draw_d
            sloped = plain + self.slope_d * rs
            part = (quiet + co_h * (over - vo) + self.slope_d * (over - self.min_d)) / sloped
            none = over - rs * part < self.min_d
            flows = where(less, where(none, (quiet + co_h * (over - vo)) / plain, part), full)
            grows = where(less & ~none, (co_h + self.slope_d) / sloped, co_h / plain)
            g = where(self.direct & (flows > quiet), g + grows, g)
            ic = where(self.direct, np.maximum(flows, quiet), ic)
        if self.linear.any():
            ic = where(self.linear, np.minimum(self.io + quiet, self.in_limit), ic)
        if self.drops.any():
            vin = vx - rs * self.ic
            vo1 = vin - self.direct_v
            wants = self.slope_d * (vo1 - self.min_d)
            slopes = where((wants < self.draw_d) & (wants > 0), self.slope_d, 0.0)
            g = where(self.drops, g + co_h + slopes, g)
            idev = np.clip(wants, 0.0, self.draw_d)
            io = np.maximum(idev + co_h * (vo1 - vo), 0.0)
            asks = (vo1 * io + self.loss_w + io * (self.loss_v + self.loss_ohm * io)) / vin
            ic = where(self.drops, np.minimum(asks, self.in_limit), ic)
            done = self.done
            self.vo1, self.idev = where(done, self.vo1, vo1), where(done, self.idev, idev)
            self.io_now = where(done, self.io_now, io)
        return ic, g
