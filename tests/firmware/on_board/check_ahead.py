"""The lamp on hardware that plays by itself: the same shapes, and a flash erase changes none."""

import sys

import bench
import check
import machine
import micropython
import time

for _name in ("pio", "rmt"):
    sys.path.insert(0, bench.__file__.rsplit("/", 1)[0] + "/" + _name)
import esp32  # noqa: E402 - found only now
import rp2  # noqa: E402

from steadyturn_fw import lights, pages, player_pio, player_rmt  # noqa: E402
from steadyturn_fw.lamp import Lamp  # noqa: E402
from steadyturn_fw.patterns import PATTERNS  # noqa: E402

HARDWARE = {"pio": (rp2, player_pio.Player), "rmt": (esp32, player_rmt.Player)}
LONG_MS = 400  # an erase at its worst
FAST = sys.maxsize > 1 << 40


def lamp(hardware, kind="led", target=650, percent=60, low=0):
    """The lamp, and what its pin did."""
    time.now_us = 0
    part, lights.Player = HARDWARE[hardware]
    part.made.clear()
    s = bench.Settings(
        lamp=kind, lamp_percent=percent, lamp_active_low=low, target_dtpm=target,
        lamp2_pin=machine.LAMP2 if kind == "two_led" else -1,
    )
    it = Lamp(lights.fit(s), kind, target)
    check.true(it.ahead is not None, "it plays by itself")
    return it, part.made[0]


def play(it, cue, ms, fault=0):
    while ms > 0:
        time.sleep_ms(20)
        it.update(cue, fault, 20)
        it.tell()
        ms -= 20


def stall(it, cue, ms=LONG_MS, fault=0):
    """As the loop tells it: 200 ms count, the rest is behind."""
    time.sleep_ms(ms)
    it.behind_ms = max(0, ms - 200)
    it.update(cue, fault, min(ms, 200))
    it.tell()


def spells(part, begin=0):
    """(lit, ms) of each whole spell of what was seen, from its first change on."""
    part.sync()
    lit = bytes(part.lit[begin : time.now_us // 1000])
    found = []
    at = 0
    while at < len(lit):
        if lit[at]:
            after = lit.find(b"\0", at)
            found.append((True, (after if after >= 0 else len(lit)) - at))
        else:
            found.append((False, len(lit) - at - len(lit[at:].lstrip(b"\0"))))
        at += found[-1][1]
    return found[1:-1]


def shape(cue):
    """The table's own steps, from the first dark one on."""
    steps = [(bool(level), ms) for level, ms in PATTERNS[cue][1]]
    while steps[0][0]:
        steps.append(steps.pop(0))
    return steps


def near(found, right, what):
    same = len(found) == len(right)
    for (lit, ms), (is_lit, for_ms) in zip(found, right):
        same = same and lit == is_lit and abs(ms - for_ms) <= 3
    if not same:  # in words only then: words take longer than the lamp
        raise AssertionError("%s: %r, should be %r within 3 ms" % (what, found, right))


def test_shapes_are_the_table_s():
    for hardware in HARDWARE:
        for cue, right in (
            (pages.STOP, [(False, 200), (True, 200)] * 3),
            (pages.SLOWER, shape(pages.SLOWER) * 2),
            (pages.FASTER, [(False, 803), (True, 120)] * 3),
            (pages.REST, [(False, 3960), (True, 40), (False, 3960)]),
        ):
            if cue == pages.REST and not FAST and hardware != "pio":
                continue  # 14 s of dark a lamp: one lamp will do on the slow build
            it, part = lamp(hardware)
            play(it, cue, 14000 if FAST or cue == pages.REST else 6000)
            found = spells(part)
            first = 0
            while any(
                [found[first + i][0] != right[i][0] or abs(found[first + i][1] - right[i][1]) > 3
                 for i in (0, 1)]
            ):
                first += 1
            near(found[first : first + len(right)], right, hardware)
        it, part = lamp(hardware)
        play(it, pages.HOLD, 8000)
        part.sync()
        dark = [ms for ms in range(100, 8000) if not part.lit[ms]]
        check.true(len(dark) <= 16, hardware + ": hold is steady")
        it.dark()
        time.sleep_ms(3000)
        part.sync()
        check.equal([ms for ms in range(8010, 11000) if part.lit[ms]], [], "dark at the end")


def test_an_erase_changes_no_flash():
    for hardware in HARDWARE:
        for cue in (pages.STOP, pages.SLOWER, pages.FASTER, pages.REST, pages.HOLD):
            other, undisturbed = lamp(hardware)
            play(other, cue, 4000 + LONG_MS)
            right = spells(undisturbed, 900)
            for at in range(0, 1000, 120 if FAST else 480):
                it, part = lamp(hardware)
                play(it, cue, 2000 + at)
                stall(it, cue)
                play(it, cue, 2000 - at)
                with_stall = spells(part, 900)
                near(with_stall, right, "%s cue %d, stall at %d" % (hardware, cue, at))


def test_never_four_flashes_a_second_whatever_is_held_up():
    for hardware in HARDWARE:
        it, part = lamp(hardware)
        seed = 5
        for _ in range(70 if FAST else 20):
            seed = seed * 1103 + 12345 & 0xFFFFF
            fault = seed >> 9 & 7
            play(it, seed % 5, 20 + seed % 37 * 20, fault if fault < 3 else 0)
            if seed & 0x40:
                it.wink()
            if seed & 0x30 == 0x10:
                stall(it, seed % 5, 45 + (seed >> 6) % 356)
        part.sync()
        rises = [ms for ms in range(1, time.now_us // 1000)
                 if part.lit[ms] and not part.lit[ms - 1]]
        check.true(len(rises) > (30 if FAST else 8), "it flashes: %d" % len(rises))
        for i in range(len(rises) - 3):
            check.true(rises[i + 3] - rises[i] >= 998, "%s at %d ms" % (hardware, rises[i]))


def test_no_motor_runs_longer_than_stated():
    for hardware in HARDWARE:
        it, part = lamp(hardware, "vibration")
        seed = 3
        for _ in range(60 if FAST else 15):
            seed = seed * 1103 + 12345 & 0xFFFFF
            fault = seed >> 9 & 7
            play(it, seed % 5, 20 + seed % 19 * 20, fault if fault < 3 else 0)
            if seed & 0x40:
                it.wink()
            if seed & 0x30:
                stall(it, seed % 5, 45 + (seed >> 6) % 356)
        longest = max([ms for lit, ms in spells(part) if lit])
        check.true(200 < longest <= 603, "%s: %d ms" % (hardware, longest))
        play(it, pages.FAULT, 2000, 2)  # and with a program that hangs for good
        time.sleep_ms(10000)
        part.sync()
        end = time.now_us // 1000
        check.equal([ms for ms in range(end - 7000, end) if part.lit[ms]], [], "still")


def test_brightness():
    for percent in (1, 2, 31, 32, 33, 60, 98, 100) if FAST else (1, 60, 100):
        for low in (0, 1):
            it, part = lamp("pio", percent=percent, low=low)
            play(it, pages.HOLD, 1000)
            part.sync()
            high = sum(part.lit[i] for i in range(500, 600))
            on = 10000 - high if low else high
            # between two tellings the period begins anew
            check.near(on, percent * 100, 100, "%d percent, active low %d" % (percent, low))
    it, part = lamp("rmt", percent=40, low=1)
    check.equal((part.carrier, part.idle), ((2000, 40, False), True), "carrier")
    it, part = lamp("rmt", percent=100)
    check.equal((part.carrier, part.idle), (None, False), "none needed")


def test_second_led_and_motor():
    it, _ = lamp("pio", "two_led")
    first, second = rp2.made
    play(it, pages.HOLD, 3000)
    second.sync()
    check.equal(sum(second.lit[i] for i in range(3000)), 0, "dark while not too much")
    play(it, pages.SLOWER, 4000)
    first.sync()
    second.sync()
    for ms in range(4000, 6900):
        check.equal(first.lit[ms] > 0, second.lit[ms] > 0, "both")


def test_falls_back_where_there_is_none():
    def broken(*arguments):
        raise OSError(12)

    for player in (None, broken):
        lights.Player = player
        light = lights.fit(bench.Settings(lamp="led"))
        check.true(not hasattr(light, "play"), "driven by the program")
    lights.Player = player_pio.Player
    for kind in ("piezo", "rgb"):
        check.true(not hasattr(lights.fit(bench.Settings(lamp=kind)), "play"), kind)


class Silent:
    most_ms = 5000

    def play(self, levels, times, n, hue):
        pass


def test_no_allocation():
    for kind in ("led", "vibration"):
        it = Lamp(Silent(), kind, 650)
        machine.recording = False
        cues = (pages.REST, pages.FASTER, pages.HOLD, pages.SLOWER, pages.STOP)
        micropython.heap_lock()
        try:
            for cue in cues:
                play(it, cue, 3000)
                stall(it, cue)
            it.wink()
            play(it, pages.HOLD, 3000)
            play(it, pages.FAULT, 5000, 2)
        finally:
            micropython.heap_unlock()
            machine.recording = True


check.run(globals())
