"""A hand that is tapped: each tap of a key takes the handle on by a turn, or half or two.

The pace that is intended follows from the times between taps and fades once they stop; the arm
that turns the handle is that of model.hand, T = T0 (1 + ripple) - b (w - w_intended), with the
rig's strength and droop, so a load is felt: the pace sags until T0 has leant in, and stays low
where the arm has no more to give. Nobody tires.
"""

from __future__ import annotations

from collections import deque
from math import inf

from steadyturn_fw.patterns import beat_ms

from steadyturn.model.hand import EASE_OFF, THINK_S, lean_nm, pull_nm
from steadyturn.rig.types import RPM, Rig

# Assumptions, tried at a keyboard; none of them is from a study.
REPEAT_S = 0.12  # keys that come closer are a held key's own repeats: 25-33 ms apart on most
# systems, 0.1 s on slow ones; a finger taps up to some 7 times a second
MEAN_OF = 3  # the last intervals; a finger keeps time within some percent
FIRST_S = 1.2  # what the first tap is taken to begin, before an interval is known
LATE = 1.25  # a tap that is later than this share of the interval lets the pace fade
LETS_GO = 3.0  # intervals without a tap; then the hand is off the handle,
LETS_GO_S = (1.0, 4.0)  # at least and at most so long after the last
TURNS = (0.5, 1.0, 2.0)  # a tap


def turns_on_the_beat(target_tpm: float) -> float:
    """Turns a tap, so that tapping with the flashes of `faster` makes the target pace.

    >>> turns_on_the_beat(69.3), turns_on_the_beat(45.0), turns_on_the_beat(120.0)
    (1.0, 0.5, 2.0)
    """
    turns = beat_ms(round(10 * target_tpm)) * target_tpm / 60_000
    return min(TURNS, key=lambda one: abs(one - turns))


class TapHand:
    """Turns the handle of `rig` by taps; `turns` a tap.

    `tap` is called by another thread than the rest. `lights` has every change of the lamp
    since it was last emptied, as (s of virtual time, 0 to 1); `tapped_tpm` the pace of the taps,
    0 without; `effort_nm` what the arm pulls now, its mean over a turn.
    """

    def __init__(self, rig: Rig, turns: float = 1.0) -> None:
        self.turns = turns
        self.most_nm = rig.arm.force_n * rig.crank.radius_m
        self.tapped_tpm = 0.0
        self.effort_nm = 0.0
        self.taps = 0
        self.lights: deque[tuple[float, float]] = deque(maxlen=256)
        self._droop, self._ripple = rig.arm.droop_nm_s, rig.arm.ripple
        self._waiting: deque[float] = deque()  # s between a tap and the one before it
        self._key_s = -inf
        self._intervals: deque[float] = deque(maxlen=MEAN_OF)
        self._tap_s: float | None = None  # the last, in virtual time; None: hands off
        self._next = -inf
        self._t0_nm = self._intended = 0.0

    def tap(self, real_s: float) -> bool:
        """A key was pressed at real_s of any steady clock; False: a held key's repeat."""
        interval = real_s - self._key_s
        self._key_s = real_s
        if interval < REPEAT_S:
            return False
        self.taps += 1
        self._waiting.append(interval)
        return True

    def see(self, t_s: float, light: float) -> None:
        self.lights.append((t_s, light))

    def torque_nm(self, t_s: float, theta_rad: float, crank_rad_s: float) -> float:
        """Torque on the handle [N m]; crank_rad_s: its speed [rad/s]."""
        if t_s >= self._next:
            self._think(t_s, crank_rad_s)
        if self._tap_s is None:
            return 0.0
        return pull_nm(self._t0_nm, self._ripple, self._droop, 2.0 * theta_rad,
                       crank_rad_s - self._intended * RPM, self.most_nm)

    def _think(self, t_s: float, crank_rad_s: float) -> None:
        self._next = t_s + THINK_S
        while self._waiting:
            interval = self._waiting.popleft()
            if self._tap_s is None or interval > self._patience():
                self._intervals.clear()
            else:
                self._intervals.append(interval)
            self._tap_s = t_s
        if self._tap_s is not None and t_s - self._tap_s > self._patience():
            self._tap_s = None
        if self._tap_s is None:
            self._intervals.clear()
            self.tapped_tpm = self.effort_nm = self._t0_nm = self._intended = 0.0
            return
        interval = max(self._interval(), (t_s - self._tap_s) / LATE)
        self.tapped_tpm = 60.0 * self.turns / interval
        way, most = self.tapped_tpm - self._intended, EASE_OFF * THINK_S
        self._intended += min(max(way, -most), most)
        over = crank_rad_s - self._intended * RPM
        self._t0_nm = lean_nm(self._t0_nm, self._droop, over, THINK_S, self.most_nm)
        self.effort_nm = pull_nm(self._t0_nm, 0.0, self._droop, 0.0, over, self.most_nm)

    def _interval(self) -> float:
        intervals = self._intervals
        return sum(intervals) / len(intervals) if intervals else FIRST_S

    def _patience(self) -> float:
        least, most = LETS_GO_S
        return min(max(LETS_GO * self._interval(), least), most)
