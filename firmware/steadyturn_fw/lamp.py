"""The lamp: which pattern is shown, and for how long each step of it.

The patterns stand in patterns.py. None flashes more than three times in a second: what
they keep among themselves, the lamp also counts across changes from one to another.
"""

from steadyturn_fw.ahead import Ahead
from steadyturn_fw.pages import CUES, FAULT, HOLD, STOP
from steadyturn_fw.patterns import (
    BEAT,
    COLUMN,
    COUNT_LEAD,
    FLASH,
    GAP,
    HUES,
    LEAD,
    NONE,
    ONE,
    PARADE,
    PATTERNS,
    PAUSE,
    PERCENT,
    TEN,
    VIBRATION_MS,
    beat_ms,
)

assert [row[0] for row in PATTERNS[:5]] == list(CUES[:5])

MARK_MS = 10000  # a fault that lets the machine go on is shown this often
STORED_ROUNDS = 2  # how often a fault of the last boot is shown before the first cue
RISES = 3  # in any second
MOST_WINKS = 3
MOST_TENS = 99
DAY_MS = 100000000  # a little more: so long the times of this file are let grow


class Lamp:
    def __init__(self, light, kind, target_dtpm):
        """light: of lights.py; kind: which column of the patterns it shows."""
        column = COLUMN[kind]
        self.patterns = tuple([row[column] for row in PATTERNS])  # type: tuple
        self.beat = beat_ms(target_dtpm)
        self.ahead = Ahead(light, self) if hasattr(light, "play") else None  # type: Ahead | None
        # bound once: taking a method as a value allocates
        if self.ahead is None:
            self.show = light.show
        self.behind_ms = 0  # of a stall, what the loop does not count
        self.late_ms = 0  # how long ago the step began, below nothing
        self.most_ms = VIBRATION_MS if kind == "vibration" else 0
        self.on_ms = 0  # how long it has been on: kept for what may not be for long
        self.hue = 0
        self.level = 0
        self.cue = 0
        self.playing = 0  # row of PATTERNS
        self.step = 0
        self.left_ms = 0
        self.gone_ms = 0  # since the pattern began: for the beat
        self.winks = 0
        self.fault = 0  # standing now
        self.stored = 0  # of the last boot
        self.rounds = 0
        self.flashes = 0  # still to come in the count being shown
        self.mark_at_ms = 0  # when a standing fault is shown again
        self.stale = True  # level and hue are to be worked out
        self.asked = False  # what the button asked for is being shown
        self.tens = 0  # of a count, still to come
        self.ones = 0
        self.parade = -1  # place in PARADE
        self.parade_ms = 0  # and how long it is still shown, 0: no parade
        self.now_ms = 0
        self.rise_ms = [-1000] * RISES
        self.next_rise = 0
        self._start(0)

    def repeats(self):
        """Does the pattern that is played follow itself, for all that is known now?"""
        cue = self.cue
        if self.playing != cue or cue >= LEAD or self.asked:
            return False
        return cue == STOP or not ((cue == HOLD and self.winks) or self.fault)

    def show_stored(self, fault):
        """A fault that ended in darkness: shown before any cue."""
        self.stored = fault
        self.rounds = STORED_ROUNDS
        self.flashes = fault
        self._start(LEAD)

    def set_beat(self, target_dtpm):
        """For another pace than the rig's."""
        self.beat = beat_ms(target_dtpm)
        self._unforeseen()

    def wink(self):
        self.winks = min(self.winks + 1, MOST_WINKS)

    def count(self, number):
        """The button asks how many percents there are."""
        if self.stored or self.cue == STOP:
            return  # a fault that ended in darkness is shown first
        self._cease()
        self.asked = True
        self.tens = min(number // 10, MOST_TENS)
        self.ones = number % 10
        self._start(COUNT_LEAD)

    def show_all(self):
        """The button asks what there is: each pattern for a while."""
        if self.stored or self.cue == STOP:
            return
        self._cease()
        self.asked = True
        self._start(GAP)
        self.parade_ms = 1

    def cease(self):
        """Back to the cue."""
        self._cease()
        self._start_cue()

    def _cease(self):
        self.asked = False
        self.tens = 0
        self.ones = 0
        self.parade = -1
        self.parade_ms = 0

    def dark(self):
        self.level = 0
        if self.ahead is None:
            self.show(0, 0)
        else:
            self.ahead.stop()

    def update(self, cue, fault, dt_ms):
        """One tick. fault: the one that stands, 0: none."""
        if self.behind_ms:
            if self.ahead is not None:
                dt_ms += self.behind_ms
            self.behind_ms = 0
        self.now_ms += dt_ms
        if self.now_ms > DAY_MS:
            self._new_day()
        if cue != self.cue or fault != self.fault or self.asked:
            self._news(cue, fault, dt_ms)
        self.left_ms -= dt_ms
        self.gone_ms += dt_ms
        if self.left_ms <= 0:
            self._over()
        if self.most_ms:
            self._spare(dt_ms)
        if self.stale:
            self._apply(self.now_ms + self.late_ms)
            self.late_ms = 0
        if self.ahead is not None:
            self.ahead.left_ms -= dt_ms

    def tell(self):
        """After the tick's edge: hardware that plays gets what is new, if something is."""
        ahead = self.ahead
        if ahead is not None and ahead.left_ms <= 0:
            ahead.look()

    def _new_day(self):
        """Times are kept small, and those of the last flashes with them."""
        self.now_ms -= DAY_MS
        self.mark_at_ms -= DAY_MS
        i = 0
        while i < RISES:
            self.rise_ms[i] -= DAY_MS
            i += 1

    def _news(self, cue, fault, dt_ms):
        new = fault and fault != self.fault
        if new:
            self.mark_at_ms = self.now_ms
        self.fault = fault
        changed = cue != self.cue
        self.cue = cue
        if cue == STOP:
            if self.playing != STOP or self.asked:
                self._cease()
                self.stored = 0
                self._start(STOP)
        elif self.asked:
            if new:
                self.cease()
            elif self.parade_ms:
                self._march(dt_ms)
        elif changed and self.playing < LEAD:
            self._start_cue()

    # ---- which pattern

    def _over(self):
        """The step is over. Without hardware that plays one step a tick at most: after a stall
        the rest of a pattern is not hurried through. With it, it has been played."""
        self._advance()
        if self.ahead is not None:
            while self.left_ms <= 0:
                self._apply(self.now_ms + self.late_ms)
                self._advance()

    def _advance(self):
        self.step += 1
        if self.step < len(self.patterns[self.playing]):
            self._enter(self.left_ms)
            return
        playing = self.playing
        if self.asked:
            self._asked_on(playing)
        elif playing == LEAD or playing == FLASH:
            if self.flashes:
                self.flashes -= 1
                self._start(FLASH)
            else:
                self._start(PAUSE)
        elif playing == PAUSE and self.stored:
            self.rounds -= 1
            if self.rounds:
                self.flashes = self.stored
                self._start(LEAD)
            else:
                self.stored = 0
                self._start_cue()
        elif playing == STOP and self.cue == STOP:
            self._again(STOP)
        else:
            self._start_cue()

    def _asked_on(self, playing):
        """What comes after one pattern of a count or of the parade."""
        if self.parade_ms:
            if playing == GAP and self.parade >= 0:
                self._start(PARADE[self.parade][0])
            else:
                self._again(playing)
        elif self.tens:
            self.tens -= 1
            self._start(TEN)
        elif playing == TEN and self.ones:
            self._start(GAP)
        elif self.ones:
            self.ones -= 1
            self._start(ONE)
        elif playing == COUNT_LEAD:
            self._start(NONE)
        elif playing != PAUSE:
            self._start(PAUSE)
        else:
            self.cease()

    def _march(self, dt_ms):
        """The parade: on to the next pattern when this one's time is over."""
        self.parade_ms = max(1, self.parade_ms - dt_ms)
        if self.parade_ms > 1:
            return
        self.parade += 1
        if self.parade >= len(PARADE):
            self.cease()
            return
        self.parade_ms = PARADE[self.parade][1] + self.patterns[GAP][0][1]
        self._start(GAP)

    def _start_cue(self):
        if self.fault and (self.cue == FAULT or self.mark_at_ms <= self.now_ms):
            self.mark_at_ms = self.now_ms + MARK_MS
            self.flashes = self.fault
            self._start(LEAD)
        elif self.cue == FAULT:
            self._again(0)
        elif self.cue == HOLD and self.winks:
            self.winks -= 1
            self._start(PERCENT)
        else:
            self._again(self.cue)

    def _again(self, pattern):
        """Start; a pattern that follows itself takes over what its last step ran past."""
        late = 0
        if pattern == self.playing:
            late = self.left_ms
        else:
            self._unforeseen()
        self.playing = pattern
        self.step = 0
        self.gone_ms = -late
        self._enter(late)

    def _start(self, pattern):
        self._unforeseen()
        self.playing = pattern
        self.step = 0
        self.gone_ms = 0
        self._enter(0)

    def _unforeseen(self):
        """Also where the level stays the same: the hardware was told of other steps."""
        if self.ahead is not None:
            self.ahead.left_ms = 0

    def _enter(self, late):
        self.stale = True
        ms = self.patterns[self.playing][self.step][1]
        late = max(-1000, late)
        if ms == BEAT:
            self.left_ms = self.beat - self.gone_ms
        elif self.ahead is not None:
            self.left_ms = ms + late
        else:
            self.left_ms = max(1, ms + late)
        self.late_ms = late if self.ahead is not None else 0

    # ---- light

    def _spare(self, dt_ms):
        """On for too long at a time: off until the pattern itself has been."""
        if not self.patterns[self.playing][self.step][0]:
            self.on_ms = 0
        elif self.level or self.on_ms >= self.most_ms:
            self.on_ms = min(self.on_ms + dt_ms, self.most_ms)
            self.stale = True

    def _apply(self, at_ms):
        """at_ms: when the step began."""
        self.stale = False
        level = self.patterns[self.playing][self.step][0]
        if self.most_ms and self.on_ms >= self.most_ms:
            level = 0
        hue = HUES[self.playing]
        if level == self.level and (hue == self.hue or not level):
            return
        if level and not self.level:
            if at_ms - self.rise_ms[self.next_rise] < 1000:
                self.stale = True
                return  # a fourth flash within a second waits
            self.rise_ms[self.next_rise] = at_ms
            self.next_rise = (self.next_rise + 1) % RISES
        self.level = level
        self.hue = hue
        if self.ahead is None:
            self.show(level, hue)
        else:
            self.ahead.left_ms = 0
