"""What only a real board can show, measured there:

    mpremote run firmware/board_trials.py

The firmware and a rig's settings should be on the board (`steadyturn flash`), its sensor
wired, nobody cranking: the load is released meanwhile. Each line tells PASS, FAIL (with the
limit), VALUE (nothing to compare it with) or SKIP (and why). needs_a_board.md has the list,
and the trials that need a hand. What stays on the board: a start in the journal, and /sag.txt
from `sag`.
"""

import gc
import os
import sys
import time

import machine

FILE = "/trial.bin"
SAG_FILE = "/sag.txt"
TRIAL = 0x5475  # in the register that outlives a reset: this script has run before
BUCKETS_MS = (1, 3, 10, 30, 60, 120, 250, 500)
TICKS = 500
PAGES = 150
READS = 200
STEADY_TICK_US = 3000  # what budget.md allows with its guessed cache, rounded up
STALL_MS = 800  # two erases of 400 ms, the worst of a data sheet
GC_MS = 10
I2C_US = 400

failed = [0]


def tell(what, name, value, limit=""):
    if what == "FAIL":
        failed[0] += 1
    print("%-5s %s: %s%s" % (what, name, value, " (at most %s)" % limit if limit != "" else ""))


def judge(name, value, limit, unit):
    verdict = "PASS" if value <= limit else "FAIL"
    tell(verdict, name, "%d %s" % (value, unit), "%d %s" % (limit, unit))


def truth(name, good, value=""):
    tell("PASS" if good else "FAIL", name, value)


def timed(function, *arguments):
    """us that a call takes."""
    begun = time.ticks_us()
    function(*arguments)
    return time.ticks_diff(time.ticks_us(), begun)


# ---- what it is


def board():
    from steadyturn_fw import VERSION, thisboard

    name = thisboard.machine_name()
    tell("VALUE", "board", name)
    tell("VALUE", "its pins are those of", thisboard.key(name))
    tell("VALUE", "MicroPython", ".".join([str(n) for n in sys.implementation.version[:3]]))
    tell("VALUE", ".mpy version", getattr(sys.implementation, "_mpy", 0) & 255)
    tell("VALUE", "firmware", VERSION)
    tell("VALUE", "clock", "%d MHz" % (machine.freq() // 1000000))
    tell("VALUE", "reset cause", machine.reset_cause())
    return thisboard.chip(name)


def start():
    """The import is most of a start: compiling where the files are source."""
    gc.collect()
    free = gc.mem_free()
    ms = timed(__import__, "steadyturn_fw.main") // 1000
    gc.collect()
    tell("VALUE", "importing the firmware", "%d ms" % ms)
    tell("VALUE", "heap that it takes", "%d bytes" % (free - gc.mem_free()))
    tell("VALUE", "heap left", "%d bytes" % gc.mem_free())


# ---- USB, watchdog, the word over a reset


def usb(chip):
    frame_at, mask = chip[:2]
    if not frame_at:
        tell("SKIP", "USB frame number", "nothing is known of this chip")
        return
    numbers = set()
    for _ in range(20):
        numbers.add(machine.mem32[frame_at] & mask)
        time.sleep_ms(5)
    truth("USB frame number changes with a host", len(numbers) > 10, "%d of 20" % len(numbers))


def watchdog(chip):
    from steadyturn_fw.guard import Guard
    from steadyturn_fw.note import Note

    if not chip[3]:
        tell("SKIP", "a running watchdog is stopped", "not on this chip")
        return
    guard = Guard(chip, Note(chip), True)
    guard.dog = machine.WDT(timeout=2000)
    truth("a running watchdog is stopped", guard.stop())
    time.sleep_ms(2500)
    truth("it does not bite any more", True)  # or this line never comes


def note(chip):
    """Compares with what the last run has left: reset the board between two runs."""
    from steadyturn_fw.note import MAGIC

    if not chip[2]:
        tell("SKIP", "word over a reset", "in the RTC's memory or a file here: look at fails")
        return
    word = machine.mem32[chip[2]]
    if word == TRIAL << 8:
        tell("PASS", "word over a reset", "kept since the last run")
    elif word >> 8 == MAGIC:
        tell("VALUE", "word over a reset", "the firmware's own; 'mpremote reset', run again")
    else:
        tell("VALUE", "word over a reset", "none: power was lost, or the first run")
    machine.mem32[chip[2]] = TRIAL << 8
    truth("it can be written", machine.mem32[chip[2]] == TRIAL << 8)


# ---- flash


def flash():
    """As the journal writes: small files anew, and appends; how long each stops the board."""
    counts = [0] * (len(BUCKETS_MS) + 1)
    worst = 0
    page = bytearray(220)
    for i in range(PAGES):
        mode = "ab" if i % 8 == 7 else "wb"
        begun = time.ticks_us()
        with open(FILE if mode == "wb" else FILE + "log", mode) as file:
            file.write(page)
        ms = time.ticks_diff(time.ticks_us(), begun) // 1000
        worst = max(worst, ms)
        at = 0
        while at < len(BUCKETS_MS) and ms >= BUCKETS_MS[at]:
            at += 1
        counts[at] += 1
    for name in (FILE, FILE + "log"):
        os.remove(name)
    low = 0
    for i in range(len(counts)):
        high = "%d" % BUCKETS_MS[i] if i < len(BUCKETS_MS) else "more"
        tell("VALUE", "flash writes of %d to %s ms" % (low, high), counts[i])
        low = BUCKETS_MS[min(i, len(BUCKETS_MS) - 1)]
    judge("longest flash write", worst, STALL_MS, "ms")


# ---- the loop


def loop():
    """Ticks of the whole program with this board's settings, the load released for good."""
    from steadyturn_fw import main, settings
    from steadyturn_fw.loop import Loop

    loaded = settings.load()
    if loaded.settings is None:
        tell("SKIP", "ticks, sensor", "no settings: 'steadyturn flash RIG'")
        return
    if loaded.previous:
        tell("VALUE", "settings", "the previous ones: %s" % ", ".join(loaded.problems))
    made = []
    ms = timed(lambda: made.append(Loop(loaded, main.board_row()))) // 1000
    tell("VALUE", "making the loop (journal's recovery included)", "%d ms" % ms)
    it = made[0]
    it.release()
    times = []
    try:
        for _ in range(TICKS):
            time.sleep_ms(18)
            times.append(timed(it.tick))
            it.writing.work()
    finally:
        it.stop()
    times.sort()
    judge("a steady tick (the middle of %d)" % TICKS, times[TICKS // 2], STEADY_TICK_US, "us")
    judge("the longest tick", times[-1], 20000, "us")
    errors = it.sensor.errors if it.sensor is not None else -1
    truth("the sensor answered", errors == 0, "%d errors" % errors)
    tell("VALUE", "reservoir", "%d mV" % it.now.supply_mv)
    tell("VALUE", "bus", "%d mV, %d mA" % (it.now.bus_mv, it.now.bus_ma))
    gc.collect()
    judge("a collection with the program loaded", timed(gc.collect) // 1000, GC_MS, "ms")
    _i2c(loaded.settings)


def _i2c(s):
    if s.chip == "adc":
        tell("SKIP", "reading a register", "no chip in this rig")
        return
    bus = machine.I2C(s.i2c_id, sda=machine.Pin(s.sda_pin), scl=machine.Pin(s.scl_pin),
                      freq=400000, timeout=3000)
    two = bytearray(2)
    total = 0
    try:
        for _ in range(READS):
            total += timed(bus.readfrom_mem_into, s.address, 2, two)
    except OSError:
        tell("FAIL", "reading a register", "the chip does not answer")
        return
    judge("reading a register of the chip", total // READS, I2C_US, "us")


# ---- by hand: see needs_a_board.md


def sag():
    """Writes the reservoir's volts to a file, again and again, until the power is gone."""
    from steadyturn_fw import settings

    s = settings.load().settings
    pin = machine.ADC(machine.Pin(s.supply_adc_pin))
    while True:
        mv = pin.read_u16() * 3300 // 65535 * s.supply_permille // 1000
        with open(SAG_FILE, "a") as file:
            file.write("%d\n" % mv)
        time.sleep_ms(50)


def sag_found():
    try:
        with open(SAG_FILE) as file:
            rows = [int(line) for line in file if line.strip().isdigit()]
    except OSError:
        tell("SKIP", "lowest supply at which a write completed", "no /sag.txt: see sag()")
        return
    if rows:
        tell("VALUE", "lowest supply at which a write completed", "%d mV of %d rows" % (
            min(rows), len(rows)))


def run():
    chip = board()
    start()
    usb(chip)
    note(chip)
    flash()
    loop()
    sag_found()
    watchdog(chip)
    print("%d failed" % failed[0] if failed[0] else "all that was tried is as it should be")


if __name__ == "__main__":
    run()
