"""When the flash may be erased: never with the load connected where no hardware guards it, one
at a time and in a calm moment where it does, counted; and the load never waits for long."""

import check
import machine
import sys
import time

from asking import board, events, state, stored
from steadyturn_fw import pages, writing
from steadyturn_fw.held import Held
from steadyturn_fw.writing import CALM_MS

ERASE_MS = 45
FAST = sys.maxsize > 1 << 40


class Slow:
    """The board's store, each write of which erases."""

    def __init__(self, b):
        self.store = b.loop.store
        self.real = b.loop.store.write
        self.now = b.now
        self.edges = machine.edges
        self.times = []  # t_ms, connected
        b.loop.store.write = self.write

    def write(self, page, hurry=False):
        self.times.append((time.now_us // 1000, self.now.connected))
        time.sleep_ms(ERASE_MS)
        return self.real(page, hurry)


def cranking(**changed):
    b = board(**changed)
    b.set(7500, 0)
    b.run(3000)
    b.set(6500, 500)
    b.run(3000)
    check.equal(b.now.connected, True, "connected")
    return b


def connected_writes(slow):
    return [t for t, connected in slow.times if connected]


def test_with_the_hardware_cut_pages_go_on_and_are_counted():
    b = cranking()
    slow = Slow(b)
    b.run(30000)
    found = connected_writes(slow)
    check.true(6 <= len(found) <= 20, "a page each 4.6 s, and moves: %d" % len(found))
    b.loop.release()
    b.run(6000)
    found_pages = stored(b)
    lost = sum([page[pages.AT_EVENTS_LOST] for page in found_pages])
    told = [e for page in found_pages for e in events(page) if e[0] == "erase_connected"]
    check.near(len(told) + lost, len(found), 1, "each an event, the newest still under way")
    check.equal(set([ms for _, ms in told]), {ERASE_MS}, "with its length")


def test_without_it_nothing_is_written_while_connected():
    b = cranking(hardware_cut=0)
    slow = Slow(b)
    b.run(50000 if FAST else 10000)
    check.equal(slow.times, [], "no erase may come")
    energy = state(b)["energy_in_uj"]
    held = b.loop.journal.held.count
    check.true(held >= (9 if FAST else 0), "they wait in memory")
    b.loop.release()
    b.run(3000)
    check.true(len(slow.times) > held, "the release makes room")
    found = stored(b)
    check.equal([pages.get(p, pages.AT_SEQ, 4) for p in found], list(range(1, len(found) + 1)),
                "none is lost")
    page = found[-1]
    check.near(pages.get(page, pages.AT_ENERGY_IN, 6) // 1000, energy // 1000, 16000,
               "the newest page's totals have it all but the page under way")


def test_without_it_a_page_a_minute_has_the_load_released():
    b = cranking(hardware_cut=0)
    slow = Slow(b)
    begin = time.now_us // 1000
    whole = writing.BLIND_MS
    writing.BLIND_MS = 30000 if FAST else 10000
    try:
        while not slow.times:
            b.run(20)
        check.near(slow.times[0][0] - begin, writing.BLIND_MS, 5000, "so long it may wait")
    finally:
        writing.BLIND_MS = whole
    check.equal((b.now.connected, connected_writes(slow)), (False, []), "released before")
    b.set(7500, 0)
    b.run(3000)
    check.equal(b.now.connected, True, "and connected again")
    b.loop.release()
    b.run(200)
    found = [pair for page in stored(b) for pair in events(page)]
    check.true(("released", pages.WHY_WAITING) in found, "told")


def test_what_fades_stores_the_newest():
    b = cranking(hardware_cut=0)
    b.run(20000)
    slow = Slow(b)
    energy = state(b)["energy_in_uj"]
    b.supply(3900)
    b.run(60)
    check.equal(len(slow.times), 1, "there is energy for one")
    page = stored(b)[-1]
    check.true(page[pages.AT_FLAGS] & pages.FLAG_FADING, "the newest")
    check.near(pages.get(page, pages.AT_ENERGY_IN, 6), energy, 200000, "its totals have all")


def test_memory_for_pages_that_wait():
    held = Held(3)
    ours = [bytearray([i]) for i in range(5)]
    spares = [held.keep(page) for page in ours[:3]]
    check.equal(len(set([id(spare) for spare in spares])), 3, "a buffer each")
    check.true(held.keep(ours[3]) is ours[3], "full: what comes is dropped")
    check.true(held.oldest() is ours[0], "the oldest stays")
    held.done()
    check.true(held.keep(ours[3]) is ours[0], "its buffer again")
    for page in ours[1:4]:
        check.true(held.oldest() is page, "in order")
        held.done()
    check.equal(held.count, 0, "none left")


def test_one_at_a_time():
    # a tick that ran through, and its edge, between any two of them
    b = cranking()
    slow = Slow(b)
    for _ in range(3):
        b.loop.journal.close(0)
        b.loop.journal.begin(b.now.t_ms)
        b.loop.journal.event(pages.EV_GAP, 0, b.now.t_ms)
        b.run(200)
    check.true(len(slow.times) >= 3, "written")
    for a, z in zip(slow.times, slow.times[1:]):
        ours = [e for e in machine.edges if e[1] == 16 and a[0] < e[0] <= z[0]]
        check.true(len(ours) >= 1, "an edge between")


def waits(b, ms):
    """ms until a page that is closed now is written."""
    slow = Slow(b)
    b.loop.journal.event(pages.EV_GAP, 0, b.now.t_ms)
    b.loop.journal.close(0)
    begin = time.now_us // 1000
    b.run(ms)
    check.equal(b.now.connected, True, "still connected")
    return slow.times[0][0] - begin if slow.times else -1


def test_calm_moments():
    check.near(waits(cranking(), 1000), 20, 1, "at once")
    b = cranking()
    b.set(11500, 900)
    b.run(60)  # the bus rises towards its limit
    check.near(waits(b, 1000), CALM_MS, 40, "near the limit it waits, but not for ever")
    b = cranking()
    b.now.pace_dtpm = b.now.raw_dtpm
    b.loop.estimate.pace = 0
    check.equal(b.loop.switch.calm(b.now), True, "steady")
    b.now.raw_dtpm = b.now.pace_dtpm * 5 // 4
    check.equal(b.loop.switch.calm(b.now), False, "a pace that runs away")
    b.now.raw_dtpm = b.now.pace_dtpm * 3 // 4
    check.equal(b.loop.switch.calm(b.now), False, "or falls away")
    b.now.raw_dtpm = b.now.pace_dtpm
    b.now.cue = pages.STOP
    check.equal(b.loop.switch.calm(b.now), False, "told to stop")


def test_not_just_after_a_connection():
    b = board()
    b.set(7500, 0)
    while not b.now.connected:
        b.run(20)
    check.near(waits(b, 1000), CALM_MS, 40, "the converter starts first")


def test_a_volt_too_many_in_an_erase_is_met_in_the_next_tick():
    b = cranking()
    slow = Slow(b)
    real = slow.write

    def write(page, hurry=False):
        begun = time.now_us
        done = real(page, hurry)
        b.set(13000, 900)  # rose at the erase's begin
        b.begun = begun
        return done

    b.loop.store.write = write
    b.begun = 0
    while not b.begun:
        b.tick()
    time.sleep_ms(0)
    b.loop.tick()
    check.equal(b.now.connected, False, "in the first tick after it")
    check.true((time.now_us - b.begun) // 1000 <= ERASE_MS + 20, "ms")


def test_fading_waits_for_nothing():
    b = cranking(hardware_cut=0)
    slow = Slow(b)
    b.supply(3800)
    b.run(40)
    check.equal(b.now.connected, False, "released")
    check.true(len(slow.times) >= 1, "and stored")


check.run(globals())
