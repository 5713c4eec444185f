"""How starts went, safe mode, and what brings a board back."""

import bench
import check
import machine
import os

from asking import HERE, again, board, events, stored
from starting import NONE, PICO, Start, broken, fresh, guard, here
from steadyturn_fw import main, note, pages, safe, settings


class Rtc:
    kept = bytearray()

    def memory(self, data=None):
        if data is None:
            return bytes(Rtc.kept)
        Rtc.kept = bytearray(data)
        return None


def kinds():
    """A note in a register, in the RTC's memory, in a file."""
    yield PICO
    machine.RTC = Rtc
    try:
        Rtc.kept = bytearray()
        yield NONE
    finally:
        del machine.RTC
    yield NONE


def test_failed_starts_are_counted_and_forgotten():
    for number, chip in enumerate(kinds()):
        bench.clear(HERE)
        os.mkdir(HERE)
        fresh(machine.WDT_RESET)
        for fails in range(4):
            n = note.Note(chip)
            check.equal(n.fails, fails, "failed starts, kind %d" % number)
            n.write(note.STARTING, n.fails)
            n.write(note.FAILED, n.fails)
        n = note.Note(chip)
        n.write(note.RUNNING)
        check.equal(note.Note(chip).fails, 0, "one that ran long enough")
        n = note.Note(chip)
        n.write(note.FAILED, 1)
        machine.cause[0] = machine.PWRON_RESET
        check.equal(note.Note(chip).fails, 0, "power lost: the board did nothing wrong")


def test_a_reset_while_starting_is_a_failed_start():
    fresh(machine.WDT_RESET)
    note.Note(PICO).write(note.STARTING, 1)
    n = note.Note(PICO)
    check.equal((n.state, n.fails), (note.STARTING, 2), "the watchdog bit")
    n.write(note.ENDED)
    check.equal(note.Note(PICO).fails, 0, "Ctrl-C is none")


def test_rubbish_in_the_register_counts_as_nothing():
    for word in (0, 1, -1, 0x3FFFFFFF, 0xFFFFFFFF, 0x5375 << 8, 1 << 24):
        fresh(machine.WDT_RESET)
        machine.memory[PICO[2]] = word
        n = note.Note(PICO)
        check.equal((n.state, n.fails), (0, 0), "%x" % word)


def test_a_good_start_writes_nothing_to_the_flash():
    bench.clear(HERE)
    os.mkdir(HERE)
    fresh()
    n = note.Note(NONE)
    for what in (note.STARTING, note.RUNNING, note.ENDED):
        n.write(what)
    check.equal(os.listdir(HERE), [], "no file")


def test_three_failed_starts_lead_to_safe_mode_and_out_again():
    board()
    here()
    fresh(machine.WDT_RESET)
    for fails in range(3):
        s = Start(broken)
        check.equal((s.resets, note.Note(PICO).fails), (1, fails + 1), "a failed start")
    machine.lamp.clear()
    machine.edges.clear()
    s = Start(broken)
    check.equal(s.resets, 1, "it ends by itself where nobody comes")
    check.near(s.ms, safe.ALONE_MS, 1000, "after a minute")
    lit = [b[0] - a[0] for a, b in zip(machine.lamp, machine.lamp[1:]) if a[1]]
    check.equal(set(lit), {600}, "long flashes and nothing else")
    check.equal([e for e in machine.edges if e[1] in (16, 19)], [], "the load stays released")
    check.equal(note.Note(PICO).state, note.SAFE, "why")
    check.equal(note.Note(PICO).fails, 0, "counted anew")
    b = again()
    found = [pair for page in stored(b) for pair in events(page)]
    check.true(("safe_mode", 3) in found, "the journal says so")


def test_a_held_button_leads_to_safe_mode():
    board()
    here()
    fresh()
    whole_pin = machine.Pin.value
    down = [True]

    def value(self, level=None):
        if level is None and self.number == 14:
            return 0 if down[0] else 1
        return whole_pin(self, level)

    machine.Pin.value = value
    try:
        s = Start(broken)
        check.near(s.ms, safe.HELD_MS + safe.ALONE_MS, 1500, "held for 3 s, then safe")
        check.equal(note.Note(PICO).state, 0, "its power was not cut: cause says power-up")
        machine.cause[0] = machine.WDT_RESET
        s = Start(broken)
        check.equal(note.Note(PICO).state, note.FAILED, "a stuck button does not lock it in")
        fresh()
        ticks = [0]

        def short(self, level=None):
            if level is None and self.number == 14:
                ticks[0] += 1
                return 0 if ticks[0] < 100 else 1
            return whole_pin(self, level)

        machine.Pin.value = short
        Start(broken)
        machine.cause[0] = machine.WDT_RESET
        check.equal(note.Note(PICO).state, note.FAILED, "let go after 2 s: a normal start")
    finally:
        machine.Pin.value = whole_pin
    b = again()
    found = [pair for page in stored(b) for pair in events(page)]
    check.true(("safe_mode", 0) in found, "the journal says so")


def test_safe_mode_stays_while_a_host_is_there():
    board()
    here()
    fresh(machine.WDT_RESET)
    note.Note(PICO).write(note.FAILED, 2)
    machine.host[0] = True
    s = Start(broken)
    check.equal(s.resets, 0, "no end")
    check.true(s.ms > 2 * safe.ALONE_MS, "for long")


def test_safe_mode_outlives_a_broken_journal():
    board()
    here()
    fresh(machine.WDT_RESET)
    note.Note(PICO).write(note.FAILED, 2)
    from steadyturn_fw import store

    keep = store.Store.__init__
    store.Store.__init__ = broken
    try:
        s = Start(broken)
    finally:
        store.Store.__init__ = keep
    check.equal(s.resets, 1, "to its end all the same")


def test_ctrl_c_in_a_start_is_no_failure():
    board()
    here()
    fresh(machine.WDT_RESET)

    def stopped(*_):
        raise KeyboardInterrupt

    note.Note(PICO).write(note.FAILED, 1)
    s = Start(stopped)
    check.equal((s.resets, s.raised), (0, "KeyboardInterrupt"), "to the prompt")
    check.equal(note.Note(PICO).fails, 0, "flash by that way clears the count")


def test_a_watchdog_that_bit_is_told():
    b = board()
    b.run(1000)
    fresh(machine.WDT_RESET)
    note.Note(PICO).write(note.RUNNING)
    from steadyturn_fw import loop

    g = guard()
    check.true(g.bitten, "known")
    told = loop.Loop(settings.load(HERE + "/settings.json"), main.board_row(), g)
    check.equal(told.lamp.stored, pages.FAULT_PROGRAM, "shown before any cue")
    told.writing.flush()
    b.loop = told
    found = [pair for page in stored(b) for pair in events(page)]
    check.true(("boot", machine.WDT_RESET) in found, "why it started")
    check.true(("fault", 6) in found and ("fault_end", 6) in found, "and what had happened")
    note.Note(PICO).write(note.ENDED)
    check.equal(guard().bitten, False, "after Ctrl-C")


check.run(globals())
