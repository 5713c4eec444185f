"""The lamp: what each cue looks, sounds and feels like.

PATTERNS is the only place where that is written; documents and screens read it.
Dark = give more. Light = enough. Broken light = too much. Patterns differ in
shape, and nothing flashes more than three times in a second: what the patterns
keep among themselves, the lamp also counts across changes from one to another.
"""

from machine import PWM, Pin

from steadyturn_fw.pages import CUES, FAULT, HOLD, STOP

BEAT = -1  # a step that lasts until the beat is over

# name, light, piezo, vibration: steps of (level, ms), repeated.
# Level 0: dark, silent, still. 1: lit, low tone, on. 2: high tone.
PATTERNS = (
    ("rest", ((1, 40), (0, 3960)), ((0, 4000),), ((0, 4000),)),
    ("faster", ((1, 120), (0, BEAT)), ((1, 60), (2, 60), (0, BEAT)), ((1, 120), (0, BEAT))),
    ("hold", ((1, 1000),), ((0, 1000),), ((0, 1000),)),
    (
        "slower",
        ((1, 800), (0, 120), (1, 120), (0, 120)),
        ((2, 60), (1, 60), (0, 1040)),
        ((1, 120), (0, 120), (1, 120), (0, 800)),
    ),
    ("stop", ((1, 200), (0, 200)), ((1, 1000),), ((1, 200), (0, 200))),
    # one long wink for each percent delivered, in between while the cue is hold
    ("percent", ((1, 400), (0, 600), (1, 400)), ((1, 400), (0, 600)), ((1, 400), (0, 600))),
    # a fault: this once, then its count of long flashes, then the pause
    ("fault_lead", ((0, 800),), ((0, 800),), ((0, 800),)),
    ("fault_flash", ((1, 600), (0, 400)), ((1, 600), (0, 400)), ((1, 600), (0, 400))),
    ("fault_pause", ((0, 1000),), ((0, 1000),), ((0, 1000),)),
)
PERCENT = 5
LEAD = 6
FLASH = 7
PAUSE = 8
assert [row[0] for row in PATTERNS[:5]] == list(CUES[:5])

# lamp kind -> column of PATTERNS. two_led is a second LED on the same pin, rgb a pixel
# whose colour its resistors set: the shapes are the same for all that shine.
COLUMN = {"led": 1, "two_led": 1, "rgb": 1, "piezo": 2, "vibration": 3}

LIGHT_HZ = 1000
LOW_HZ = 1500
HIGH_HZ = 2500
MARK_MS = 10000  # a fault that lets the machine go on is shown this often
STORED_ROUNDS = 2  # how often a fault of the last boot is shown before the first cue
RISES = 3  # in any second
MOST_WINKS = 3


def beat_ms(target_dtpm):
    """Length of the beat: a turn at the target pace, doubled or halved to 0.55-1.11 s."""
    ms = 600000 // target_dtpm
    while ms > 1111:
        ms //= 2
    while ms < 555:
        ms *= 2
    return ms


class Lamp:
    def __init__(self, pin, kind, percent, active_low, target_dtpm):
        column = COLUMN[kind]
        self.patterns = tuple([row[column] for row in PATTERNS])
        self.beat = beat_ms(target_dtpm)
        full = 32768 if kind == "piezo" else percent * 65535 // 100
        self.on = 65535 - full if active_low else full
        self.off = 65535 if active_low else 0
        self.pwm = PWM(Pin(pin), freq=LIGHT_HZ, duty_u16=self.off)
        # bound once: taking a method as a value allocates
        self.duty = self.pwm.duty_u16
        self.tone = self.pwm.freq if kind == "piezo" else None
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

    def dark(self):
        self._light(0)

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
        if fault and fault != self.fault:
            self.mark_ms = 0
        self.fault = fault
        changed = cue != self.cue
        self.cue = cue
        counting = self.playing >= LEAD
        if cue == STOP:
            if self.playing != STOP:
                self.stored = 0
                self._start(STOP)
        elif changed and not counting:
            self._start_cue()
        self.left_ms -= dt_ms
        self.gone_ms += dt_ms
        # one step a tick at most: after a stall the rest of a pattern is not hurried through
        if self.left_ms <= 0:
            self._advance()
        self._apply()

    # ---- which pattern

    def _advance(self):
        self.step += 1
        if self.step < len(self.patterns[self.playing]):
            self._enter(self.left_ms)
            return
        playing = self.playing
        if playing == LEAD or playing == FLASH:
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

    def _apply(self):
        level = self.patterns[self.playing][self.step][0]
        if level == self.level:
            return
        if level and not self.level:
            if self.now_ms - self.rise_ms[self.next_rise] < 1000:
                return  # a fourth flash within a second waits
            self.rise_ms[self.next_rise] = self.now_ms
            self.next_rise = (self.next_rise + 1) % RISES
        self._light(level)

    def _light(self, level):
        self.level = level
        if level and self.tone is not None:
            self.tone(HIGH_HZ if level == 2 else LOW_HZ)
        self.duty(self.on if level else self.off)
