"""The two states of a rig at each pace: idle, and with the converter running."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from steadyturn.model import converter, gears, motor, supply
from steadyturn.model.line import Clamped, source_line
from steadyturn.model.solve import first_root
from steadyturn.model.states import Output, Running, run
from steadyturn.rig.types import RPM, Rig

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]


class Pair:
    """pace [turns/min] and winding_c [degC]: 1-D arrays of one length.

    idle_a: current of one motor when only the board hangs on the bus [A]; idle_v:
    the bus node then [V]; board_on: whether the board lives on it. found: the
    running converter, or None where the released load lets nothing flow; held:
    points where the bus clamp holds the node, with held_a into the converter.
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
        self._idle()
        place = rig.switch.place
        flows = connected or place == "output_switch" or (
            place == "enable" and converter.passes_when_off(rig.converter))
        self.output = Output(
            rig, connected=connected or place != "output_switch",
            enabled=connected or place != "enable")
        self.found = self._run() if flows else None

    def _idle(self) -> None:
        rig, line = self.rig, self.line
        x, there = first_root(lambda x: line.at(x)[2:4], line.zero(), line.most())
        lives = there & (line.node(x)[0] - rig.supply.drop_v >= rig.supply.off_v)
        self.board_on = lives if supply.draw_w(rig.supply) else np.ones_like(lives)
        self.start_a = np.where(there, x, 0.0)
        self.idle_a = np.where(lives, x, 0.0)
        volts = line.node(self.idle_a)[0]
        clamp = rig.protection.bus_clamp_v
        if clamp is not None:
            self.idle_held = volts > clamp
            self.idle_a = np.where(self.idle_held, self._at_clamp(clamp), self.idle_a)
            volts = np.minimum(volts, clamp)
        self.idle_v = volts

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
        found = run(self.line, self.output, self.start_a)
        clamp = self.rig.protection.bus_clamp_v
        if clamp is not None:
            held = found.there & (self.line.node(found.x)[0] > clamp)
            if held.any():
                flat = run(Clamped(self.rig, np.array([clamp])), self.output, np.zeros(1))
                self.held = held
                self.held_a = np.where(held, flat.x[0], 0.0)
                found.x = np.where(held, self._at_clamp(clamp), found.x)
                found.regime = np.where(held, flat.regime[0], found.regime)
                found.out_v = np.where(held, flat.out_v[0], found.out_v)
                found.out_a = np.where(held, flat.out_a[0], found.out_a)
                found.there = np.where(held, flat.there[0], found.there)
        return found
