"""The button: bounces, presses, the count read back, and never in the way of stop."""

import check
import machine
import micropython
import time

from asking import again, board
from steadyturn_fw import count, pages
from steadyturn_fw.button import LONG, SHORT, VERY_LONG, Button
from steadyturn_fw.patterns import PARADE, PATTERNS

PIN = 14


def press(down):
    machine.pins[PIN].level = 0 if down else 1


def told(levels):
    """What a button says tick by tick."""
    button = Button(PIN)
    found = []
    for level in levels:
        machine.pins[PIN].level = level
        found.append(button.update(20))
    return found


def test_presses():
    up = [1] * 5
    check.equal(told(up + [0] * 10 + up), [0] * 16 + [SHORT] + [0] * 3, "short, when let go")
    found = told(up + [0] * 60 + up)
    check.equal([f for f in found if f], [LONG], "long, once")
    check.equal(found.index(LONG), 5 + 1 + 50, "after a second")
    found = told(up + [0] * 1000 + up)
    check.equal([f for f in found if f], [LONG, VERY_LONG], "very long, once")
    check.equal(found.index(VERY_LONG), 5 + 1 + 250, "after five seconds")


def test_bounces_and_spikes_are_nothing():
    check.equal(set(told([1] * 5 + [0, 1] * 50)), {0}, "one tick is no press")
    found = told([1] * 5 + [0, 1, 0, 0, 1, 0, 0, 0, 0, 1, 0, 1, 1, 0, 1, 1, 1])
    check.equal([f for f in found if f], [SHORT], "a press that bounces is one")


def test_held_at_start_counts_only_after_it_was_let_go():
    check.equal(set(told([0] * 400 + [1] * 10)), {0}, "held at start")
    check.equal([f for f in told([0] * 400 + [1] * 10 + [0] * 10 + [1] * 3) if f], [SHORT], "then")


def shown(b, ms):
    """(lit, ms) of each spell from now on."""
    machine.lamp.clear()
    b.run(ms)
    found = []
    for one, two in zip(machine.lamp, machine.lamp[1:]):
        if (one[1] > 0) != (two[1] > 0):
            found.append((one[1] > 0, two[0] - one[0]))
    return found


def tap(b, ms=200):
    press(True)
    b.run(ms)
    press(False)
    b.run(60)


def read_count(spells):
    """Tens and ones of a count on a light."""
    tens = ones = 0
    for lit, ms in spells:
        if lit and 960 <= ms <= 1040:
            tens += 1
        elif lit and 230 <= ms <= 270:
            ones += 1
    return tens * 10 + ones


def test_short_press_counts_out_the_percents():
    for number in (0, 1, 7, 10, 20, 34, 99, 120):
        b = board()
        b.set(7500, 0)
        b.run(3000)
        b.loop.tally.counted = number
        tap(b)
        found = shown(b, 1000 + number // 10 * 1400 + number % 10 * 600 + 1200)
        check.equal(read_count(found), number, "count of %d" % number)
        blinks = [ms for lit, ms in found if lit and ms < 120]
        check.equal(blinks, [80, 80] if not number else [], "not one yet: two short blinks")
        b.run(3000)
        check.equal((b.loop.lamp.asked, b.loop.lamp.playing), (False, pages.HOLD), "then the cue")


def test_second_press_ends_it():
    b = board()
    b.set(7500, 0)
    b.run(3000)
    b.loop.tally.counted = 99
    tap(b)
    b.run(3000)
    check.true(b.loop.lamp.asked, "counting")
    tap(b)
    check.equal((b.loop.lamp.asked, b.loop.lamp.playing), (False, pages.HOLD), "back to the cue")


def test_parade_shows_every_pattern_in_its_order():
    b = board()
    b.set(7500, 0)
    b.run(3000)
    press(True)
    b.run(1060)
    press(False)
    rows = []
    for _ in range(2000):
        b.tick()
        if not b.loop.lamp.asked:
            break
        if not rows or rows[-1] != b.loop.lamp.playing:
            rows.append(b.loop.lamp.playing)
    names = [PATTERNS[row][0] for row in rows if PATTERNS[row][0] != "count_gap"]
    check.equal(names, [PATTERNS[row][0] for row, _ in PARADE], "order")
    check.equal(names[:5], ["rest", "faster", "hold", "slower", "stop"], "all cues")
    check.equal(b.loop.lamp.playing, pages.HOLD, "then the cue")


def test_stop_cuts_off_count_and_parade():
    for ms in (200, 1100):
        b = board()
        b.set(7500, 0)
        b.run(5000)
        b.set(6500, 500)
        b.run(3000)
        check.true(b.now.connected, "connected")
        b.loop.tally.counted = 45
        tap(b, ms)
        b.run(1000)
        check.true(b.loop.lamp.asked, "it shows")
        b.set(13000, 900)
        b.tick()
        check.equal((b.now.connected, b.now.cue), (False, pages.STOP), "released in the same tick")
        check.equal((b.loop.lamp.asked, b.loop.lamp.playing), (False, pages.STOP), "and said")
        tap(b)
        check.equal(b.loop.lamp.playing, pages.STOP, "nothing else while it stands")
        found = shown(b, 3000)
        check.equal(found[1:5].count((True, 200)), 2, "even flashes")


def test_stop_during_the_parades_own_stop_stays():
    b = board()
    b.set(7500, 0)
    b.run(3000)
    tap(b, 1100)
    while b.loop.lamp.playing != pages.STOP:
        b.tick()
    b.set(13000, 0)
    b.run(5000)
    check.equal((b.loop.lamp.asked, b.loop.lamp.playing), (False, pages.STOP), "the real one")


def test_new_fault_cuts_it_off():
    b = board()
    b.set(7500, 0)
    b.run(5000)
    b.loop.tally.counted = 99
    tap(b)
    b.run(2000)
    b.chip.dead = True
    b.run(1000)
    check.equal(b.loop.lamp.asked, False, "shown instead")
    check.true(b.loop.lamp.flashes > 0 or b.loop.lamp.playing > 5, "the fault")


def test_stored_fault_is_shown_before_any_count():
    b = board()
    b.set(7500, 0)
    b.run(3000)
    b.set(13000, 900)
    b.run(6000)
    c = again()
    c.set(4000, 0)
    c.run(500)
    tap(c)
    check.equal(c.loop.lamp.asked, False, "not yet")
    c.run(20000)
    tap(c)
    check.equal(c.loop.lamp.asked, True, "then")


def test_presses_do_not_move_the_tick_or_the_load():
    """The same readings with a button that is pressed all the time: the same edges."""
    edges = []
    for busy in (False, True):
        b = board()
        b.set(7500, 0)
        b.run(5000)
        b.set(6500, 500)
        machine.edges.clear()
        for i in range(1500):
            press(busy and i % 90 < 70)  # taps, long and cut off
            b.tick()
        edges.append([edge for edge in machine.edges if edge[1] in (16, 19)])
    check.equal(edges[0], edges[1], "edges")


def test_very_long_press_begins_the_count_anew_and_that_lasts():
    b = board(percent_mj=20000)
    b.set(7500, 0)
    b.run(5000)
    b.set(6500, 500)
    b.run(60000)
    first = b.loop.tally.counted
    check.true(first >= 5, "some percents")
    tap(b, 5200)
    check.equal(b.loop.tally.counted, 0, "none")
    check.true(b.loop.lamp.asked, "and the lamp says so")
    b.run(30000)
    later = b.loop.tally.counted
    check.near(later, first // 2, 1, "counted from there")
    part = b.loop.tally.part_mj + b.loop.tally.part_uj // 1000
    b.loop.writing.flush(True)
    c = again(percent_mj=20000)
    check.equal(c.loop.tally.counted, later, "after the next start")
    check.near(c.loop.tally.part_mj, part, 1, "and what is begun of the next")
    check.equal(c.loop.tally.percents, 0, "no wink for the old ones")


def test_count_file_that_is_none():
    b = board(percent_mj=20000)
    b.set(7500, 0)
    b.run(5000)
    b.set(6500, 500)
    b.run(30000)
    b.loop.writing.flush(True)
    all_of_them = again(percent_mj=20000).loop.tally.counted
    check.true(all_of_them >= 2, "from the beginning")
    for data in (b"", b"\x00" * 7, b"\x01" * 8, b"\x00" * 9):
        with open(count.FILE, "wb") as file:
            file.write(data)
        check.equal(again(percent_mj=20000).loop.tally.counted, all_of_them, repr(data))
    # right, but of totals that this board no longer has
    total = bytes((255,)) * 6
    crc = pages.Crc()
    crc.feed(total, 0, 6)
    with open(count.FILE, "wb") as file:
        file.write(total + bytes((crc.low & 255, crc.low >> 8)))
    check.equal(again(percent_mj=20000).loop.tally.counted, 0, "formatted since")


def test_pin_that_the_board_lacks():
    whole = machine.Pin.__init__

    def strict(self, number, mode=-1, pull=-1, value=None):
        if number > 29:
            raise ValueError("invalid pin")
        whole(self, number, mode, pull, value)

    machine.Pin.__init__ = strict
    try:
        for name in ("button_pin", "lamp_pin", "lamp2_pin"):
            b = board(**{name: 40})
            check.equal(b.loaded.problems, ["pins"], name)
            b.run(1000)
            check.equal(b.now.cue, pages.FAULT, "and says so")
    finally:
        machine.Pin.__init__ = whole


def test_no_button():
    b = board(button_pin=-1)
    check.equal(b.loop.button, None, "none")
    b.run(1000)


def test_no_allocation():
    b = board()
    b.set(7500, 0)
    b.run(5000)
    b.loop.tally.counted = 87
    machine.recording = False
    tick = b.loop.tick
    step = time.sleep_ms
    pin = machine.pins[PIN]
    for held in (10, 60):  # a count, a parade
        micropython.heap_lock()
        try:
            left = 100
            while left:
                pin.level = 0 if left > 100 - held else 1
                step(20)
                tick()
                left -= 1
        finally:
            micropython.heap_unlock()
        check.true(b.loop.lamp.asked, "it shows")
        b.loop.writing.work()
        b.run(12000)
    machine.recording = True


check.run(globals())
