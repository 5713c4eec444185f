"""The source line: with the current of one motor given, everything is explicit.

From the bank through rectifier, bus node (where bleed and board's supply tap),
sensor shunt and bus switch to the converter's terminals. No roots are sought
here; `states` does that. Equations in point.md.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from steadyturn.model import motor, supply
from steadyturn.model.rectifier import DIODES
from steadyturn.rig.types import Rig

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]


class At(NamedTuple):
    """Node volts, current into the converter, volts at its terminals [V, A, V], each
    with its slope by the line's parameter."""

    node_v: Floats
    node_slope: Floats
    in_a: Floats
    in_slope: Floats
    in_v: Floats
    v_slope: Floats

    def among(self, where: Flags) -> At:
        """The same at the points of `where` only."""
        return self if where.all() else At(*(values[where] for values in self))

    def moved(self, step: Floats) -> At:
        """The volts and current at a parameter smaller by `step`, by the slopes."""
        return At(self.node_v - self.node_slope * step, self.node_slope,
                  self.in_a - self.in_slope * step, self.in_slope,
                  self.in_v - self.v_slope * step, self.v_slope)


def series_ohm(rig: Rig) -> float:
    """Resistance [ohm] between bus node and the converter's terminals.

    >>> from steadyturn.rig.examples import example_path
    >>> from steadyturn.rig.file import read_rig
    >>> hut = read_rig(example_path("lakeside-hut"))
    >>> series_ohm(hut) >= hut.sensor.shunt_ohm
    True
    """
    inline = rig.switch.on_ohm if rig.switch.place == "bus_switch" else 0.0
    return rig.sensor.shunt_ohm + inline


class Wires(NamedTuple):
    """What a rig's line is made of, looked up once: drops of the whole bank and of all
    diodes at full height [V] with the motor currents where they set in [A], conductance
    of the bleed [S], resistance to the converter [ohm]."""

    parallel: int
    brush_v: float
    brush_a: float
    diode_v: float
    diode_a: float
    bleed_s: float
    series_ohm: float

    @classmethod
    def of(cls, rig: Rig) -> Wires:
        through = 1 if rig.bank.diode_each else rig.bank.parallel
        return cls(rig.bank.parallel, rig.bank.series * rig.motor.brush_drop_v,
                   rig.motor.brush_knee_a, DIODES[rig.rectifier.kind] * rig.rectifier.drop_v,
                   rig.rectifier.knee_a / through, 1 / rig.bus.bleed_ohm, series_ohm(rig))


class Line:
    """Parameter: the current of one motor [A]. emf_v: of the whole bank [V]; ohm: of
    one string; both of the same shape. board_on: the board draws from the node."""

    def __init__(self, rig: Rig, emf_v: Floats, ohm: Floats, board_on: bool = True,
                 wires: Wires | None = None) -> None:
        self.rig, self.emf_v, self.ohm, self.board_on = rig, emf_v, ohm, board_on
        self.wires = wires or Wires.of(rig)
        self.fed = board_on and supply.draw_w(rig.supply) > 0

    def __getitem__(self, where: Flags) -> Line:
        return Line(self.rig, self.emf_v[where], self.ohm[where], self.board_on, self.wires)

    def without_board(self) -> Line:
        """The same line with a board that is off."""
        return Line(self.rig, self.emf_v, self.ohm, False, self.wires)

    def zero(self) -> Floats:
        return np.zeros_like(self.emf_v)

    def most(self) -> Floats:
        """A current at which no volts are left."""
        return self.emf_v / self.ohm

    def could_give(self, power_w: float) -> Flags:
        """Where the bare source, without any drop, has power_w to give."""
        return self.emf_v**2 >= (4 * power_w / self.wires.parallel) * self.ohm

    def too_little(self, power_w: float) -> Floats:
        """A current that cannot yet give power_w: the bare source's, without any drop.
        Past the fold of the bare source it is that of the fold."""
        ohm = self.ohm / self.wires.parallel
        under = np.maximum(self.emf_v**2 - 4 * ohm * power_w, 0.0)
        bank_a = 2 * power_w / np.maximum(self.emf_v + np.sqrt(under), 1e-12)
        return np.minimum(bank_a, self.emf_v / (2 * ohm)) / self.wires.parallel

    def near(self, power_w: float, loss_v: float, loss_ohm: float) -> Floats:
        """About the current at which the converter gets power_w + loss_v I + loss_ohm I^2
        with I its own; NaN where there is none. In closed form, exact but for the drops (at
        full height here) and the board; where the drops are small, `too_little`."""
        wires, ohm = self.wires, self.ohm / self.wires.parallel
        emf = self.emf_v - (wires.brush_v + wires.diode_v)
        if self.fed:
            board = self.rig.supply
            emf = emf - ohm * (supply.draw_w(board) / np.maximum(
                0.8 * emf - board.drop_v, board.off_v))
        share = 1 / (1 + ohm * wires.bleed_s)
        emf, ohm = emf * share, ohm * share
        side = emf - loss_v
        under = side * side - (4 * power_w) * (ohm + (wires.series_ohm + loss_ohm))
        root = np.sqrt(np.where((under > 0) & (side > 0), under, np.nan))
        in_a = 2 * power_w / (side + root)
        motor_a = self.feeding(in_a, emf - ohm * in_a)
        if wires.brush_v or wires.diode_v:
            knee = 3 * max(wires.brush_a if wires.brush_v else 0.0,
                           wires.diode_a if wires.diode_v else 0.0)
            if (small := motor_a < knee).any():
                motor_a[small] = self[small].too_little(power_w)
        return motor_a

    def loaded(self, in_a: float) -> Floats:
        """About the node's volts with in_a into the converter: drops at full height."""
        wires = self.wires
        return self.emf_v - (wires.brush_v + wires.diode_v) - self.ohm * (in_a / wires.parallel)

    def spare_v(self, in_a: Floats, in_v: Floats) -> Floats:
        """Volts that the source would have over [V] if in_a [A] went into the converter at
        in_v [V] on its terminals: below zero it cannot. No root is needed for this."""
        node_v = in_v + self.wires.series_ohm * in_a
        motor_a = self.feeding(in_a, node_v)
        brush, diode = self.drops(motor_a)
        return self.emf_v - self.ohm * motor_a - brush - diode - node_v

    def spare_slope(self, in_a: Floats, by_v: Floats, in_v: Floats) -> tuple[Floats, Floats]:
        """`spare_v` and its slope by in_v, with in_a's by_v [A/V]."""
        wires = self.wires
        node_v, node_slope = in_v + wires.series_ohm * in_a, 1 + wires.series_ohm * by_v
        bank_a = in_a + node_v * wires.bleed_s
        bank_slope = by_v + wires.bleed_s * node_slope
        if self.fed:
            board_a, board_by_v = supply.amps(self.rig.supply, node_v)
            bank_a, bank_slope = bank_a + board_a, bank_slope + board_by_v * node_slope
        volts, slope = self.node(bank_a / wires.parallel)
        return volts - node_v, slope * (bank_slope / wires.parallel) - node_slope

    def feeding(self, in_a: Floats | float, node_v: Floats) -> Floats:
        """Current of one motor that gives the converter in_a with the node at node_v."""
        bank_a = in_a + node_v * self.wires.bleed_s
        if self.fed:
            bank_a = bank_a + supply.takes_a(self.rig.supply, node_v)
        return bank_a / self.wires.parallel

    def drops(self, motor_a: Floats) -> tuple[Floats | float, Floats | float]:
        """Drops of the brushes of a string and of the diodes in the path [V]."""
        wires = self.wires
        brush = wires.brush_v * np.tanh(motor_a / wires.brush_a) if wires.brush_v else 0.0
        diode = wires.diode_v * np.tanh(motor_a / wires.diode_a) if wires.diode_v else 0.0
        return brush, diode

    def fallen(self, below_v: Floats) -> tuple[Floats, Floats]:
        """below_v less what the source loses [V], and its slope, with nothing for the converter
        and the node below_v under the bank's EMF: zero where the node can stand so. What
        the node takes is explicit in its volts; in them this is concave, knees or not."""
        wires = self.wires
        node_v = self.emf_v - below_v
        bank_a, by_v = wires.bleed_s * node_v, np.full_like(node_v, wires.bleed_s)
        if self.fed:
            board_a, board_by_v = supply.amps(self.rig.supply, node_v)
            bank_a += board_a
            by_v += board_by_v
        motor_a = bank_a / wires.parallel
        lost, slope = self.ohm * motor_a, -self.ohm
        for full, knee in ((wires.brush_v, wires.brush_a), (wires.diode_v, wires.diode_a)):
            if full:
                share = np.tanh(motor_a * (1 / knee))
                lost += full * share
                slope = slope - (full / knee) * (1 - share * share)
        return below_v - lost, 1 - slope * by_v / wires.parallel

    def node(self, motor_a: Floats) -> tuple[Floats, Floats]:
        """Volts of the bus node and their slope by motor_a."""
        wires = self.wires
        volts = self.emf_v - self.ohm * motor_a
        slope = -self.ohm
        for full, knee in ((wires.brush_v, wires.brush_a), (wires.diode_v, wires.diode_a)):
            if full:
                share = np.tanh(motor_a * (1 / knee))
                volts -= full * share
                share *= share
                share -= 1
                share *= full / knee
                slope = slope + share
        return volts, slope

    def at(self, motor_a: Floats) -> At:
        wires = self.wires
        volts, slope = self.node(motor_a)
        in_a = wires.parallel * motor_a
        in_a -= wires.bleed_s * volts
        in_slope = -wires.bleed_s * slope
        in_slope += wires.parallel
        if self.fed:
            board_a, by_v = supply.amps(self.rig.supply, volts)
            in_a -= board_a
            by_v *= slope
            in_slope -= by_v
        ohm = wires.series_ohm
        return At(volts, slope, in_a, in_slope, volts - ohm * in_a, slope - ohm * in_slope)


def source_line(rig: Rig, pace_emf_v: Floats, winding_c: Floats) -> Line:
    """Line for paces that give the bank pace_emf_v [V], windings at winding_c [degC].

    >>> from steadyturn.rig.examples import example_path
    >>> from steadyturn.rig.file import read_rig
    >>> hut = read_rig(example_path("lakeside-hut"))
    >>> line = source_line(hut, np.array([10.0]), np.array([20.0]))
    >>> at = line.at(np.array([0.3]))
    >>> bool(at.in_v[0] < at.node_v[0] < 10.0), bool(at.v_slope[0] < 0)
    (True, True)
    """
    ohm = rig.bank.series * motor.ohm_at(rig.motor, winding_c)
    return Line(rig, pace_emf_v, np.broadcast_to(ohm, pace_emf_v.shape))
