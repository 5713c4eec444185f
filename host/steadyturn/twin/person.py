"""The virtual person: turns the handle, sees nothing but the lamp, and tires.

A hand is T = T0 - b * (w - w_intended), with a ripple twice a turn: the arm pulls
harder than it pushes. T0 follows slowly, as one leans in until the pace is right. It
never drives the handle backwards (model.hand has the pull). What is not in the rig's
`arm` is an assumption and stands below or there; none of it has been measured.
"""

from __future__ import annotations

import random
from collections.abc import Callable, Sequence
from math import pi, sqrt

from steadyturn.model.hand import EASE_OFF, THINK_S, Servo, lean_nm, pull_nm
from steadyturn.rig.types import RPM, Rig
from steadyturn.twin.listener import watcher

# Assumptions. Paces in turns a minute.
SPEED_UP = 9.0  # a second: how fast one speeds up when told to
SLOW_DOWN = 6.0  # a second: an arm slows down more gently than it speeds up
SET_OUT = 0.6  # share of the own cadence that one starts with
SCATTER = 0.025  # standard deviation of the cadence, share
SCATTER_S = 2.5  # how long one deviation lasts
DRIFT = 0.10  # slow drift of the cadence of somebody who heeds no lamp, share
DRIFT_S = 40.0
TIRE_S = 1500.0  # at the arm's rated power the strength has fallen by TIRED after this
TIRED = 0.35
RECOVER_S = 400.0  # and half of what was lost is back after a rest of some five minutes
PATIENCE_S = 3.0  # keeping the beat, and still told to go faster
WALK = 1.25  # share of the comfortable cadence that is never exceeded for long

Intention = float | str
Plan = Sequence[tuple[float, Intention]]


class Person:
    """Somebody at the handle of `rig`; the same seed gives the same person.

    heeds_lamp: does what the lamp says; otherwise keeps an own habit, habit_tpm
    (None: the middle of the rig's comfortable cadence), with a slow drift.
    plan: (t_s, intention) in order of time; an intention is a pace in turns/min that is
    kept whatever the lamp says, "follow" (the lamp, or the habit), "rest" or "stop"
    (lets go), or "brake" (holds the handle back until it stands). Without a plan it
    follows from the start.
    meter, window_v, glance_s: volts of a multimeter that somebody without a lamp
    reads every glance_s seconds, and what they try to keep them within.
    """

    def __init__(
        self,
        rig: Rig,
        seed: int,
        heeds_lamp: bool = True,
        habit_tpm: float | None = None,
        plan: Plan | None = None,
        *,
        meter: Callable[[], float] | None = None,
        window_v: tuple[float, float] = (0.0, 0.0),
        glance_s: float = 4.0,
    ) -> None:
        arm = rig.arm
        self.watcher = watcher(rig.board.lamp)
        self.heeds_lamp = heeds_lamp
        middle = (arm.comfort_low_tpm + arm.comfort_high_tpm) / 2
        self.habit_tpm = middle if habit_tpm is None else habit_tpm
        self.most_tpm = WALK * max(arm.comfort_high_tpm, self.habit_tpm)
        self.plan = tuple(plan) if plan else ((0.0, "follow"),)
        self.meter, self.window_v, self.glance_s = meter, window_v, glance_s
        self._start_tpm = SET_OUT * self.habit_tpm
        self.intended_tpm = 0.0
        self.tiredness = 0.0  # 0 fresh, 1 spent by TIRED
        self._random = random.Random(seed)
        self._arm = arm
        self._full_nm = arm.force_n * rig.crank.radius_m
        self._droop = arm.droop_nm_s
        self._ripple = arm.ripple
        self._phase = self._random.uniform(0.0, 2 * pi)
        self._doing: Intention = "stop"
        self._next_plan = 0
        self._next = 0.0
        self._glance_at = 0.0
        self._cues: list[tuple[float, str]] = []  # when a cue was understood
        self._cue = "dark"
        self._scatter = self._drift = 0.0
        self._in_step_s = 0.0  # how long one has kept the beat while it goes on
        self._pace = 0.0  # as felt over a few turns
        # what torque_nm needs
        self._t0 = 0.0
        self._want = 0.0  # rad/s
        self._most_nm = 0.0
        self._brakes = False

    def see(self, t_s: float, light: float) -> None:
        """The lamp changed to `light` (0 to 1) at `t_s`."""
        self.watcher.see(t_s, light)

    def torque_nm(self, t_s: float, theta_rad: float, crank_rad_s: float) -> float:
        """Torque on the handle [N m]; below zero only for somebody who brakes."""
        if t_s >= self._next:
            self._think(t_s, crank_rad_s)
        most = self._most_nm
        if most == 0.0:
            return 0.0
        if self._brakes:
            return -most if crank_rad_s > 0.05 else 0.0
        return pull_nm(self._t0, self._ripple, self._droop, 2.0 * theta_rad + self._phase,
                       crank_rad_s - self._want, most)

    # ---------------------------------------------------------------- ten times a second

    def _think(self, t_s: float, crank_rad_s: float) -> None:
        dt = THINK_S
        self._next = t_s + dt
        pace = crank_rad_s / RPM
        self._pace += (pace - self._pace) * dt / 0.5
        while self._next_plan < len(self.plan) and self.plan[self._next_plan][0] <= t_s:
            self._doing = self.plan[self._next_plan][1]
            self._next_plan += 1
        self._understand(t_s)
        self._tire(dt, crank_rad_s)
        lets_go = self._doing in ("rest", "stop", "brake")
        self._brakes = self._doing == "brake"
        strong = 1.0 - TIRED * self.tiredness
        if lets_go:
            self.intended_tpm = 0.0
            self._t0 = self._want = 0.0
            self._most_nm = self._full_nm * strong if self._brakes else 0.0
            return
        self._most_nm = self._full_nm * strong
        self._intend(dt, t_s)
        self._wander(dt)
        self._want = self.intended_tpm * (1.0 + self._scatter) * RPM
        self._t0 = lean_nm(self._t0, self._droop, crank_rad_s - self._want, dt, self._most_nm)

    def _understand(self, t_s: float) -> None:
        """What the lamp says reaches the hand after the reaction time."""
        cue = self.watcher.cue(t_s)
        if not self._cues or self._cues[-1][1] != cue:
            self._cues.append((t_s + self._arm.reaction_s, cue))
        while self._cues and self._cues[0][0] <= t_s:
            cue = self._cues[0][1]
            if cue == "hold" and self._cue != "hold":
                self.intended_tpm = self._pace  # as it is now, so it stays
                self._start_tpm = 0.9 * self._pace  # and is remembered over a rest
            self._cue = cue
            if len(self._cues) == 1:
                break
            self._cues.pop(0)

    def _intend(self, dt: float, t_s: float) -> None:
        if not isinstance(self._doing, str):
            self._towards(float(self._doing), EASE_OFF * dt)
        elif not self.heeds_lamp:
            self._keep_habit(dt, t_s)
        elif self._cue in ("rest", "dark", "faster"):
            self._towards(self._faster_goal(dt), SPEED_UP * dt)
            if self.intended_tpm < self._start_tpm:
                self._towards(self._start_tpm, EASE_OFF * dt)
        elif self._cue == "slower":
            self._towards(0.0, SLOW_DOWN * dt)
        elif self._cue == "stop":
            self._towards(0.3 * self.habit_tpm, EASE_OFF * dt)

    def _faster_goal(self, dt: float) -> float:
        """The flash beats the pace. One falls in with a turn to a flash, or with two where
        one is faster already, and goes beyond that when it still says faster."""
        beat = self.watcher.beat_s
        if self._cue != "faster" or not beat:
            return self.most_tpm
        goals = [share * 60.0 / beat for share in (1.0, 2.0)]
        ahead = [goal for goal in goals if goal > 0.85 * self._pace]
        if not ahead:
            return self.most_tpm
        self._in_step_s = self._in_step_s + dt if self._pace > 0.95 * ahead[0] else 0.0
        goal = ahead[0] if self._in_step_s < PATIENCE_S else 2 * ahead[0]
        return min(goal, self.most_tpm)

    def _keep_habit(self, dt: float, t_s: float) -> None:
        if self.meter is not None and t_s >= self._glance_at:
            self._glance_at = t_s + self.glance_s
            volts = self.meter()
            low, high = self.window_v
            if volts < low:
                self.habit_tpm *= 1.1
            elif volts > high:
                self.habit_tpm *= 0.93
            self.habit_tpm = min(self.habit_tpm, self.most_tpm)
        self._towards(self.habit_tpm * (1.0 + self._drift), EASE_OFF * dt)

    def _towards(self, goal: float, most: float) -> None:
        way = goal - self.intended_tpm
        self.intended_tpm += min(max(way, -most), most)

    def _wander(self, dt: float) -> None:
        """Ornstein-Uhlenbeck: deviations that come and go."""
        gauss = self._random.gauss
        self._scatter += -self._scatter * dt / SCATTER_S + SCATTER * sqrt(
            2 * dt / SCATTER_S) * gauss(0.0, 1.0)
        self._drift += -self._drift * dt / DRIFT_S + DRIFT * sqrt(2 * dt / DRIFT_S) * gauss(
            0.0, 1.0)

    def _tire(self, dt: float, crank_rad_s: float) -> None:
        power = max(self._t0, 0.0) * crank_rad_s / self._arm.power_w
        self.tiredness += dt * (power / TIRE_S * (1 - self.tiredness)
                                - self.tiredness / RECOVER_S * max(0.0, 1 - 2 * power))
        self.tiredness = min(max(self.tiredness, 0.0), 1.0)


class Steady(Servo):
    """A servo in place of a person, for tests: holds pace_tpm, heeds nothing."""

    def see(self, t_s: float, light: float) -> None:
        """A servo sees no lamp."""


class Idle:
    """Nobody at the handle."""

    def see(self, t_s: float, light: float) -> None:
        """Nobody sees it."""

    def torque_nm(self, t_s: float, theta_rad: float, crank_rad_s: float) -> float:
        return 0.0
