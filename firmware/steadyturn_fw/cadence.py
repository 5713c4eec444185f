"""The pace without the pull and push within a turn, and where it is heading.

An arm pulls harder than it pushes, so the handle runs faster and slower twice a turn. A
mean over half a turn has none of that; the mean over the half turn before tells the trend.
Sums run on for ever and wrap: the difference of two of them is right as long as it is
smaller than the wrap.
"""

from array import array

from steadyturn_fw.pages import NO_SENSOR

RING = 128  # ticks, a power of two; two half turns fit
MOST = 63  # ticks in half a turn: below 24 turns a minute only a part of one is looked at
LEAST = 4
WRAP = (1 << 24) - 1  # 63 readings of 65535 stay below it
AHEAD = 30  # ticks, 0.6 s: what reading the lamp and reacting to it take at least


class Cadence:
    def __init__(self):
        self.sums = array("i", [0] * RING)
        self.at = 0
        self.known = 0  # readings so far, at most the ring
        self.here_dtpm = 0  # both may pass what a pace can be, a little or much: they are for
        self.heading_dtpm = 0  # comparing only

    def update(self, now):
        """One tick, from now.raw_dtpm."""
        if now.validity == NO_SENSOR:
            self.known = 0
            self.here_dtpm = 0
            self.heading_dtpm = 0
            return
        at = self.at
        self.at = at + 1 & RING - 1
        self.sums[self.at] = self.sums[at] + now.raw_dtpm & WRAP
        if self.known < RING:
            self.known += 1
            if self.known < 2 * LEAST:
                self.here_dtpm = self.heading_dtpm = now.pace_dtpm
                return
        # half a turn is 30 s over the pace in turns a minute
        at = 15000 // (now.pace_dtpm + 1)
        if at > MOST:
            at = MOST
        if at >= self.known >> 1:
            at = (self.known >> 1) - 1
        self._look(at if at > LEAST else LEAST)

    def _look(self, ticks):
        """The mean of the last `ticks`, brought up to now by its trend, and drawn on from there.

        Few names, each used again: a function of more takes its frame from the heap.
        """
        sums = self.sums
        at = self.at - ticks
        rise = sums[at & RING - 1]
        last = sums[self.at] - rise & WRAP
        rise = rise - sums[at - ticks & RING - 1] & WRAP
        rise = last - rise
        # the mean is half of `ticks` old; its rise in so many ticks is rise / ticks
        self.here_dtpm = last // ticks + rise // (2 * ticks)
        self.heading_dtpm = self.here_dtpm + rise * AHEAD // (ticks * ticks)
