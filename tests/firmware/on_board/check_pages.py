"""Layout and CRC of pages; the page being filled."""

import bench
import check
from binascii import crc32

from steadyturn_fw import pages
from steadyturn_fw.journal import Journal
from steadyturn_fw.now import Now
from steadyturn_fw.tally import Tally


def test_crc_check_value():
    # CRC-32/ISO-HDLC of "123456789", as in many published test suites
    crc = pages.Crc()
    crc.feed(b"123456789", 0, 9)
    check.equal((crc.high, crc.low), (0xCBF4, 0x3926), "check value")


def test_crc_in_pieces_and_against_the_library():
    data = bytes([i * 37 + (i >> 3) & 0xFF for i in range(700)])
    crc = pages.Crc()
    crc.feed(data, 0, 1)
    crc.feed(data, 1, 300)
    crc.feed(data, 300, 700)
    check.equal(crc.high << 16 | crc.low, crc32(data), "whole")
    page = bytearray(4)
    crc.store(page, 0)
    check.equal(pages.get(page, 0, 4), crc32(data), "stored")
    check.true(crc.matches(page, 0), "matches")
    page[3] ^= 1
    check.true(not crc.matches(page, 0), "does not match")


def unpack(page, index):
    """A sample's fields by shifting one 48-bit number: another way than the board's."""
    word = pages.get(page, pages.AT_SAMPLES + 6 * index, 6)
    fields = []
    for bits in (12, 12, 10, 4, 4, 3, 1, 2):
        fields.append(word & (1 << bits) - 1)
        word >>= bits
    return tuple(fields)


def test_sample_round_trip():
    page = bytearray(pages.PAGE_BYTES)
    pages.put_sample(page, 3, 0xABC, 0x123, 0x2F5, 5, 100, pages.SLOWER, 1, pages.BOUND)
    check.equal(
        unpack(page, 3), (0xABC, 0x123, 0x2F5, 5, 14, pages.SLOWER, 1, pages.BOUND), "fields"
    )
    pages.put_sample(page, 0, 99999, 99999, 99999, 99999, 0, pages.FAULT, 0, pages.NO_SENSOR)
    check.equal(unpack(page, 0), (4095, 4095, 1023, 15, 0, 5, 0, 3), "limited, not wrapped")


def test_excess_covers_the_peak():
    for units in range(200):
        code = pages.excess_code(units)
        check.true(pages.EXCESS[code] >= units or code == 15, "covers")
        check.true(code == 0 or pages.EXCESS[code - 1] < units, "smallest")


class Bench:
    def __init__(self, bus_shift=2, amps_shift=1):
        self.tally = Tally(bench.Settings())
        self.journal = Journal(self.tally, bus_shift, amps_shift, 550, 800, 20)
        self.now = Now()
        self.now.validity = pages.VALID
        self.closed = []

    def tick(self, ms=20):
        self.now.t_ms += ms
        self.now.ms = ms
        self.journal.add(self.now)
        self.take()

    def take(self):
        if self.journal.pending:
            self.closed.append(bytes(self.journal.closed))
            self.journal.pending = False


def sound(page):
    return pages.get(page, pages.AT_CRC, 4) == crc32(page[: pages.AT_CRC])


def test_page_of_23_samples():
    b = Bench()
    now = b.now
    now.bus_mv, now.bus_ma, now.pace_dtpm, now.cue = 6503, 501, 652, pages.HOLD
    now.connected = True
    for i in range(500):
        now.bus_mv = 6503 + (i % 10 == 4) * 250
        b.tick()
    check.equal(len(b.closed), 2, "two pages in ten seconds")
    for i, page in enumerate(b.closed):
        check.true(sound(page), "CRC")
        check.equal(page[:3], b"St\x01", "magic and version")
        check.equal(pages.get(page, pages.AT_SEQ, 4), i + 1, "numbers")
        check.equal(pages.get(page, pages.AT_T0, 4), i * 4600, "times join without a gap")
        check.equal(page[pages.AT_N_SAMPLES], 23, "samples")
        for k in range(23):
            # mean 6528 mV is 1632 * 4; peak 6753 is 57 units above: 64 covers it
            check.equal(unpack(page, k), (1632, 251, 130, 12, 0, 2, 1, 0), "sample")
        check.equal(pages.get(page, pages.AT_PEAK_MV, 2), 6753, "peak")
        check.equal(pages.get(page, pages.AT_ON, 4), 23 * (i + 1), "on")
        check.equal(pages.get(page, pages.AT_BAND, 4), 23 * (i + 1), "in band")
        check.equal(pages.get(page, pages.AT_CONNECTED, 4), 23 * (i + 1), "connected")


def test_stall_leaves_no_data():
    b = Bench()
    b.now.bus_mv = 6000
    for _ in range(25):
        b.tick()
    b.tick(900)
    for _ in range(200):
        b.tick()
    page = b.closed[0]
    kinds = []
    for k in range(23):
        at = pages.AT_SAMPLES + 6 * k
        kinds.append(page[at : at + 6] == b"\xff" * 6)
    check.equal(kinds[:9], [False] * 3 + [True] * 3 + [False] * 3, "a hole of 0.6 s")
    check.equal(pages.get(page, pages.AT_ON, 4), 20, "only what was measured")
    check.true(sound(page), "CRC")


def test_early_close():
    b = Bench()
    b.now.bus_mv = 6000
    for _ in range(37):  # three samples and seven ticks
        b.tick()
    b.journal.close(pages.FLAG_FADING)
    b.take()
    page = b.closed[0]
    check.true(sound(page), "CRC over what is unused too")
    check.equal(page[pages.AT_N_SAMPLES], 4, "more than half a sample is kept")
    check.equal(page[pages.AT_FLAGS], pages.FLAG_FADING, "flag")
    b.journal.close(0)
    check.equal(b.journal.pending, False, "nothing, nothing written")
    b.tick()
    check.equal(pages.get(b.journal.page, pages.AT_SEQ, 4), 2, "the next number")
    for _ in range(40):
        b.tick()
    b.journal.close(0, whole=True)
    b.take()
    check.true(sound(b.closed[1]), "CRC made anew")


def test_events():
    b = Bench()
    b.tick()
    b.journal.event(pages.EV_CONNECTED, 6500, 20)
    for _ in range(100):
        b.tick()
    b.journal.event(pages.EV_RELEASED, pages.WHY_LOW_BUS, b.now.t_ms)
    b.journal.event(pages.EV_COLLAPSE, 70000, b.now.t_ms)
    b.journal.event(pages.EV_GAP, 1, b.now.t_ms)
    b.journal.close(0)
    b.take()
    page = b.closed[0]
    rows = []
    for i in range(page[pages.AT_N_EVENTS]):
        at = pages.AT_EVENTS + 5 * i
        rows.append((page[at], pages.get(page, at + 1, 2), pages.get(page, at + 3, 2)))
    check.equal(rows, [(2, 2, 6500), (3, 202, 2), (9, 202, 65535)], "code, 10 ms, argument")
    check.equal(page[pages.AT_EVENTS_LOST], 1, "one found no room")


def test_standing_fault_is_repeated():
    b = Bench()
    b.journal.event(pages.EV_FAULT, pages.FAULT_SENSOR, 0)
    b.journal.standing = pages.FAULT_SENSOR
    for _ in range(250):
        b.tick()
    b.journal.close(0)
    b.take()
    first, second = b.closed
    check.equal(second[pages.AT_EVENTS], pages.EV_FAULT, "again in the next page")
    check.equal(pages.get(second, pages.AT_EVENTS + 1, 2), 0xFFFF, "dated before it")
    check.equal(b.journal.unfinished(second), pages.FAULT_SENSOR, "found at the next boot")
    check.equal(b.journal.unfinished(first), pages.FAULT_SENSOR, "in the first too")
    b.journal.event(pages.EV_FAULT, 2, 0)
    b.journal.event(pages.EV_FAULT_END, 2, 0)
    b.journal.close(0)
    check.equal(b.journal.closed[pages.AT_N_EVENTS], 3, "repeated, begun, ended")
    check.equal(b.journal.unfinished(b.journal.closed), 0, "ended")


def test_follow():
    b = Bench()
    for _ in range(250):
        b.tick()
    other = Bench()
    other.journal.follow(b.closed[0])
    check.equal((other.journal.seq, other.journal.boot), (2, 2), "numbers")
    check.equal(other.tally.on, 23, "totals")


check.run(globals())
