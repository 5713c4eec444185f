"""The watchdog: what feeds it, and that it never shuts a host out."""

import check
import machine
import micropython
import time

from asking import board
from starting import NONE, PICO, Stop, fresh, guard
from steadyturn_fw import chips, note, thisboard
from steadyturn_fw.guard import ALL, HOST_WAIT_MS, JOURNAL, LAMP, SAMPLE, SWITCH, Guard


def whole(g, ms, marks=ALL):
    """Ticks in which these parts have run; True when the guard asks for an end."""
    for _ in range(ms // 20):
        time.sleep_ms(20)
        g.marks = marks
        if g.after(20):
            return True
    return False


def test_chips_and_boards_by_their_names():
    for name, chip, key in (
        ("Raspberry Pi Pico with RP2040", "rp2040", "pico"),
        ("Raspberry Pi Pico W with RP2040", "rp2040", "pico_w"),
        ("Raspberry Pi Pico2 with RP2350", "rp2350", "pico2"),
        ("Raspberry Pi Pico 2 W with RP2350", "rp2350", "pico_w"),
        ("Generic ESP32S3 module with ESP32S3", "esp32s3", "esp32_s3"),
        ("ESP32C3 module with ESP32C3", "esp32c3", "esp32_c3"),
        ("Feather RP2040 with RP2040", "rp2040", "pico"),
        ("Generic ESP32 module with ESP32", "", "other"),
        ("", "", "other"),
    ):
        check.equal(thisboard.chip(name), chips.CHIPS[chip], name)
        check.equal(thisboard.key(name), key, name)
    check.equal(thisboard.board_row()["lamp_pin"], 15, "here stand-ins play a Pico")


def test_the_watchdog_starts_late_and_is_fed_by_whole_ticks():
    fresh()
    g = guard()
    whole(g, HOST_WAIT_MS - 40)
    check.equal(machine.dogs, [], "not yet: a host may be on its way")
    whole(g, 100)
    check.equal(len(machine.dogs), 1, "running")
    check.equal(machine.dogs[0].timeout, 8000, "below the chip's most, 8,388 ms")
    whole(g, 1000)
    check.true(len(machine.dogs[0].fed) >= 50, "each tick")


def test_a_tick_without_one_of_the_four_feeds_nothing():
    for missing in (SAMPLE, SWITCH, LAMP, JOURNAL):
        fresh()
        g = guard()
        whole(g, 4000)
        fed = len(machine.dogs[0].fed)
        check.true(fed > 10, "fed")
        whole(g, 9000, ALL - missing)
        check.equal(len(machine.dogs[0].fed), fed, "starves without part %d" % missing)


def test_every_tick_of_the_loop_marks_all_four():
    fresh()
    b = board()
    for mv, ma in ((300, 0), (7500, 0), (6500, 500), (13000, 900)):
        b.set(mv, ma)
        for _ in range(200):
            b.loop.guard.marks = 0
            b.tick()
            check.equal(b.loop.guard.marks, ALL, "%d mV" % mv)
    b.run(35000)  # at rest, when nothing more is recorded
    b.loop.guard.marks = 0
    b.tick()
    check.equal(b.loop.guard.marks, ALL, "at rest")


def test_parts_that_are_skipped_leave_no_mark():
    for part, name, mark in (
        ("switch", "update", SWITCH), ("sensor", "read", SAMPLE),
        ("lamp", "update", LAMP), ("journal", "add", JOURNAL),
    ):
        fresh()
        b = board()
        b.run(2000)

        def broken(*_):
            raise Stop

        setattr(getattr(b.loop, part), name, broken)
        b.loop.guard.marks = 0
        time.sleep_ms(20)
        try:
            b.loop.tick()
            raise AssertionError(part)
        except Stop:
            pass
        check.equal(b.loop.guard.marks & mark, 0, part)


def test_no_watchdog_with_a_host_without_frames_or_unwanted():
    fresh()
    machine.host[0] = True
    whole(guard(), 10000)
    check.equal(machine.dogs, [], "a host is there")
    fresh()
    whole(guard(wanted=False), 10000)
    check.equal(machine.dogs, [], "not wanted")
    whole(guard(chip=NONE), 10000)
    check.equal(machine.dogs, [], "nothing tells of a host there")


def test_a_host_that_comes_later_ends_it():
    fresh()
    g = guard()
    whole(g, 5000)
    machine.host[0] = True
    check.equal(whole(g, 1000), False, "goes on")
    check.equal(machine.memory[machine.DOG_CTRL] >> 30, 0, "stopped")
    fed = len(machine.dogs[0].fed)
    machine.host[0] = False
    whole(g, 20000)
    check.equal((len(machine.dogs), len(machine.dogs[0].fed)), (1, fed), "and stays so")


def test_where_it_cannot_be_stopped_the_board_starts_anew():
    fresh()
    chip = PICO[:3] + (0, 0)
    g = guard(chip=chip)
    whole(g, 5000)
    machine.host[0] = True
    check.equal(whole(g, 1000), True, "asks for an end")
    machine.cause[0] = machine.WDT_RESET
    n = note.Note(chip)
    n.write(note.HOST)
    g = Guard(chip, note.Note(chip), True)
    machine.host[0] = False  # as on a serial bridge, which nothing tells of
    whole(g, 20000)
    check.equal(len(machine.dogs), 1, "none in this start")


def test_a_register_that_does_not_take_it_is_noticed():
    fresh()
    g = guard(chip=PICO[:4] + (0x40059000,))  # clears nothing
    whole(g, 5000)
    check.equal(g.stop(), False, "still running")


def test_the_guard_allocates_nothing():
    fresh()
    machine.recording = False
    machine.memory[machine.DOG_CTRL] = machine.memory[PICO[2]] = 0  # a dict that need not grow
    g = guard()
    after = g.after
    micropython.heap_lock()
    try:
        for _ in range(140):
            time.sleep_ms(20)
            g.marks = ALL
            after(20)
    finally:
        micropython.heap_unlock()
    whole(g, 1000)
    feed = machine.dogs[0]
    machine.dogs[0].feed = None

    class Quiet:
        def feed(self):
            pass

    g.dog = Quiet()
    micropython.heap_lock()
    try:
        for _ in range(600):  # over the moment at which the start counts as good
            time.sleep_ms(20)
            g.marks = ALL
            after(20)
        machine.host[0] = True
        for _ in range(20):
            time.sleep_ms(20)
            after(20)
    finally:
        micropython.heap_unlock()
    check.true(feed is not None and g.good(), "good")
    check.equal(g.dog, None, "stopped")


check.run(globals())
