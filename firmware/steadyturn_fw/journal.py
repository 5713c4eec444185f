"""The page being filled: samples, events, totals; closed pages are handed to the store.

pages.py has the layout. A tick adds its readings to sums; every 0.2 s they become
a sample; 23 samples, or a reason to hurry, close the page. The CRC is fed as the
bytes come, because all 216 at once would take a quarter of a tick.
"""

from steadyturn_fw import pages
from steadyturn_fw.held import Held
from steadyturn_fw.pages import (
    AT_CRC,
    AT_EVENTS,
    AT_SAMPLES,
    EV_FAULT,
    EV_FAULT_END,
    EVENT_BYTES,
    EVENT_UNIT_MS,
    EVENTS,
    FLAG_OUT_MEASURED,
    FLAG_SATURATED,
    FLAG_VOLTS_ONLY,
    NO_DATA,
    NO_SENSOR,
    PAGE_BYTES,
    SAMPLE_BYTES,
    SAMPLE_MS,
    SAMPLES,
    VALID,
    VOLTS_ONLY,
)

HALF_SAMPLE = 5  # ticks: less of a sample than this is not kept when a page is closed early
MOST_WHEN = 32767
BEFORE = -1  # when of an event that began before its page


def clear(page, start, stop):
    while start < stop:
        page[start] = 0
        start += 1


def nothing(seq=0):
    """Of what a rig has not."""
    return 0


class Journal:
    def __init__(self, tally, bus_shift, amps_shift, low_dtpm, high_dtpm, tick_ms):
        self.tally = tally
        self.bus_shift = bus_shift
        self.amps_shift = amps_shift
        self.bus_half = 1 << bus_shift >> 1
        self.amps_half = 1 << amps_shift >> 1
        self.low_dtpm = low_dtpm
        self.high_dtpm = high_dtpm
        self.tick_ms = tick_ms
        self.crc = pages.Crc()
        self.page = bytearray(PAGE_BYTES)
        self.closed = bytearray(PAGE_BYTES)
        self.pending = False  # `closed` waits to be stored
        self.held = None  # type: Held | None  # and those before it, where they may have to
        self.dropped = 0  # closed pages that never could be
        self.seq = 1
        self.boot = 1
        self.open = False
        self.t0 = 0
        self.index = 0
        self.events = 0
        self.events_lost = 0
        self.flags = 0
        self.peak_mv = 0
        self.peak_ma = 0
        # FLAG_OUT_MEASURED where the converter's output is measured, FLAG_PACE_MEASURED
        self.out_flag = 0  # where there is a turn sensor
        self.rise_k = nothing  # for the tail
        self.number = nothing  # takes the next number, for a page of its own: True
        self.standing = 0  # fault that a new page repeats
        self.faults = 0
        self.fed = 0
        self._clear()

    # ---- pages

    def may_wait(self):
        """At the start: closed pages will have to wait for a moment to be stored in."""
        self.held = Held()

    def begin(self, t_ms):
        page = self.page
        # of what is left from the page before only the events would stay
        clear(page, AT_EVENTS, AT_EVENTS + EVENTS * EVENT_BYTES)
        page[0] = pages.MAGIC_0
        page[1] = pages.MAGIC_1
        page[pages.AT_VERSION] = pages.VERSION
        page[pages.AT_SHIFTS] = self.bus_shift | self.amps_shift << 4
        pages.put(page, pages.AT_SEQ, 4, self.seq)
        pages.put(page, pages.AT_BOOT, 3, self.boot)
        pages.put(page, pages.AT_T0, 4, t_ms)
        self.crc.reset()
        self.crc.feed(page, 0, AT_SAMPLES)
        self.fed = AT_SAMPLES
        self.t0 = t_ms
        self.index = 0
        self.events = 0
        self.events_lost = 0
        self.flags = self.out_flag
        self.peak_mv = 0
        self.peak_ma = 0
        self.open = True
        self._clear()
        if self.standing:
            self._event(EV_FAULT, self.standing, BEFORE)

    def close(self, flags, whole=False):
        """End the page. whole: make the CRC anew, after a Ctrl-C that may have cut a tick."""
        if not self.open:
            return
        if self.ticks >= HALF_SAMPLE and self.index < SAMPLES:
            self._end_sample()
        self.open = False
        if not self.index and not self.events:
            return
        page = self.page
        if self.index < SAMPLES:
            clear(page, AT_SAMPLES + self.index * SAMPLE_BYTES, AT_EVENTS)
        put = pages.put
        page[pages.AT_N_SAMPLES] = self.index
        page[pages.AT_N_EVENTS] = self.events
        page[pages.AT_FLAGS] = self.flags | flags
        put(page, pages.AT_PEAK_MV, 2, self.peak_mv)
        put(page, pages.AT_PEAK_MA, 2, self.peak_ma)
        self.tally.put(page)
        put(page, pages.AT_FAULTS, 2, self.faults)
        page[pages.AT_EVENTS_LOST] = self.events_lost
        page[pages.AT_RISE] = self.rise_k()
        if whole:
            self.crc.reset()
            self.fed = 0
        self.crc.feed(page, self.fed, AT_CRC)
        self.crc.store(page, AT_CRC)
        self.page = self.push(page)
        self.seq += 1
        if self.number(self.seq):
            self.seq += 1

    def push(self, page):
        """The newest closed page: it waits to be stored. Gives a buffer for the next."""
        spare = self.closed
        if self.pending:
            spare = self._hold(spare)
        self.closed = page
        self.pending = True
        return spare

    def _hold(self, page):
        if self.held is None:
            self.dropped += 1
            return page
        spare = self.held.keep(page)
        if spare is page:
            self.dropped += 1
        return spare

    def takes(self):
        """Would a page pushed now cost no other?"""
        return not self.pending or self.held is not None

    def next(self):
        """The page to be stored next; there is one where `pending`."""
        held = self.held
        return held.oldest() if held is not None and held.count else self.closed

    def stored(self):
        """It is."""
        held = self.held
        if held is not None and held.count:
            held.done()
        else:
            self.pending = False

    def give_up(self):
        """It cannot be stored; its number stays unused."""
        self.stored()
        self.dropped += 1

    def only_newest(self):
        """There is energy for one page only: its totals have all."""
        held = self.held
        while held is not None and held.count:
            self.give_up()

    # ---- at boot

    def follow(self, newest):
        """Go on after the newest page there is: numbers and totals."""
        self.seq = pages.get(newest, pages.AT_SEQ, 4) + 1
        self.boot = pages.get(newest, pages.AT_BOOT, 3) + 1
        self.faults = pages.get(newest, pages.AT_FAULTS, 2)
        self.tally.take(newest)

    def unfinished(self, page):
        """The last fault in a page that has no end there, 0: none."""
        fault = 0
        for i in range(min(page[pages.AT_N_EVENTS], EVENTS)):
            at = AT_EVENTS + i * EVENT_BYTES
            argument = pages.get(page, at + 3, 2)
            if page[at] == EV_FAULT and argument < len(pages.FAULTS):
                fault = argument
            elif page[at] == EV_FAULT_END and argument == fault:
                fault = 0
        return fault

    # ---- events

    def event(self, code, argument, t_ms):
        if not self.open:
            self.begin(t_ms)
        t_ms = max(0, t_ms - self.t0) // EVENT_UNIT_MS
        t_ms = min(t_ms, MOST_WHEN)
        self._event(code, argument, t_ms)

    def _event(self, code, argument, when):
        if self.events >= EVENTS:
            self.events_lost = min(self.events_lost + 1, 255)
            return
        argument = max(0, min(argument, 65535))
        page = self.page
        at = AT_EVENTS + self.events * EVENT_BYTES
        page[at] = code
        page[at + 1] = when & 0xFF
        page[at + 2] = when >> 8 & 0xFF
        page[at + 3] = argument & 0xFF
        page[at + 4] = argument >> 8
        self.events += 1

    # ---- samples

    def _clear(self):
        self.ticks = 0
        self.sum_mv = 0
        self.sum_ma = 0
        self.sum_dtpm = 0
        self.top_mv = 0
        self.top_ma = 0
        self.valid = 0
        self.connected = 0
        self.cue = 0
        self.validity = 0

    def add(self, now):
        """One tick's readings; they belong to the time just before now.t_ms."""
        begun = now.t_ms - self.tick_ms
        if begun < 0:
            begun = 0
        if not self.open:
            self.begin(begun)
        while begun - self.t0 >= SAMPLE_MS * (self.index + 1):
            self._end_sample()
            if self.index == SAMPLES:
                self.close(0)
                self.begin(begun)
        bus_mv = now.bus_mv
        bus_ma = now.bus_ma
        self.ticks += 1
        self.sum_mv += bus_mv
        self.sum_dtpm += now.pace_dtpm
        if bus_mv > self.top_mv:
            self.top_mv = bus_mv
        if bus_ma > 0:
            self.sum_ma += bus_ma
            if bus_ma > self.top_ma:
                self.top_ma = bus_ma
        self._mark(now)

    def _mark(self, now):
        self.cue = now.cue
        self.validity = now.validity
        if now.validity == VALID:
            self.valid += 1
        elif now.validity == VOLTS_ONLY:
            self.flags |= FLAG_VOLTS_ONLY
        if now.connected:
            self.connected += 1
            if not now.out_known:
                self.flags &= ~FLAG_OUT_MEASURED
        if now.saturated:
            self.flags |= FLAG_SATURATED

    def _end_sample(self):
        at = AT_SAMPLES + self.index * SAMPLE_BYTES
        if self.ticks:
            self._pack(at)
        else:
            i = 0
            while i < SAMPLE_BYTES:
                self.page[at + i] = NO_DATA
                i += 1
        if self.fed == at:
            self.crc.feed(self.page, at, at + SAMPLE_BYTES)
            self.fed = at + SAMPLE_BYTES
        self.index += 1
        self._clear()

    def _pack(self, at):
        n = self.ticks
        # with half of the divisor added a division rounds to the nearest
        bus = (self.sum_mv + n // 2) // n + self.bus_half >> self.bus_shift
        amps = (self.sum_ma + n // 2) // n + self.amps_half >> self.amps_shift
        pages.put_means(self.page, at, bus, amps)
        # the sums are not needed any more: the peaks' excess in page units
        self.sum_mv = (self.top_mv - 1 >> self.bus_shift) + 1 - bus
        self.sum_ma = (self.top_ma - 1 >> self.amps_shift) + 1 - amps
        self._pack_marks(at, (self.sum_dtpm + n // 2) // n)

    def _pack_marks(self, at, pace):
        pages.put_pace(self.page, at, (pace + 2) // 5, self.sum_mv, self.sum_ma)
        if self.valid * 2 >= self.ticks:
            self.validity = VALID
        connected = 1 if self.connected * 2 >= self.ticks else 0
        pages.put_marks(self.page, at, self.cue, connected, self.validity)
        self._count(pace, connected)
        self.peak_mv = max(self.peak_mv, self.top_mv)
        self.peak_ma = max(self.peak_ma, self.top_ma)

    def _count(self, pace, connected):
        tally = self.tally
        tally.on += 1
        if self.validity != NO_SENSOR and self.low_dtpm <= pace <= self.high_dtpm:
            tally.band += 1
        if connected:
            tally.connected += 1
