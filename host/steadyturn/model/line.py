"""The source line: with the current of one motor given, everything is explicit.

From the bank through rectifier, bus node (where bleed and board's supply tap),
sensor shunt and bus switch to the converter's terminals. No roots are sought
here; `states` does that. Equations in point.md.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from steadyturn.model import motor, supply
from steadyturn.model.rectifier import DIODES
from steadyturn.rig.types import Rig

Floats = NDArray[np.float64]


class At(NamedTuple):
    """Node volts, current into the converter, volts at its terminals [V, A, V], each
    with its slope by the line's parameter."""

    node_v: Floats
    node_slope: Floats
    in_a: Floats
    in_slope: Floats
    in_v: Floats
    v_slope: Floats


def series_ohm(rig: Rig) -> float:
    """Resistance [ohm] between bus node and the converter's terminals."""
    inline = rig.switch.on_ohm if rig.switch.place == "bus_switch" else 0.0
    return rig.sensor.shunt_ohm + inline


@dataclass(frozen=True)
class Line:
    """Parameter: the current of one motor [A]. emf_v: of the whole bank [V]; ohm: of
    one string; both of the same shape."""

    rig: Rig
    emf_v: Floats
    ohm: Floats
    board_on: bool = True

    def __getitem__(self, where: NDArray[np.bool_]) -> Line:
        return Line(self.rig, self.emf_v[where], self.ohm[where], self.board_on)

    def zero(self) -> Floats:
        return np.zeros_like(self.emf_v)

    def most(self) -> Floats:
        """A current at which no volts are left."""
        return self.emf_v / self.ohm

    def too_little(self, power_w: float) -> Floats:
        """A current that cannot yet give power_w: the bare source's, without any drop.
        Past the fold of the bare source it is that of the fold."""
        ohm = self.ohm / self.rig.bank.parallel
        under = np.maximum(self.emf_v**2 - 4 * ohm * power_w, 0.0)
        bank_a = 2 * power_w / np.maximum(self.emf_v + np.sqrt(under), 1e-12)
        return np.minimum(bank_a, self.emf_v / (2 * ohm)) / self.rig.bank.parallel

    def node(self, motor_a: Floats) -> tuple[Floats, Floats]:
        """Volts of the bus node and their slope by motor_a."""
        rig = self.rig
        brush = rig.bank.series * rig.motor.brush_drop_v
        share = np.tanh(motor_a / rig.motor.brush_knee_a)
        volts = self.emf_v - motor_a * self.ohm - brush * share
        slope = -self.ohm - brush / rig.motor.brush_knee_a * (1 - share * share)
        diodes = DIODES[rig.rectifier.kind] * rig.rectifier.drop_v
        if diodes:
            through = 1 if rig.bank.diode_each else rig.bank.parallel
            knee = rig.rectifier.knee_a / through
            share = np.tanh(motor_a / knee)
            volts = volts - diodes * share
            slope = slope - diodes / knee * (1 - share * share)
        return volts, slope

    def at(self, motor_a: Floats) -> At:
        volts, slope = self.node(motor_a)
        parallel = self.rig.bank.parallel
        bled = 1 / self.rig.bus.bleed_ohm
        in_a, in_slope = parallel * motor_a - bled * volts, parallel - bled * slope
        if self.board_on and supply.draw_w(self.rig.supply):
            board_a, by_v = supply.amps(self.rig.supply, volts)
            in_a, in_slope = in_a - board_a, in_slope - by_v * slope
        ohm = series_ohm(self.rig)
        return At(volts, slope, in_a, in_slope, volts - ohm * in_a, slope - ohm * in_slope)


@dataclass(frozen=True)
class Clamped:
    """The line of a bus held by its clamp; parameter: the current into the converter."""

    rig: Rig
    volts: Floats

    def __getitem__(self, where: NDArray[np.bool_]) -> Clamped:
        return Clamped(self.rig, self.volts[where])

    def zero(self) -> Floats:
        return np.zeros_like(self.volts)

    def most(self) -> Floats:
        return self.volts / max(series_ohm(self.rig), 1e-6)

    def too_little(self, power_w: float) -> Floats:
        return np.minimum(power_w / self.volts, self.most())

    def at(self, in_a: Floats) -> At:
        ohm = series_ohm(self.rig)
        flat, one = np.zeros_like(in_a), np.ones_like(in_a)
        return At(self.volts, flat, in_a, one, self.volts - ohm * in_a, flat - ohm)


def source_line(rig: Rig, pace_emf_v: Floats, winding_c: Floats) -> Line:
    """Line for paces that give the bank pace_emf_v [V], windings at winding_c [degC]."""
    ohm = rig.bank.series * motor.ohm_at(rig.motor, winding_c)
    return Line(rig, pace_emf_v, np.broadcast_to(ohm, pace_emf_v.shape))
