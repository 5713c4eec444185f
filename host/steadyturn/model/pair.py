"""The two states of a rig at each pace: idle, and with the converter running."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from steadyturn.model import converter, gears, motor
from steadyturn.model.clamped import Clamped
from steadyturn.model.line import Line, source_line
from steadyturn.model.output import Output
from steadyturn.model.solve import first_root, near_root
from steadyturn.model.states import COLLAPSE, Running, run
from steadyturn.rig.types import RPM, Rig

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]


@dataclass(frozen=True)
class Idle:
    """motor_a: current of one motor [A]; node_v: the bus node [V]; board_on: whether the
    board lives on it; held: where the bus clamp holds the node."""

    motor_a: Floats
    node_v: Floats
    board_on: Flags
    held: Flags


class Pair:
    """pace [turns/min] and winding_c [degC]: 1-D arrays of one length, or one winding_c.

    idle: only bleed and board on the bus. found: the running converter, or None where the
    released load lets nothing flow; held: points where the bus clamp holds the node
    then, with held_a [A] into the converter.
    """

    def __init__(self, rig: Rig, pace: Floats, winding_c: Floats, *,
                 connected: bool = True) -> None:
        self.rig, self.pace = rig, pace
        self.crank_rad_s = pace * RPM
        self.motor_rad_s = self.crank_rad_s * gears.ratio(rig.stages)
        self.k = motor.emf_constant_at(rig.motor, winding_c)
        self.emf_v = rig.bank.series * self.k * self.motor_rad_s
        self.line = source_line(rig, self.emf_v, winding_c)
        self.held = np.zeros(pace.shape, dtype=bool)
        self.held_a = np.zeros(pace.shape)
        place = rig.switch.place
        flows = connected or place == "output_switch" or (
            place == "enable" and converter.passes_when_off(rig.converter))
        self.output = Output(
            rig, connected=connected or place != "output_switch",
            enabled=connected or place != "enable")
        self.found = self._run() if flows else None

    @cached_property
    def idle(self) -> Idle:
        """Only the bleed on the bus, and the board where it can live."""
        rig, line = self.rig, self.line
        lives = np.ones(self.pace.shape, dtype=bool)
        if line.fed:
            lives = line.emf_v - rig.supply.drop_v >= rig.supply.off_v  # at most
        if lives.all():
            motor_a, there, volts = self._unloaded(line)
        else:
            motor_a, volts, there = line.zero(), line.zero(), lives.copy()
            motor_a[lives], there[lives], volts[lives] = self._unloaded(line[lives])
        if line.fed:
            lives = there & (volts - rig.supply.drop_v >= rig.supply.off_v)
            if not lives.all():
                dead = ~lives
                motor_a[dead], _, volts[dead] = self._unloaded(line[dead].without_board())
        clamp = rig.protection.bus_clamp_v
        held = np.zeros(self.pace.shape, dtype=bool)
        if clamp is not None:
            held = volts > clamp
            motor_a = np.where(held, self._at_clamp(clamp), motor_a)
            volts = np.minimum(volts, clamp)
        return Idle(motor_a, volts, lives, held)

    @staticmethod
    def _unloaded(line: Line) -> tuple[Floats, Flags, Floats]:
        """Current of one motor [A] with nothing for the converter, where there is one, and
        the node's volts [V]."""

        def fallen(below_v: Floats) -> tuple[Floats, Floats, None]:
            return *line.fallen(below_v), None

        below_v, there, _, _ = near_root(fallen, line.zero())
        if not there.all():
            rest = ~there
            few = line[rest]
            below_v[rest], there[rest] = first_root(few.fallen, few.zero(), few.emf_v)
        volts = line.emf_v - below_v
        return line.feeding(0.0, volts), there, volts

    def _at_clamp(self, clamp_v: float) -> Floats:
        """Current of one motor [A] with the node held at clamp_v."""
        line = self.line

        def over(x: Floats) -> tuple[Floats, Floats]:
            volts, slope = line.node(x)
            return clamp_v - volts, -slope

        return first_root(over, line.zero(), line.most())[0]

    def _run(self) -> Running:
        # with the load connected the board is taken to be alive: where it is not, the
        # limit `board_fade` of the band says so
        found = run(self.line, self.output)
        clamp = self.rig.protection.bus_clamp_v
        if clamp is not None:
            held = found.there & (self.line.node(found.x)[0] > clamp)
            if held.any():
                flat = run(Clamped(self.rig, np.array([clamp])), self.output)
                self.held = held
                self.held_a = np.where(held, flat.x[0], 0.0)
                found.x = np.where(held, self._at_clamp(clamp), found.x)
                found.regime = np.where(held, flat.regime[0], found.regime)
                found.out_v = np.where(held, flat.out_v[0], found.out_v)
                found.out_a = np.where(held, flat.out_a[0], found.out_a)
                # below the lower root the source cannot feed the converter at the clamp
                given = self.line.at(found.x).in_a
                fed = flat.there[0] & (given >= flat.x[0])
                found.there = np.where(held, fed, found.there)
                found.regime = np.where(held & ~fed, COLLAPSE, found.regime)
        return found
