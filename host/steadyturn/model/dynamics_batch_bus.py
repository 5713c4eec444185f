"""The bus of many machines in one step: converter, balance at the node, output. The arrays'
counterpart of the second half of `dynamics_step`; names and order are the same."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from steadyturn.model.dynamics_batch_node import DIRECT, DROPS, LINEAR, NOTHING, REGULATES, Node
from steadyturn.model.dynamics_step import REARM

if TYPE_CHECKING:
    from steadyturn.model.dynamics_batch import Machines

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]
where = np.where


def _device_a(volts: Floats, slope: Floats, min_v: Floats, most_a: Floats) -> Floats:
    """As `dynamics_parts.device_a`, of arrays."""
    return np.clip(slope * (volts - min_v), 0.0, most_a)


def _settle(start_v: Floats, in_a: Floats, co_h: Floats, slope: Floats, min_v: Floats,
            most_a: Floats) -> Floats:
    """As `dynamics_parts.settle`, of arrays."""
    full = start_v + (in_a - most_a) / co_h
    part = (co_h * start_v + in_a + slope * min_v) / (co_h + slope)
    alone = start_v + in_a / co_h
    return where(slope * (full - min_v) >= most_a, full, where(part >= min_v, part, alone))


def _settle_power(start_v: Floats, in_w: Floats, co_h: Floats, slope: Floats, min_v: Floats,
                  most_a: Floats) -> Floats:
    """As `dynamics_parts.settle_power`, of arrays."""
    full = _root(co_h, where(np.isfinite(most_a), most_a, 0.0) - co_h * start_v, in_w)
    holds = np.isfinite(most_a) & (slope * (full - min_v) >= most_a)
    part = _root(co_h + slope, -co_h * start_v - slope * min_v, in_w)
    alone = _root(co_h, -co_h * start_v, in_w)
    fed = where(holds, full, where(part >= min_v, part, alone))
    zero = np.zeros_like(start_v)
    return where(in_w <= 0, _settle(start_v, zero, co_h, slope, min_v, most_a), fed)


def _root(a: Floats, b: Floats, power: Floats) -> Floats:
    q = np.sqrt(b * b + 4 * a * power)
    return where(b > 0, 2 * power / (b + q), (q - b) / (2 * a))


def _source_a(over_v: Floats, r: Floats, m: Machines) -> Floats:
    """As `dynamics_parts.source_a`, of arrays."""
    amps = np.maximum(0.0, over_v - m.brush_v - m.diode_v) / r
    for _ in range(40):
        b, d = np.tanh(amps * m.brush_a), np.tanh(amps * m.diode_a)
        miss = over_v - r * amps - m.brush_v * b - m.diode_v * d
        slope = r + m.brush_ohm * (1 - b * b) + m.diode_ohm * (1 - d * d)
        amps = amps + miss / slope
        if (np.abs(miss) < 1e-9).all():
            break
    return where(over_v <= 0, 0.0, amps)


class Bus:
    """One step of all buses; `take` once, and again where it says so."""

    def __init__(self, m: Machines, e: Floats, r: Floats, i: Floats, connected: Flags,
                 alive: Flags, plugged: Flags) -> None:
        self.e, self.r, self.i = e, r, i
        self.connected = connected
        self.on, self.soft = m.converter_on.copy(), m.soft.copy()
        self.bus_cut, self.out_cut = m.bus_cut.copy(), m.output_cut.copy()
        self.ic, self.io = m.in_a.copy(), m.converter_a.copy()
        self.full_slope = where(plugged, m.full_slope, 0.0)
        self.full_draw = where(plugged, m.full_draw, 0.0)
        self.may_start = np.ones(m.n, dtype=bool)
        self.todo = np.ones(m.n, dtype=bool)
        self.tb = np.zeros(m.n)
        board_w = where(alive, m.board_w, 0.0)
        vr = m.reservoir_v
        self.drawn_w = where(vr > m.off_v, board_w, board_w * vr / m.off_v)
        self.short_w = self.drawn_w + 0.5 * m.res_h * (m.full_v**2 - vr * vr)
        self.sinks_v = where(vr > 0, np.maximum(vr - self.drawn_w / (vr * m.res_h), 0.0), 0.0)
        self.kept: dict[str, NDArray[Any]] = {}

    # ------------------------------------------------------------------ one try of the step

    def take(self, m: Machines) -> Flags:
        """Take the step of those still to do; True for those that must take it again."""
        v, vo, ic0, io0 = m.bus_v, m.converter_v, self.ic, self.io
        attached = self.connected & ~self.bus_cut
        joined = attached | ~m.bus_switch
        enabled = joined & (attached | ~m.enable)
        socket = (attached | m.enable | m.bus_switch) & ~self.out_cut
        slope_d, draw_d = where(socket, self.full_slope, 0.0), where(socket, self.full_draw, 0.0)
        min_d, co_h, loss_w = m.min_d, m.co_h, m.loss_w

        vin = v - m.rs * ic0
        begins = ~self.on & enabled & self.may_start & (vin >= m.start_v)
        on = (self.on & enabled) | begins
        soft = where(begins, 0.0, self.soft)
        rise = soft + m.soft_step
        vt = where(rise < 1.0, rise * m.set_v, m.set_v)
        direct = where(m.boost, (vin - m.direct_v >= vt) | (vo < vin - m.direct_v),
                       m.drops_out & (vin - m.direct_v < vt))
        mode = where(direct, where(m.boost | m.linear, DIRECT, DROPS),
                     where(m.linear, LINEAR, REGULATES))
        mode = where(on, mode, where(m.passes & joined, DIRECT, NOTHING))
        regulates, drops = mode == REGULATES, mode == DROPS
        sets = regulates | (mode == LINEAR)
        vom = where(vo == vt, vt, 0.5 * (vo + vt))
        idev = _device_a(vom, slope_d, min_d, draw_d)
        io = idev + where(vo != vt, co_h * (vt - vo), 0.0)
        capped = (io > m.out_limit) | (io < 0)
        io = where(capped, where(io > 0, m.out_limit, 0.0), io)
        vo1 = vt
        if capped.any():
            vo1 = where(capped, _settle(vo, io, co_h, slope_d, min_d, draw_d), vt)
            idev = where(capped, _device_a(vo1, slope_d, min_d, draw_d), idev)
            vom = where(capped, 0.5 * (vo + vo1), vom)
        power = vom * io + loss_w
        by_in = m.coil_in | (m.coil_larger & (ic0 > io))
        lv, lr = where(regulates & by_in, m.loss_v, 0.0), where(regulates & by_in, m.loss_ohm, 0.0)
        power = where(by_in, power, power + io * (m.loss_v + m.loss_ohm * io))
        quiet = where(on & (vin > 0), loss_w / vin, 0.0)
        # where no set point rules, the last output current stands until something sets it
        io, idev = where(sets, io, io0), where(sets, idev, m.out_a)

        node = Node(self, m, mode, power, lv, lr, io, quiet, slope_d, draw_d)
        node.balance()
        i, ic, vm, fit, tb = node.i, node.ic, node.vx, node.fit, node.tb
        io, idev = where(drops, node.io_now, io), where(drops, node.idev, idev)
        vo1 = where(drops, node.vo1, vo1)
        ib = node.ib
        limited = (ic == m.in_limit) & (mode != DIRECT)
        v1 = v + (vm - v) / fit
        stops = on & (vm - m.rs * ic < m.stop_v)
        falls = stops & (mode != DIRECT)
        again = np.zeros(m.n, dtype=bool)
        if falls.any():
            i_low = _source_a(self.e - m.stop_v, self.r, m)
            most = i_low - ib - m.leak * m.stop_v - m.c_h * (m.stop_v - v)
            again = falls & (most <= 0)
            falls &= ~again
            i = where(falls | again, i_low, i)
            ic = where(falls & (most < ic), most, ic)
            limited |= falls
            tb = where(falls, np.tanh(i * m.brush_a), tb)
            v1 = where(falls, v + (i - ib - m.leak * m.stop_v - ic) / m.c_h, v1)
            vm = where(falls, v + fit * (v1 - v), vm)

        # -- the output: its capacitor and the device
        vin = vm - m.rs * ic
        passes = (mode == DIRECT) & (ic > quiet)
        rest = ~passes & ~limited & ~(drops & (io > 0)) & ~sets
        at = vin - m.direct_v
        vo1 = where(passes, at, vo1)
        if limited.any():
            starved = limited & ~passes
            lin = starved & (mode == LINEAR)
            io = where(lin, np.maximum(ic - quiet, 0.0), io)
            given = where((lv != 0) | (lr != 0), ic * (vin - lv - lr * ic) - loss_w,
                          ic * vin - loss_w - io * (m.loss_v + m.loss_ohm * io))
            fed = np.minimum(_settle_power(vo, given, co_h, slope_d, min_d, draw_d),
                             where(regulates, vo1, at))
            vo1 = where(starved, where(
                lin, _settle(vo, io, co_h, slope_d, min_d, draw_d), fed), vo1)
            idev = where(starved, _device_a(vo1, slope_d, min_d, draw_d), idev)
            io = where(starved, co_h * (vo1 - vo) + idev, io)
            vom = where(starved, vo1, vom)
        idev = where(passes, _device_a(vo1, slope_d, min_d, draw_d), idev)
        io = where(passes, ic - quiet, io)
        holds = drops & (io > 0) & ~limited
        vo1 = where(holds, vo + (io - idev) / co_h, vo1)
        if rest.any():
            io = where(rest, 0.0, io)
            vo1 = where(rest, _settle(vo, np.zeros(m.n), co_h, slope_d, min_d, draw_d), vo1)
            idev = where(rest, _device_a(vo1, slope_d, min_d, draw_d), idev)
        vom = where(passes | holds | rest, vo1, vom)
        vo1 = where(io == 0, vo1 - vo1 * m.bleed, vo1)

        todo = self.todo
        cuts = ~again & (v1 > m.cut_bus) & ~self.bus_cut & todo
        parts = ~again & ~cuts & (vo1 > m.cut_out) & ~self.out_cut & todo
        self.bus_cut |= cuts
        self.out_cut |= parts
        again &= todo
        # what the next try begins with
        self.may_start &= ~again
        self.on = where(todo, on & ~again, self.on)
        self.soft = where(todo, soft, self.soft)
        again |= cuts | parts
        self.i = where(todo, i, self.i)
        self.ic, self.io = where(todo, ic, self.ic), where(todo, io, self.io)
        self.tb = where(todo, tb, self.tb)
        result = {"v1": v1, "vm": vm, "vo1": vo1, "vom": vom, "idev": idev, "ib": ib,
                  "want": node.want, "stops": stops, "socket": socket}
        if not self.kept:
            self.kept = result
        else:
            self.kept = {name: where(todo, result[name], old) for name, old in self.kept.items()}
        self.todo = again
        return again

    # --------------------------------------------------------------------------- accounts

    def settle_into(self, m: Machines, h: float) -> None:
        """The step's end becomes the machines' state."""
        k, ic, idev, vm = self.kept, self.ic, self.kept["idev"], self.kept["vm"]
        vs = vm - m.r_shunt * ic
        m.in_j += vs * ic * h
        m.in_c += ic * h
        m.in_v_s += vs * h
        m.out_j += idev * (k["vom"] - m.path * idev) * h
        ib, vr = k["ib"], m.reservoir_v
        gain = where(ib > 0, where(ib == k["want"], ib * (vm - m.feed_v),
                                   ib * (vr + 0.5 * ib / m.res_h)), 0.0)
        square = vr * vr + 2 * (gain - self.drawn_w) / m.res_h
        m.reservoir_v = where(m.feeds, np.sqrt(np.maximum(square, 0.0)), m.full_v)
        m.motor_a, m.in_a, m.converter_a, m.out_a = self.i, ic, self.io, idev
        m.bus_v, m.converter_v = k["v1"], k["vo1"]
        m.in_v = m.bus_v - m.r_shunt * ic
        m.out_v = where(k["socket"], m.converter_v - m.path * idev, 0.0)
        np.maximum(m.peak_bus_v, m.bus_v, out=m.peak_bus_v)
        np.maximum(m.peak_out_v, m.out_v, out=m.peak_out_v)
        m.converter_on = self.on & ~k["stops"]
        m.soft = where(m.converter_on, np.minimum(self.soft + m.soft_step, 1.0), 0.0)
        m.bus_cut = self.bus_cut & ~(m.bus_v < REARM * m.cut_bus)
        m.output_cut = self.out_cut & ~(m.converter_v < REARM * m.cut_out)
