"""The pace without the pull within a turn: what a ripple leaves of it, its trend, its range."""

import check

from steadyturn_fw import pages
from steadyturn_fw.cadence import AHEAD, MOST, RING, Cadence
from steadyturn_fw.now import Now

# a sine in thousandths, 64 steps
SINE = (
    0, 98, 195, 290, 383, 471, 556, 634, 707, 773, 831, 882, 924, 957, 981, 995,
    1000, 995, 981, 957, 924, 882, 831, 773, 707, 634, 556, 471, 383, 290, 195, 98,
)


def sine(step):
    step &= 63
    return SINE[step] if step < 32 else -SINE[step - 32]


class Handle:
    def __init__(self):
        self.cadence = Cadence()
        self.now = Now()
        self.now.validity = pages.VALID

    def at(self, dtpm, pace_dtpm=None):
        self.now.raw_dtpm = dtpm
        self.now.pace_dtpm = dtpm if pace_dtpm is None else pace_dtpm
        self.cadence.update(self.now)


def test_a_ripple_twice_a_turn_is_gone():
    for pace in (300, 450, 650, 900, 1200):
        handle = Handle()
        least, most = 1 << 20, 0
        for tick in range(600):
            # turns so far, times two, in 64ths
            at = tick * 20 * pace * 2 * 64 // 600000
            handle.at(pace + pace * sine(at) // 5000, pace)
            if tick > 150:
                least = min(least, handle.cadence.here_dtpm)
                most = max(most, handle.cadence.here_dtpm)
        check.true(most - least <= pace // 16, "%d: %d to %d of 20 %%" % (pace, least, most))


def test_the_trend_brings_it_up_to_now_and_ahead():
    for slope in (-3, 2, 4):
        handle = Handle()
        dtpm = 700 if slope < 0 else 400
        for _ in range(90):
            dtpm += slope
            handle.at(dtpm)
        check.near(handle.cadence.here_dtpm, dtpm, 8, "now")
        check.near(handle.cadence.heading_dtpm, dtpm + 30 * slope, 16, "0.6 s ahead")


def test_the_first_readings_are_no_rise_from_rest():
    handle = Handle()
    for _ in range(200):
        handle.at(650)
        check.equal(handle.cadence.here_dtpm, 650, "here")
        check.equal(handle.cadence.heading_dtpm, 650, "heading")
    handle.now.validity = pages.NO_SENSOR
    handle.at(650)
    check.equal(handle.cadence.here_dtpm, 0, "unknown")
    handle.now.validity = pages.VALID
    for _ in range(20):
        handle.at(900)
        check.equal(handle.cadence.heading_dtpm, 900, "what was before is forgotten")


def test_extremes_stay_small_and_within():
    # every product at its largest: 63 ticks of 65535 after 63 of nothing, and the other way
    largest = 63 * 65535
    check.true(largest < 1 << 24, "a sum is shorter than its wrap")
    check.true(largest * AHEAD < 1 << 30, "small integers on 32 bits")
    check.equal((MOST, 2 * MOST < RING), (63, True), "which that and the ring hold for")
    handle = Handle()
    for i in range(3000):
        high = i // 70 % 2
        handle.at(65535 if high else 0, 1 if i % 3 else 65535)
        check.true(abs(handle.cadence.here_dtpm) < 1 << 18, "here")
        check.true(abs(handle.cadence.heading_dtpm) < 1 << 20, "heading")


check.run(globals())
