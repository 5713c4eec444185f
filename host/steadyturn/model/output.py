"""A converter and what hangs on its output, as functions of the volts and current it gets.

The power balance of each regime stands here; `states` finds where it is met. Equations in
point.md and converter.md.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from steadyturn.model import converter, load
from steadyturn.model.clamped import Clamped
from steadyturn.model.line import At, Line
from steadyturn.model.solve import first_root
from steadyturn.rig.types import Rig

Floats = NDArray[np.float64]


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
        """What hangs on the output takes at out_v [V]: current [A] and its slope [A/V]."""
        if not self.connected:
            return np.zeros_like(out_v), np.zeros_like(out_v)
        return load.draw(self.load, self.path, out_v)

    def lost(self, coil: Floats) -> Floats:
        """Losses [W] at the coil's current [A] (converter.md)."""
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
        """The same [W] for a boost that only passes its input, less coil and diode."""
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
