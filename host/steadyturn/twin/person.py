"""The virtual person: turns the handle, sees nothing but the lamp, and tires.

A hand is T = T0 - b * (w - w_intended), with a ripple twice a turn: the arm pulls
harder than it pushes. T0 follows slowly, as one leans in until the pace is right. It
never drives the handle backwards (model.hand has the pull). What differs from one to the
next stands in people.py; what is the same for all is an assumption and stands below or in
model.hand. None of it has been measured.
"""

from __future__ import annotations

import random
from collections.abc import Callable, Sequence
from math import pi, sqrt

from steadyturn.model.hand import EASE_OFF, THINK_S, Servo, lean_nm, pull_nm
from steadyturn.rig.types import RPM, Rig
from steadyturn.twin.listener import watcher
from steadyturn.twin.people import DRIFT_S, Traits, typical

# Assumptions. Paces in turns a minute.
SET_OUT = 0.6  # share of the own cadence that one starts with
REACTS = 0.15  # scatter of one's reaction time, share
TIRE_S = 1500.0  # at the arm's rated power the strength has fallen by TIRED after this
TIRED = 0.35
RECOVER_S = 400.0  # and half of what was lost is back after a rest of some five minutes
PATIENCE_S = 3.0  # keeping the beat, and still told to go faster
WALK = 1.25  # share of the comfortable cadence that is never exceeded for long
SLOWER_TIRED = 0.10  # share by which the own cadence falls until one is spent
READ_S = 1.0  # to find a multimeter's digits and make sense of them
AT_MOST = 0.15  # share by which one changes the pace after a look at it
HOLD_S = 45.0  # of `Paces`: time for a point or two
JUDGES = 0.03  # and how exactly that is done, standard deviation

Intention = float | str
Plan = Sequence[tuple[float, Intention]]


class Person:
    """Somebody at the handle of `rig`; the same seed gives the same person.

    heeds_lamp: does what the lamp says; otherwise keeps to the own cadence. That is
    habit_tpm (None: of the traits), and who is told nothing drifts back to it and about it:
    without a lamp at any time, with one while it says hold.
    plan: (t_s, intention) in order of time; an intention is a pace in turns/min that is
    kept whatever the lamp says, "follow" (the lamp, or the habit), "beat" (as for a bench: turns
    `beat_turns` to a flash for as long as it flashes, else does what the lamp says), "rest" or
    "stop" (lets go), or "brake" (holds the handle back until it stands). Without a plan it
    follows from the start.
    meter, window_v, glance_s: volts of a multimeter that somebody without a lamp reads every
    glance_s seconds (None: of the traits). Outside the window they change their pace by the
    share by which the volts are off its middle.
    traits: what this person is like (None: the rig's arm, and the middle of all people).
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
        glance_s: float | None = None,
        traits: Traits | None = None,
    ) -> None:
        arm = rig.arm
        self.traits = typical(arm) if traits is None else traits
        self.watcher = watcher(rig.board.lamp)
        self.heeds_lamp = heeds_lamp
        self.habit_tpm = self.traits.own_tpm if habit_tpm is None else habit_tpm
        self.most_tpm = WALK * max(arm.comfort_high_tpm, self.habit_tpm)
        self.plan = tuple(plan) if plan else ((0.0, "follow"),)
        self.meter, self.window_v = meter, window_v
        self.glance_s = self.traits.glance_s if glance_s is None else glance_s
        self.beat_turns = 1.0  # to a flash, as somebody with a bench in mind was told
        self._start_tpm = SET_OUT * self.habit_tpm
        self.intended_tpm = 0.0
        self.tiredness = self.traits.tiredness  # 0 fresh, 1 spent by TIRED
        self._random = random.Random(seed)
        self._arm = arm
        self._full_nm = self.traits.force_n * rig.crank.radius_m
        self._droop = self.traits.droop_nm_s
        self._ripple = self.traits.ripple
        self._phase = self._random.uniform(0.0, 2 * pi)
        self._doing: Intention = "stop"
        self._next_plan = 0
        self._next = 0.0
        self._glance_at = self.glance_s
        self._read: tuple[float, float] | None = None  # when a look at the meter is understood
        self._goal_tpm: float | None = None  # of somebody who heeds no lamp
        self._cues: list[tuple[float, str]] = []  # when a cue was understood
        self._cue = "dark"
        self._scatter = 0.0
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
            takes_s = self.traits.reaction_s * self._random.gauss(1.0, REACTS)
            last_s = self._cues[-1][0] if self._cues else 0.0
            self._cues.append((max(t_s + takes_s, last_s), cue))
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
        elif self._doing == "beat" and self._cue == "faster" and self.watcher.beat_s:
            off = 1.0 + self.traits.beat_error
            goal = off * 60.0 * self.beat_turns / self.watcher.beat_s
            self._towards(goal, self.traits.speed_up * dt)
        elif not self.heeds_lamp:
            self._keep_habit(dt, t_s)
        elif self._cue == "hold":
            self.intended_tpm = self._drifted(self.intended_tpm, dt)
        elif self._cue in ("rest", "dark", "faster"):
            self._towards(self._faster_goal(dt), self.traits.speed_up * dt)
            if self.intended_tpm < self._start_tpm:
                self._towards(self._start_tpm, EASE_OFF * dt)
        elif self._cue == "slower":
            self._towards(0.0, self.traits.slow_down * dt)
        elif self._cue == "stop":
            self._towards(0.3 * self.habit_tpm, EASE_OFF * dt)

    def _faster_goal(self, dt: float) -> float:
        """The flash beats the pace. One falls in with a turn to a flash, or with two where
        one is faster already, and goes beyond that when it still says faster."""
        beat = self.watcher.beat_s
        if self._cue != "faster" or not beat or not self.traits.keeps_beat:
            return self.most_tpm
        off = 1.0 + self.traits.beat_error
        goals = [share * off * 60.0 / beat for share in (1.0, 2.0)]
        ahead = [goal for goal in goals if goal > 0.85 * self._pace]
        if not ahead:
            return self.most_tpm
        self._in_step_s = self._in_step_s + dt if self._pace > 0.95 * ahead[0] else 0.0
        goal = ahead[0] if self._in_step_s < PATIENCE_S else 2 * ahead[0]
        return min(goal, self.most_tpm)

    def _keep_habit(self, dt: float, t_s: float) -> None:
        goal = self.habit_tpm if self._goal_tpm is None else self._goal_tpm
        goal = self._drifted(goal, dt)
        if self.meter is not None and t_s >= self._glance_at:
            self._glance_at = t_s + self.glance_s
            self._read = (t_s + READ_S, self.meter())
        if self._read is not None and t_s >= self._read[0]:
            goal = self._judged(goal, self._read[1])
            self._read = None
        self._goal_tpm = goal
        self._towards(goal, EASE_OFF * dt)

    def _judged(self, goal: float, volts: float) -> float:
        """What a look at the meter makes of the pace that one keeps to."""
        low, high = self.window_v
        if low <= volts <= high:
            return goal
        share = (low + high) / 2 / max(volts, 0.1)
        share = min(max(share, 1.0 - AT_MOST), 1.0 + AT_MOST)
        goal = max(self._pace, 0.5 * goal) * share * self._random.gauss(1.0, JUDGES)
        return min(goal, self.most_tpm)

    def _drifted(self, tpm: float, dt: float) -> float:
        """A pace that nobody tells: it goes back to the own cadence, and about it."""
        own = self.habit_tpm * (1.0 - SLOWER_TIRED * self.tiredness)
        wander = self.traits.drift * sqrt(2 * dt / DRIFT_S) * self._random.gauss(0.0, 1.0)
        return max(0.0, tpm + (own - tpm) * dt / DRIFT_S + own * wander)

    def _towards(self, goal: float, most: float) -> None:
        way = goal - self.intended_tpm
        self.intended_tpm += min(max(way, -most), most)

    def _wander(self, dt: float) -> None:
        """Ornstein-Uhlenbeck: deviations that come and go."""
        lasts = self.traits.scatter_s
        self._scatter += -self._scatter * dt / lasts + self.traits.scatter * sqrt(
            2 * dt / lasts) * self._random.gauss(0.0, 1.0)

    def _tire(self, dt: float, crank_rad_s: float) -> None:
        power = max(self._t0, 0.0) * crank_rad_s / self._arm.power_w
        self.tiredness += dt * (power / TIRE_S * (1 - self.tiredness)
                                - self.tiredness / RECOVER_S * max(0.0, 1 - 2 * power))
        self.tiredness = min(max(self.tiredness, 0.0), 1.0)


class Steady(Servo):
    """A servo in place of a person, for tests: holds pace_tpm, heeds nothing."""

    def see(self, t_s: float, light: float) -> None:
        """A servo sees no lamp."""


class Paces:
    """A servo that holds each of these paces [turns/min] for hold_s, in turn and over again: what
    steady points of a calibration need."""

    def __init__(self, paces_tpm: Sequence[float], hold_s: float = HOLD_S) -> None:
        self._servos = [Servo(pace) for pace in paces_tpm]
        self.hold_s = hold_s

    def see(self, t_s: float, light: float) -> None:
        """A servo sees no lamp."""

    def torque_nm(self, t_s: float, theta_rad: float, crank_rad_s: float) -> float:
        servo = self._servos[int(t_s / self.hold_s) % len(self._servos)]
        return servo.torque_nm(t_s, theta_rad, crank_rad_s)


class Idle:
    """Nobody at the handle."""

    def see(self, t_s: float, light: float) -> None:
        """Nobody sees it."""

    def torque_nm(self, t_s: float, theta_rad: float, crank_rad_s: float) -> float:
        return 0.0
