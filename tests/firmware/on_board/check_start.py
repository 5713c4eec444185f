"""Watchdog, failed starts, safe mode, previous settings: what brings a board back."""

import bench
import check
import machine
import micropython
import os
import sys
import time

from asking import HERE, again, board, events, state, stored
from steadyturn_fw import chips, keeper, main, note, pages, safe, settings, thisboard
from steadyturn_fw.guard import ALL, HOST_WAIT_MS, JOURNAL, LAMP, SAMPLE, SWITCH, Guard

PICO = chips.CHIPS["rp2040"]
NONE = chips.CHIPS[""]


class Stop(BaseException):
    """Ends what never ends by itself."""


def fresh(cause=machine.PWRON_RESET):
    machine.memory.clear()
    machine.dogs.clear()
    machine.host[0] = False
    machine.cause[0] = cause
    note.FILE = HERE + "/starts.bin"


def guard(wanted=True, chip=PICO):
    return Guard(chip, note.Note(chip), wanted)


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


# ---- how starts went


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


# ---- the whole start


class Start:
    """main.run() with a loop of ours; what it did."""

    def __init__(self, loop=None):
        self.resets = 0
        self.raised = ""
        keep = main.Loop, machine.reset, time.sleep_ms
        steps = [0]

        def reset():
            self.resets += 1
            raise Stop

        def sleep(ms):
            steps[0] += 1
            if steps[0] > 20000:
                raise Stop
            keep[2](ms)

        if loop is not None:
            main.Loop = loop
        machine.reset = reset
        safe.sleep_ms = main.sleep_ms = sleep
        self.began = time.now_us
        try:
            main.run()
        except Stop:
            pass
        except KeyboardInterrupt:
            self.raised = "KeyboardInterrupt"
        finally:
            main.Loop, machine.reset, _ = keep
            safe.sleep_ms = main.sleep_ms = keep[2]
        self.ms = (time.now_us - self.began) // 1000


class Here:
    """Settings that are looked for where the test runs."""

    def __init__(self):
        self.labels = []

    def load(self, doubted=False):
        loaded = settings.load(HERE + "/settings.json", doubted)
        self.labels.append(loaded.settings.label)
        return loaded


def here():
    main.settings = Here()
    return main.settings


def broken(*_):
    raise ValueError("a fault of the program")


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


# ---- settings from before


def put(name, data):
    with open(HERE + "/" + name, "wb") as file:
        file.write(data)


def test_settings_that_have_charged_are_kept():
    b = board()
    b.set(7500, 0)
    b.run(3000)
    b.set(6500, 500)
    b.run(8000)
    check.true(b.now.connected, "connected")
    b.set(300, 0)
    b.run(3000)
    check.equal("settings.old.json" in os.listdir(HERE), False, "not proven yet")
    b.set(7500, 0)
    b.run(5000)
    b.set(6500, 500)
    b.run(12000)
    check.equal("settings.old.json" in os.listdir(HERE), False, "not while it charges")
    b.set(300, 0)
    b.run(3000)
    with open(HERE + "/settings.old.json", "rb") as file:
        check.equal(file.read(), b.loaded.file, "the very file")
    check.equal("settings.old.json.new" in os.listdir(HERE), False, "nothing left over")
    b = again()
    check.equal(b.loop.keeper.wanted, False, "once is enough")
    b = again(label="other")
    check.equal(b.loop.keeper.wanted, True, "other settings")


def test_previous_settings_when_the_new_ones_are_refused():
    for bad in (b"", b"rubbish", None):
        board()
        put("settings.old.json", bench.encode(bench.VALUES))
        put("settings.json", bad) if bad is not None else os.remove(HERE + "/settings.json")
        loaded = settings.load(HERE + "/settings.json")
        check.equal((loaded.previous, loaded.settings.label), (True, "bench"), "taken")
        check.true(loaded.problems, "and why is known")


def test_charging_goes_on_with_previous_settings():
    board()
    put("settings.old.json", bench.encode(bench.VALUES))
    b = again(low_dtpm=1)
    b.set(7500, 0)
    b.run(3000)
    b.set(6500, 500)
    b.run(3000)
    now = state(b)
    check.equal((now["connected"], now["fault"], now["settings_ok"]), (1, 1, 2), "state")
    check.equal(now["settings_crc"], b.loaded.crc.high << 16 | b.loaded.crc.low, "whose CRC")
    found = [pair for page in stored(b) for pair in events(page)]
    check.true(("previous_settings", b.loaded.crc.low) in found, "the journal says so")
    check.true(("fault", 1) in found, "as a fault")
    machine.lamp.clear()
    b.run(12000)
    lit = [y[0] - x[0] for x, y in zip(machine.lamp, machine.lamp[1:]) if x[1]]
    check.equal(lit.count(600), 1, "one long flash in ten seconds, between the cue")


def test_pins_that_the_board_lacks_lead_to_the_previous_settings():
    keep = machine.Pin.__init__

    def strict(self, number, mode=-1, pull=-1, value=None):
        if number > 29:
            raise ValueError("invalid pin")
        keep(self, number, mode, pull, value)

    board()
    put("settings.old.json", bench.encode(bench.VALUES))
    machine.Pin.__init__ = strict
    try:
        b = again(switch_pin=40)
        check.equal((b.loaded.previous, b.loaded.problems), (True, ["pins"]), "previous")
        check.equal(state(b)["settings_ok"], 2, "in force")
        values = dict(bench.VALUES)
        values["switch_pin"] = 41
        put("settings.old.json", bench.encode(values))
        b = again(switch_pin=40)
        check.equal(state(b)["settings_ok"], 0, "neither will do")
    finally:
        machine.Pin.__init__ = keep


def test_the_third_start_doubts_the_newest_settings():
    board(label="newest")
    put("settings.old.json", bench.encode(bench.VALUES))
    files = here()
    fresh(machine.WDT_RESET)
    for _ in range(3):
        Start(broken)
    check.equal(files.labels, ["newest", "newest", "bench"], "which were tried")
    os.remove(HERE + "/settings.old.json")
    check.equal(settings.load(HERE + "/settings.json", True).settings.label, "newest", "no others")


def test_a_full_flash_does_not_stop_the_keeper():
    b = board()
    k = keeper.Keeper(b.loaded, b.loop.switch)
    k.name = "/no/such/folder/x"
    k.save()
    check.equal(k.wanted, False, "not again in this start")


assert sys.implementation.name in ("micropython", "cpython")
check.run(globals())
