"""The lamp: which pattern is shown, and for how long each step of it.

The patterns stand in patterns.py. None flashes more than three times in a second: what
they keep among themselves, the lamp also counts across changes from one to another.
"""

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


class Lamp:
    def __init__(self, light, kind, target_dtpm):
        """light: of lights.py; kind: which column of the patterns it shows."""
        column = COLUMN[kind]
        self.patterns = tuple([row[column] for row in PATTERNS])  # type: tuple
        self.beat = beat_ms(target_dtpm)
        self.show = light.show  # bound once: taking a method as a value allocates
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
        self.mark_ms = 0  # until a standing fault is shown again
        self.asked = False  # what the button asked for is being shown
        self.tens = 0  # of a count, still to come
        self.ones = 0
        self.parade = -1  # place in PARADE
        self.parade_ms = 0  # and how long it is still shown, 0: no parade
        self.now_ms = 0
        self.rise_ms = [-1000] * RISES
        self.next_rise = 0
        self._start(0)

    def show_stored(self, fault):
        """A fault that ended in darkness: shown before any cue."""
        self.stored = fault
        self.rounds = STORED_ROUNDS
        self.flashes = fault
        self._start(LEAD)

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
        self.show(0, 0)

    def update(self, cue, fault, dt_ms):
        """One tick. fault: the one that stands, 0: none."""
        self.now_ms += dt_ms
        if self.now_ms > 100000000:  # a day: keep it small, and the rises with it
            self.now_ms -= 100000000
            i = 0
            while i < RISES:
                self.rise_ms[i] -= 100000000
                i += 1
        self.mark_ms -= dt_ms
        new = fault and fault != self.fault
        if new:
            self.mark_ms = 0
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
        self.left_ms -= dt_ms
        self.gone_ms += dt_ms
        # one step a tick at most: after a stall the rest of a pattern is not hurried through
        if self.left_ms <= 0:
            self._advance()
        if self.most_ms:
            self._spare(dt_ms)
        self._apply()

    # ---- which pattern

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
        if self.fault and (self.cue == FAULT or self.mark_ms <= 0):
            self.mark_ms = MARK_MS
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
        late = self.left_ms if pattern == self.playing else 0
        self.playing = pattern
        self.step = 0
        self.gone_ms = -late
        self._enter(late)

    def _start(self, pattern):
        self.playing = pattern
        self.step = 0
        self.gone_ms = 0
        self._enter(0)

    def _enter(self, late):
        ms = self.patterns[self.playing][self.step][1]
        if ms == BEAT:
            self.left_ms = self.beat - self.gone_ms
        else:
            self.left_ms = max(1, ms + max(-1000, late))

    # ---- light

    def _spare(self, dt_ms):
        """On for too long at a time: off until the pattern itself has been."""
        if not self.patterns[self.playing][self.step][0]:
            self.on_ms = 0
        elif self.level or self.on_ms >= self.most_ms:
            self.on_ms = min(self.on_ms + dt_ms, self.most_ms)

    def _apply(self):
        level = self.patterns[self.playing][self.step][0]
        if self.most_ms and self.on_ms >= self.most_ms:
            level = 0
        hue = HUES[self.playing]
        if level == self.level and (hue == self.hue or not level):
            return
        if level and not self.level:
            if self.now_ms - self.rise_ms[self.next_rise] < 1000:
                return  # a fourth flash within a second waits
            self.rise_ms[self.next_rise] = self.now_ms
            self.next_rise = (self.next_rise + 1) % RISES
        self.level = level
        self.hue = hue
        self.show(level, hue)
