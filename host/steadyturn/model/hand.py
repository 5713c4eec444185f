"""Hands that turn the handle: one like an arm, and a servo. Equations in traces.md.

An arm pulls T = T0 (1 + ripple sin 2 theta) - b (w - w_intended): T0 follows slowly, as
one leans in until the pace is right. The virtual board's person pulls by the same
functions. What is not in the rig's `arm` is an assumption and stands here.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import inf, sin

from steadyturn.rig.types import RPM, Rig

# Assumptions; none of them has been measured.
THINK_S = 0.1  # how often intention and effort are looked at
LEAN_S = 0.7  # time in which T0 follows
EASE_OFF = 40.0  # turns/min a second: to set out or change to another pace at will

Move = tuple[float, float | None]


def pull_nm(t0_nm: float, ripple: float, droop_nm_s: float, angle_rad: float, over_rad_s: float,
            most_nm: float) -> float:
    """Torque [N m] of an arm whose handle goes over_rad_s [rad/s] faster than intended.

    t0_nm: its mean effort; angle_rad: twice the handle's angle, with the arm's phase. It
    never pulls backwards and never more than most_nm.

    >>> round(pull_nm(1.0, 0.25, 0.8, 0.0, 0.5, 4.0), 3)
    0.6
    >>> pull_nm(1.0, 0.25, 0.8, 0.0, 5.0, 4.0)
    0.0
    """
    push = t0_nm * (1.0 + ripple * sin(angle_rad))
    push -= droop_nm_s * over_rad_s
    if push > most_nm:
        return most_nm
    return push if push > 0.0 else 0.0


def lean_nm(t0_nm: float, droop_nm_s: float, over_rad_s: float, dt_s: float,
            most_nm: float) -> float:
    """Mean effort [N m] dt_s later: more of it while the handle is too slow.

    >>> round(lean_nm(1.0, 0.7, -1.0, 0.1, 4.0), 3)
    1.1
    """
    lean = t0_nm - droop_nm_s * over_rad_s * dt_s / LEAN_S
    return min(max(lean, 0.0), most_nm)


class ArmHand:
    """An arm of `rig` that goes through `moves`: (t_s, pace in turns/min; None: lets go).

    The first move is its own will; the later ones reach it the arm's reaction time after
    t_s. effort_nm: the mean effort it begins with, when it takes over a handle that turns
    at `from_tpm` already.
    """

    def __init__(self, rig: Rig, moves: Sequence[Move], *, effort_nm: float = 0.0,
                 from_tpm: float = 0.0) -> None:
        arm = rig.arm
        self._most_nm = arm.force_n * rig.crank.radius_m
        self._droop, self._ripple = arm.droop_nm_s, arm.ripple
        self._moves = [(t if n == 0 else t + arm.reaction_s, goal)
                       for n, (t, goal) in enumerate(moves)]
        self._next_move, self._next = 0, -inf
        self._goal: float | None = None
        self.t0_nm = effort_nm
        self.intended_tpm = from_tpm

    def torque_nm(self, t_s: float, theta_rad: float, crank_rad_s: float) -> float:
        """Torque on the handle [N m] at t_s [s], theta_rad [rad], crank_rad_s [rad/s]."""
        if t_s >= self._next:
            self._think(t_s, crank_rad_s)
        if self._goal is None:
            return 0.0
        return pull_nm(self.t0_nm, self._ripple, self._droop, 2.0 * theta_rad,
                       crank_rad_s - self.intended_tpm * RPM, self._most_nm)

    def _think(self, t_s: float, crank_rad_s: float) -> None:
        self._next = t_s + THINK_S
        while self._next_move < len(self._moves) and self._moves[self._next_move][0] <= t_s:
            self._goal = self._moves[self._next_move][1]
            self._next_move += 1
        if self._goal is None:
            self.t0_nm = self.intended_tpm = 0.0
            return
        way, most = self._goal - self.intended_tpm, EASE_OFF * THINK_S
        self.intended_tpm += min(max(way, -most), most)
        self.t0_nm = lean_nm(self.t0_nm, self._droop, crank_rad_s - self.intended_tpm * RPM,
                             THINK_S, self._most_nm)


class Servo:
    """A servo: holds pace_tpm stiffly and never turns the handle backwards.

    >>> Servo(60.0).torque_nm(0.0, 0.0, 60 * RPM)
    0.0
    """

    def __init__(self, pace_tpm: float, *, stiff_nm_s: float = 20.0, most_nm: float = 30.0):
        self.pace_tpm = pace_tpm
        self.stiff_nm_s = stiff_nm_s
        self.most_nm = most_nm

    def torque_nm(self, t_s: float, theta_rad: float, crank_rad_s: float) -> float:
        """Torque on the handle [N m]; crank_rad_s: its speed [rad/s]."""
        push = self.stiff_nm_s * (self.pace_tpm * RPM - crank_rad_s)
        if push > self.most_nm:
            return self.most_nm
        return push if push > 0.0 else 0.0


class ServoHand:
    """A servo that goes through `moves` at once: (t_s, pace in turns/min; None: lets go)."""

    def __init__(self, moves: Sequence[Move]) -> None:
        self._moves = [(t, None if goal is None else Servo(goal)) for t, goal in moves]
        self._next_move = 0
        self._servo: Servo | None = None

    def torque_nm(self, t_s: float, theta_rad: float, crank_rad_s: float) -> float:
        """Torque on the handle [N m]."""
        while self._next_move < len(self._moves) and self._moves[self._next_move][0] <= t_s:
            self._servo = self._moves[self._next_move][1]
            self._next_move += 1
        return 0.0 if self._servo is None else self._servo.torque_nm(
            t_s, theta_rad, crank_rad_s)
