"""One page that stands for many: what is left of a boot whose samples were given up for room.

It carries the last page's totals, the worst peaks, how long each cue was shown, what was
released and which faults began, and the three events that matter most. pages.py has the
layout. Made while the load is released: it may allocate.
"""

from steadyturn_fw import pages
from steadyturn_fw.pages import (
    AT_EVENTS,
    AT_SAMPLES,
    EV_BENCH,
    EV_COLLAPSE,
    EV_FAULT,
    EV_RELEASED,
    EVENT_BYTES,
    EVENTS,
    FLAG_BURST,
    FLAG_FADING,
    FLAG_FLUSHED,
    FLAG_OUT_MEASURED,
    FLAG_PACE_MEASURED,
    FLAG_SATURATED,
    FLAG_SUMMARY,
    FLAG_VOLTS_ONLY,
    PAGE_BYTES,
    SAMPLE_BYTES,
    SAMPLE_MS,
    VALID,
)

# what an event is worth where there is room for three of a whole boot, by code; what is
# counted elsewhere in the page is worth little
WORTH = (0, 5, 1, 1, 7, 0, 2, 1, 1, 1, 4, 6, 1, 0, 7, 8)
IN_ALL = FLAG_OUT_MEASURED | FLAG_PACE_MEASURED  # true of a boot if of each of its pages
MOST = 65535


class Summary:
    def __init__(self):
        self.page = bytearray(PAGE_BYTES)
        self.by_cue = [0] * 8
        self.by_validity = [0] * 4
        self.releases = [0] * pages.REASONS_KEPT
        self.faults = [0] * pages.FAULTS_KEPT
        self.events = []  # [worth, code, seconds, argument]
        self.clear()

    def clear(self):
        self.stands_for = 0  # pages; 0: empty
        for counts in (self.by_cue, self.by_validity, self.releases, self.faults):
            for i in range(len(counts)):
                counts[i] = 0
        self.events.clear()
        self.no_data = self.top_pace = self.pace_sum = self.collapses = 0
        self.peak_mv = self.peak_ma = self.events_lost = 0
        self.length_ms = 0
        self.end_ms = -1  # of the last page, since its boot; -1: not known
        self.flags = IN_ALL
        self.first = self.first_boot = self.boot = self.t0 = self.seq = 0

    def load(self, page):
        """Go on from a stored one."""
        get = pages.get
        self.clear()
        self.page[:] = page
        self.stands_for = get(page, pages.AT_STANDS_FOR, 4)
        self.first = get(page, pages.AT_FIRST, 4)
        self.first_boot = get(page, pages.AT_FIRST_BOOT, 3)
        self._head(page)
        self.t0 = get(page, pages.AT_T0, 4)
        self.length_ms = get(page, pages.AT_LENGTH, 4)
        if self.first_boot == self.boot:
            self.end_ms = self.t0 + self.length_ms
        for counts, at, size in self._tables():
            for i in range(len(counts)):
                counts[i] = get(page, at + i * size, size)
        self.no_data = get(page, pages.AT_NO_DATA, 4)
        self.top_pace = get(page, pages.AT_TOP_PACE, 2)
        self.pace_sum = get(page, pages.AT_PACE_SUM, 6)
        self.collapses = get(page, pages.AT_COLLAPSES, 2)
        self._worst(page)
        self.flags = page[pages.AT_FLAGS] & ~FLAG_SUMMARY
        for code, when, argument in _events(page):
            self.events.append([_worth(code), code, when, argument])

    def _tables(self):
        return (
            (self.by_cue, pages.AT_BY_CUE, 4),
            (self.by_validity, pages.AT_BY_VALIDITY, 4),
            (self.releases, pages.AT_RELEASES, 2),
            (self.faults, pages.AT_FAULTS_BEGUN, 2),
        )

    def _head(self, page):
        self.seq = pages.get(page, pages.AT_SEQ, 4)
        self.boot = pages.get(page, pages.AT_BOOT, 3)

    def _worst(self, page):
        get = pages.get
        self.peak_mv = max(self.peak_mv, get(page, pages.AT_PEAK_MV, 2))
        self.peak_ma = max(self.peak_ma, get(page, pages.AT_PEAK_MA, 2))
        self.events_lost = min(255, self.events_lost + page[pages.AT_EVENTS_LOST])

    def add(self, page):
        """Take in one more page, the next of those it stands for."""
        get = pages.get
        t0 = get(page, pages.AT_T0, 4)
        before = self.boot
        self._head(page)
        if not self.stands_for:
            self.first = self.seq
            self.first_boot = before = self.boot
            self.t0 = self.end_ms = t0
        self.stands_for += 1
        if self.boot != before:
            self.end_ms = -1
        self._worst(page)
        new = page[pages.AT_FLAGS]
        old = self.flags
        self.flags = (
            (old | new) & (FLAG_SATURATED | FLAG_VOLTS_ONLY)
            | old & new & IN_ALL
            | new & (FLAG_FADING | FLAG_FLUSHED)
        )
        self._happened(page, t0)
        if not new & FLAG_BURST:
            end = t0 + page[pages.AT_N_SAMPLES] * SAMPLE_MS
            self.length_ms += end - (t0 if self.end_ms < 0 else self.end_ms)
            self.end_ms = end
            self._samples(page)
        self.page[:] = page  # its totals

    def _samples(self, page):
        by_cue = self.by_cue
        by_validity = self.by_validity
        at = AT_SAMPLES
        for _ in range(page[pages.AT_N_SAMPLES]):
            marks = page[at + 5]
            if marks == 0xFF:  # no cue is 7
                self.no_data += 1
            else:
                by_cue[marks >> 2 & 7] += 1
                by_validity[marks >> 6] += 1
                if marks >> 6 == VALID:
                    pace = page[at + 3] | (page[at + 4] & 3) << 8
                    self.pace_sum += pace
                    self.top_pace = max(self.top_pace, pace)
            at += SAMPLE_BYTES

    def _happened(self, page, t0):
        for code, when, argument in _events(page):
            if code == EV_RELEASED:
                _count(self.releases, argument)
            elif code == EV_FAULT:
                if when < 0:
                    continue  # repeated: it began in a page before
                _count(self.faults, argument)
            elif code == EV_COLLAPSE:
                self.collapses = min(self.collapses + 1, MOST)
            elif code == EV_BENCH:
                continue  # firmware from before could not go on from a summary that has one
            # seconds from the summary's own t0; where it spans boots, since its own boot
            ms = t0 + when * pages.EVENT_UNIT_MS
            if self.first_boot == self.boot:
                ms -= self.t0
            self._keep(_worth(code), code, max(0, min(ms // 1000, 32767)), argument)

    def _keep(self, worth, code, when, argument):
        events = self.events
        if len(events) == EVENTS:
            least = 0
            for i in range(EVENTS):
                if events[i][0] <= events[least][0]:
                    least = i
            if events[least][0] >= worth:
                return
            events.pop(least)
        events.append([worth, code, when, argument])

    def seal(self):
        """The page, ready to be stored."""
        page = self.page
        put = pages.put
        for at in range(AT_SAMPLES, pages.AT_N_SAMPLES):
            page[at] = 0
        page[pages.AT_VERSION] = pages.VERSION_WIDER
        put(page, pages.AT_T0, 4, self.t0)
        put(page, pages.AT_FIRST, 4, self.first)
        put(page, pages.AT_STANDS_FOR, 4, self.stands_for)
        put(page, pages.AT_FIRST_BOOT, 3, self.first_boot)
        put(page, pages.AT_LENGTH, 4, max(0, self.length_ms))
        for counts, at, size in self._tables():
            for i in range(len(counts)):
                put(page, at + i * size, size, counts[i])
        put(page, pages.AT_NO_DATA, 4, self.no_data)
        put(page, pages.AT_TOP_PACE, 2, self.top_pace)
        put(page, pages.AT_PACE_SUM, 6, self.pace_sum)
        put(page, pages.AT_COLLAPSES, 2, self.collapses)
        at = AT_EVENTS
        for _, code, when, argument in self.events:
            page[at] = code
            put(page, at + 1, 2, when)
            put(page, at + 3, 2, argument)
            at += EVENT_BYTES
        page[pages.AT_N_SAMPLES] = 0
        page[pages.AT_N_EVENTS] = len(self.events)
        page[pages.AT_FLAGS] = self.flags | FLAG_SUMMARY
        put(page, pages.AT_PEAK_MV, 2, self.peak_mv)
        put(page, pages.AT_PEAK_MA, 2, self.peak_ma)
        page[pages.AT_EVENTS_LOST] = self.events_lost
        crc = pages.Crc()
        crc.feed(page, 0, pages.AT_CRC)
        crc.store(page, pages.AT_CRC)
        return page


def _worth(code):
    return WORTH[code] if code < len(WORTH) else 0


def _count(counts, index):
    if index < len(counts):
        counts[index] = min(counts[index] + 1, MOST)


def _events(page):
    """(code, when, argument) of each; when in the page's own unit, signed."""
    found = []
    for i in range(min(page[pages.AT_N_EVENTS], EVENTS)):
        at = AT_EVENTS + i * EVENT_BYTES
        when = pages.get(page, at + 1, 2)
        if when > 32767:
            when -= 65536
        found.append((page[at], when, pages.get(page, at + 3, 2)))
    return found
