"""A step between two loads, as a page of samples of one tick each: what the motors' resistance
does to the volts, for the host to fit.

Once a boot, after 20 s of steady `hold`, the second load is connected for eight ticks, and 23
ticks round that are kept: eight before, eight with it, seven after. Not where the dip could
come near the release or the current near its limit; anything unusual ends it at once. The
page gets its number when the journal closes one of its own, and is stored after that.
"""

from machine import Pin

from steadyturn_fw import pages
from steadyturn_fw.journal import clear
from steadyturn_fw.pages import (
    AT_CRC,
    AT_EVENTS,
    AT_SAMPLES,
    EV_LOAD_STEP,
    EVENT_BYTES,
    EVENT_UNIT_MS,
    FLAG_BURST,
    FLAG_OUT_MEASURED,
    FLAG_PACE_MEASURED,
    HOLD,
    PAGE_BYTES,
    SAMPLE_BYTES,
    SAMPLES,
    VALID,
    put_marks,
    put_means,
    put_pace,
)

STEADY_MS = 20000
CALM = 50  # then the pace may be on its way by one part of so many: an arm's pull comes twice
# a turn, and between two of them there is such a moment
LATE_MS = 30  # a tick that came so late is no sample of 20 ms
ON_AT = 8  # samples without, then
OFF_AT = 16  # with the second load, then without
ROOM_SAMPLES = 4  # of the journal's page: it must not be closed meanwhile
CRC_BYTES = 24  # fed a tick
KEPT = FLAG_OUT_MEASURED | FLAG_PACE_MEASURED  # as in the page before
WAITING, TAKING, FULL, NUMBERED, READY, DONE = range(6)


class Burst:
    def __init__(self, settings, estimate, journal):
        s = settings
        self.pin = Pin(s.second_load_pin, Pin.OUT, value=0)
        self.mohm = s.second_load_mohm
        self.least_mv = s.release_mv + s.release_mv // 16
        self.most_ma = s.over_ma - s.over_ma // 8
        self.estimate = estimate
        self.journal = journal
        self.page = bytearray(PAGE_BYTES)
        self.crc = pages.Crc()
        self.state = WAITING
        self.steady_ms = 0
        self.index = 0
        self.fed = 0
        self.seq = 0
        self.peak_mv = 0
        self.peak_ma = 0
        self.on = False

    def update(self, now):
        """At the end of a tick."""
        state = self.state
        if state == WAITING:
            self._wait(now)
        elif state == TAKING:
            self._take(now)
        elif state == NUMBERED:
            self._feed()
        elif state == READY and self.journal.takes():
            self._hand_over(self.journal)

    def _wait(self, now):
        if not self._calm(now):
            self.steady_ms = 0
            return
        self.steady_ms = min(self.steady_ms + now.ms, STEADY_MS)
        journal = self.journal
        if (
            self.steady_ms >= STEADY_MS
            and abs(now.ahead_dtpm - now.pace_dtpm) * CALM <= now.pace_dtpm
            and journal.takes()
            and journal.index < SAMPLES - ROOM_SAMPLES
            and self._room(now)
        ):
            self._begin(now.t_ms)
            self._take(now)

    def _calm(self, now):
        return (
            now.connected
            and now.cue == HOLD
            and now.validity == VALID
            and not now.saturated
            and now.ms <= LATE_MS
        )

    def _room(self, now):
        """Will the volts stay clear of the release, and the current of its limit? A converter
        draws more when the volts dip: twice the second load's own current is reckoned with."""
        more_ma = 2 * (now.bus_mv * 1000 // self.mohm)
        dip = self.estimate.sag_mv(now.motor_ma + more_ma)
        dip -= self.estimate.sag_mv(now.motor_ma)
        return now.bus_mv - dip >= self.least_mv and now.bus_ma + more_ma <= self.most_ma

    def _begin(self, t_ms):
        page = self.page
        clear(page, 0, PAGE_BYTES)
        page[0] = pages.MAGIC_0
        page[1] = pages.MAGIC_1
        page[pages.AT_VERSION] = pages.VERSION_WIDER
        page[pages.AT_SHIFTS] = self.journal.bus_shift | self.journal.amps_shift << 4
        pages.put(page, pages.AT_BOOT, 3, self.journal.boot)
        t_ms = max(0, t_ms - self.journal.tick_ms)
        pages.put(page, pages.AT_T0, 4, t_ms)
        self.index = 0
        self.state = TAKING

    def _take(self, now):
        if not now.connected or now.validity != VALID or now.saturated or now.ms > LATE_MS:
            self._switch(False)
            self.state = DONE
            return
        at = AT_SAMPLES + self.index * SAMPLE_BYTES
        self._means(now, at)
        self._marks(now, at)
        self.index += 1
        if self.index == ON_AT:
            self._switch(True)
        elif self.index == OFF_AT:
            self._switch(False)
        elif self.index == SAMPLES:
            self.page[pages.AT_N_SAMPLES] = SAMPLES
            self.state = FULL

    def _means(self, now, at):
        journal = self.journal
        bus = now.bus_mv + journal.bus_half >> journal.bus_shift
        amps = max(0, now.bus_ma) + journal.amps_half >> journal.amps_shift
        put_means(self.page, at, bus, amps)

    def _marks(self, now, at):
        page = self.page
        self.peak_mv = max(self.peak_mv, now.bus_mv)
        self.peak_ma = max(self.peak_ma, now.bus_ma)
        pace = (now.raw_dtpm + 2) // 5
        put_pace(page, at, pace, 0, 0)
        put_marks(page, at, now.cue, 1, now.validity)

    def _switch(self, on):
        """The second load; a change of it is an event of this page."""
        if on == self.on:
            return
        self.on = on
        self.pin.value(1 if on else 0)
        page = self.page
        at = AT_EVENTS + page[pages.AT_N_EVENTS] * EVENT_BYTES
        page[at] = EV_LOAD_STEP
        page[at + 1] = self.index * self.journal.tick_ms // EVENT_UNIT_MS
        page[at + 3] = 1 if on else 0
        page[pages.AT_N_EVENTS] += 1

    # ---- its place in the journal

    def number(self, seq):
        """The journal has closed a page and offers the next number: taken, True."""
        if self.state != FULL:
            return False
        page = self.page
        self.seq = seq
        page[pages.AT_FLAGS] = FLAG_BURST | self.journal.flags & KEPT
        pages.put(page, pages.AT_SEQ, 4, seq)
        pages.put(page, pages.AT_PEAK_MV, 2, self.peak_mv)
        pages.put(page, pages.AT_PEAK_MA, 2, self.peak_ma)
        self.journal.tally.put(page)
        pages.put(page, pages.AT_FAULTS, 2, self.journal.faults)
        self.crc.reset()
        self.fed = 0
        self.state = NUMBERED
        return True

    def _feed(self):
        stop = min(self.fed + CRC_BYTES, AT_CRC)
        self.crc.feed(self.page, self.fed, stop)
        self.fed = stop
        if stop == AT_CRC:
            self.crc.store(self.page, AT_CRC)
            self.state = READY

    def _hand_over(self, journal):
        """To be stored next; too late where another page has been stored before it."""
        if journal.seq == self.seq + 1:
            self.page = journal.push(self.page)
        self.state = DONE

    def release(self):
        """The second load off: the load is released, or the program ends."""
        self._switch(False)
        if self.state == TAKING:
            self.state = DONE
