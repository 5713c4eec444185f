"""A step between two loads: when there is one, what is kept of it, and what ends it."""

import check
import machine
import micropython
import sys
import time

from asking import board, events, stored
from steadyturn_fw import pages

FAST = sys.maxsize > 1 << 40
PIN = 22
OHM = 47


class Machine:
    """Volts of an EMF behind 2.5 ohm and the drops, with what is connected to it."""

    def __init__(self, **changed):
        values = {"second_load_pin": PIN, "second_load_mohm": OHM * 1000, "supply_adc_pin": -1,
                  "supply_ma": 0, "capacitor_uf": 0}
        values.update(changed)
        self.b = board(**values)
        self.emf_mv = 7900
        self.draw_mw = 3250
        self.on = []  # ms at which the second load was connected

    def tick(self, ms=20):
        b = self.b
        second = machine.pins[PIN].level
        if second:
            self.on.append(b.now.t_ms)
        mv = self.emf_mv
        ma = 0
        if b.now.connected or second:
            for _ in range(60):
                ma = self.draw_mw * 1000 // mv if b.now.connected else 0
                ma += mv // OHM if second else 0
                mv = (mv + self.emf_mv - b.loop.estimate.sag_mv(ma)) // 2
        b.set(mv, ma)
        b.tick(ms)

    def run(self, ms):
        for _ in range(ms // 20):
            self.tick()


def bursts(m):
    return [page for page in stored(m.b) if page[pages.AT_FLAGS] & pages.FLAG_BURST]


def words(page):
    """(bus mV, mA) of each sample."""
    found = []
    for i in range(page[pages.AT_N_SAMPLES]):
        at = pages.AT_SAMPLES + i * pages.SAMPLE_BYTES
        bus = page[at] | (page[at + 1] & 15) << 8
        amps = page[at + 1] >> 4 | page[at + 2] << 4
        found.append((bus << 2, amps << 1))
    return found


def test_one_burst_a_boot():
    m = Machine()
    m.run(20000)
    check.equal(m.on, [], "not before 20 s of steady hold")
    m.run(20000)
    check.equal(len(m.on), 8, "ticks")
    check.equal(m.on[-1] - m.on[0], 140, "ms between the first and the last")
    found = bursts(m)
    check.equal(len(found), 1, "a page")
    page = found[0]
    check.equal((page[2], page[pages.AT_N_SAMPLES]), (pages.VERSION_WIDER, 23), "whole")
    check.equal(events(page), [("load_step", 1), ("load_step", 0)], "events")
    when = [page[pages.AT_EVENTS + 5 * i + 1] for i in range(2)]
    check.equal(when, [16, 32], "in 10 ms")
    check.equal(pages.get(page, pages.AT_T0, 4), m.on[0] - 160, "t0")
    crc = pages.Crc()
    crc.feed(page, 0, pages.AT_CRC)
    check.true(crc.matches(page, pages.AT_CRC), "CRC")
    read = words(page)
    check.equal(len(set(read[:8])), 1, "before")
    check.equal(set(read[16:]), set(read[:8]), "after")
    step_mv, step_ma = read[0][0] - read[10][0], read[10][1] - read[0][1]
    check.near(step_mv * 1000 // step_ma, 2520, 60, "mohm, and a little of the drops' knee")
    check.equal(pages.get(page, pages.AT_PEAK_MV, 2) + 2 >> 2, read[0][0] >> 2, "peak")
    if FAST:
        m.run(90000)
        check.equal(len(m.on), 8, "never again in this boot")


def test_numbers_and_totals_go_on():
    m = Machine()
    m.run(40000)
    found = stored(m.b)
    check.equal([pages.get(p, pages.AT_SEQ, 4) for p in found], list(range(1, len(found) + 1)),
                "no number left out or given twice")
    n = next(i for i, p in enumerate(found) if p[pages.AT_FLAGS] & pages.FLAG_BURST)
    totals = [pages.get(p, pages.AT_ENERGY_IN, 6) for p in found]
    check.equal(totals[n], totals[n - 1], "the totals of the page before it")
    check.true(totals[n + 1] > totals[n], "and on")
    taken = [pages.get(p, pages.AT_ON, 4) for p in found]
    samples = sum([p[pages.AT_N_SAMPLES] for p in found if not p[pages.AT_FLAGS] & 32])
    check.equal(taken[-1], samples, "a burst's samples are not counted as time")


def test_not_near_a_limit():
    for changed in ({"release_mv": 5400}, {"over_ma": 780}):
        m = Machine(**changed)
        m.run(30000)
        check.equal((m.b.now.connected, m.b.now.cue), (True, pages.HOLD), "steady all the same")
        check.equal((m.on, bursts(m)), ([], []), "%r" % changed)


def test_not_while_the_pace_moves():
    m = Machine()
    m.run(19000)
    burst, now = m.b.loop.extras.burst, m.b.now
    for ahead, begun in ((1030, False), (970, False), (1015, True)):
        burst.steady_ms = 20000
        now.ahead_dtpm = now.pace_dtpm * ahead // 1000
        burst.update(now)
        check.equal(burst.state != 0, begun, "on its way by %d thousandths" % (ahead - 1000))


def test_twenty_seconds_of_hold():
    m = Machine()
    m.run(15000)
    m.emf_mv = 9600  # slower
    m.run(2000)
    m.emf_mv = 7900
    m.run(16000)
    check.equal(m.on, [], "counted anew")


def test_what_ends_it_at_once():
    def over(m):
        m.emf_mv = 15000

    def lost(m):
        m.b.chip.dead = True

    def asked(m):
        m.b.loop.release()

    for what in (over, lost, asked):
        m = Machine()
        while not m.on:
            m.run(20)
        what(m)
        m.run(100)
        check.equal(machine.pins[PIN].level, 0, "off")
        check.true(len(m.on) <= 7, "soon: %d" % len(m.on))
        m.emf_mv = 7900
        m.b.chip.dead = False
        m.run(6000)
        check.equal(bursts(m), [], "half a burst is none")


def test_a_late_tick_ends_it():
    m = Machine()
    while not m.on:
        m.run(20)
    m.tick(60)
    check.equal(machine.pins[PIN].level, 0, "no sample of 20 ms")


def test_off_when_the_program_ends():
    for fault in (0, pages.FAULT_PROGRAM):
        m = Machine()
        while not m.on:
            m.run(20)
        check.equal(machine.pins[PIN].level, 1, "connected")
        m.b.loop.stop(fault)
        check.equal(machine.pins[PIN].level, 0, "and off")


def test_a_rig_without():
    b = board()
    check.equal(b.loop.extras.burst, None, "no pin")
    check.equal(PIN in machine.pins, False, "which is not touched")


def test_nothing_is_allocated():
    m = Machine()
    m.run(18000)
    machine.recording = False
    b = m.b
    burst = b.loop.extras.burst
    mv, ma = b.chip.mv, b.now.bus_ma
    b.set(mv, ma)
    before = micropython.mem_total() if FAST else 0
    for _ in range(14):  # 14 * 0.5 s: a page is closed in between, and stored outside
        micropython.heap_lock()
        try:
            for _ in range(25):
                time.sleep_ms(20)
                b.loop.tick()
        finally:
            micropython.heap_unlock()
        if FAST:
            check.equal(micropython.mem_total() - before, 0, "ticks of a burst")
        b.loop.writing.work()
        before = micropython.mem_total() if FAST else 0
    check.equal(burst.state, 5, "it was one")


check.run(globals())
