"""The machine in time: one rig, turned by an arm, stepped in pure Python floats.

`Machine` serves the virtual board and the tests. The equations, their sources and
what is left out stand in dynamics.md; the steady state is that of `model.point`.
The same calls give the same bits: nothing here depends on the clock, on chance or
on the order of a dictionary.
"""

from __future__ import annotations

from dataclasses import replace
from math import inf

from steadyturn.model.dynamics_account import Account, State, Sums
from steadyturn.model.dynamics_events import run
from steadyturn.model.dynamics_parts import Parts
from steadyturn.model.dynamics_step import Hand
from steadyturn.rig.types import Rig

STEP_S = 0.002
_WARM_EVERY = 64  # steps between updates of the winding's temperature


class Machine:
    """One rig in time.

    rig: the machine; winding_c: temperature of the windings at the start, degC (None:
    the middle of the rig's cold and hot air); step_s: length of a step, s. locate: what
    happens within a step is located to a microsecond; otherwise it is done at the step's
    ends, as `dynamics_batch` does it.

    `state` is as of the end of the last step. `account` has the joules since the start.
    `energy_in_j`, `charge_in_c` and `volt_seconds_in` are what a perfect sensor would
    have integrated at the converter's input. `peak_out_v` and `peak_bus_v` are the
    highest volts so far at the device's socket and on the bus.
    """

    def __init__(
        self, rig: Rig, *, winding_c: float | None = None, step_s: float = STEP_S,
        locate: bool = True,
    ) -> None:
        if not step_s > 0:
            raise ValueError(f"step_s is {step_s}: it must be above 0")
        self.rig = rig
        self.step_s = step_s
        self.finer = 1  # steps to one of those that were asked for, a power of two
        self.parts = Parts(rig, step_s)
        self.state = State(
            winding_c=self.parts.air_c if winding_c is None else winding_c,
            reservoir_v=0.0 if self.parts.feed_from_bus else rig.supply.reservoir_max_v,
        )
        self.sums = Sums()
        self.peak_out_v = 0.0
        self.peak_bus_v = 0.0
        self.locate = locate
        self.log: list[tuple[float, str]] | None = None  # a list put here gets what happens
        self.event: tuple[str, float] | None = None
        self.plugged = True  # the device's plug is in
        self.joined_before = (False, True)
        self.since_s = inf  # since the last event
        self.steps = 0
        self.motor_before_a = 0.0
        self.soft = 0.0  # how much of the soft start is over, 0 to 1
        self._wound_mark_j = self._rest_mark_j = 0.0
        self._stored_start_j = 0.0
        self._stored_start_j = self.stored_j()
        self.parts.warm(self.state.winding_c)

    # ------------------------------------------------------------------ accounts

    @property
    def account(self) -> Account:
        return self.sums.account(self.parts, self._stored_start_j, self.stored_j())

    @property
    def energy_in_j(self) -> float:
        return self.sums.in_j

    @property
    def charge_in_c(self) -> float:
        return self.sums.in_c

    @property
    def volt_seconds_in(self) -> float:
        return self.sums.in_v_s

    def stored_j(self) -> float:
        """Energy in what turns and in the capacitors, J."""
        s, p = self.state, self.parts
        twice = p.inertia * s.crank_rad_s**2 + p.bus_f * s.bus_v**2 + p.out_f * s.converter_v**2
        twice += p.henry * s.motor_a**2
        if p.feed_from_bus:
            twice += p.reservoir_f * s.reservoir_v**2
        return twice / 2

    def take_over(self, other: Machine) -> None:
        """Go on from the state of `other`, at time 0 and with accounts of its own."""
        self.state = replace(other.state, time_s=0.0)
        self.soft, self.plugged = other.soft, other.plugged
        self.motor_before_a = other.state.motor_a
        self.parts.warm(self.state.winding_c)
        self._stored_start_j = self.stored_j()

    def _warm(self) -> None:
        """Bring the winding's temperature up to date and what depends on it."""
        wound, rest = self.sums.copper, self.sums.motors_rest(self.parts)
        self.state.winding_c = self.parts.warmer(
            self.state.winding_c, wound - self._wound_mark_j, rest - self._rest_mark_j,
            _WARM_EVERY * self.finer * self.step_s,
        )
        self._wound_mark_j, self._rest_mark_j = wound, rest
        self.parts.warm(self.state.winding_c)

    # ---------------------------------------------------------------------- time

    def advance(
        self,
        until_s: float,
        arm: Hand,
        connected: bool,
        board_on: bool,
        host_power: bool = False,
        finer: int = 1,
    ) -> None:
        """Step until `until_s`, rounded to whole steps, so that time never drifts.

        connected: the firmware holds the load switch; board_on: the board draws its
        power; host_power: a USB host feeds the board and keeps its reservoir full. finer: a
        power of two; so many steps take the place of one, until a call without and the end of
        a whole one.
        """
        how = arm, connected, board_on, host_power
        if finer < self.finer:
            over = -self.steps % (self.finer // finer)
            self._to(min(self.steps + over, int(until_s / self.step_s + 0.5)), how)
            if self.steps % (self.finer // finer) == 0:
                self._divide(finer)
        elif finer > self.finer:
            self._divide(finer)
        self._to(int(until_s / self.step_s + 0.5), how)

    def _to(self, end: int, how: tuple[Hand, bool, bool, bool]) -> None:
        every = _WARM_EVERY * self.finer
        while self.steps < end:
            if self.steps % every == 0 and self.steps:
                self._warm()
            run(self, min(end, self.steps - self.steps % every + every), *how)

    def _divide(self, finer: int) -> None:
        """Time stays: powers of two divide a step without rounding."""
        whole_s = self.step_s * self.finer
        self.steps = self.steps * finer // self.finer
        self.finer, self.step_s = finer, whole_s / finer
        self.parts.step_s = self.step_s
        self.parts.whole = self.parts.cut_of(self.step_s)
