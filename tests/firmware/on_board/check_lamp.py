"""The lamp: the design's table, the beat, winks, faults, and never four flashes in a second."""

import check
import machine
import time

from steadyturn_fw import pages
from steadyturn_fw.lamp import COLUMN, PATTERNS, Lamp, beat_ms


def lamp(kind="led", target=650, **other):
    time.now_us = 0
    machine.lamp.clear()
    return Lamp(15, kind, other.get("percent", 60), other.get("low", 0), target)


def play(it, cue, ms, fault=0):
    while ms > 0:
        time.sleep_ms(20)
        it.update(cue, fault, 20)
        ms -= 20


def flashes():
    """(lit ms, dark ms after it) of each whole flash, and all rises."""
    changes = machine.lamp
    found = []
    rises = []
    for i, change in enumerate(changes):
        if change[1]:
            rises.append(change[0])
            if i + 2 < len(changes):
                dark = changes[i + 1][0]
                found.append((dark - change[0], changes[i + 2][0] - dark))
    return found, rises


def test_faster_beats_the_target_pace():
    it = lamp(target=650)  # 0.92 s a turn: 1.08 a second
    play(it, pages.FASTER, 10000)
    found, rises = flashes()
    for lit, dark in found[1:]:
        check.equal(lit, 120, "flash")
        check.near(lit + dark, 923, 20, "beat")
    check.near(rises[-1] - rises[0], 923 * (len(rises) - 1), 25, "no drift")


def test_beat_is_doubled_or_halved():
    for dtpm in range(50, 5001, 7):
        ms = beat_ms(dtpm)
        check.true(555 <= ms <= 1111, "%d dtpm: %d ms" % (dtpm, ms))
    check.equal(beat_ms(600), 1000, "60 a minute")
    check.equal(beat_ms(300), 1000, "30 a minute: twice a turn")
    check.near(beat_ms(1200), 1000, 1, "120 a minute: every other turn")


def test_hold_is_steady():
    it = lamp()
    play(it, pages.HOLD, 10000)
    check.equal([level for _, level in machine.lamp], [60 * 65535 // 100], "lit once")


def test_slower_is_a_double_wink():
    it = lamp()
    play(it, pages.SLOWER, 6000)
    found, _ = flashes()
    check.equal(found[1:5], [(120, 120), (800, 120), (120, 120), (800, 120)], "0.8 and 0.12 s")


def test_stop_and_rest():
    it = lamp()
    play(it, pages.STOP, 4000)
    found, rises = flashes()
    check.equal(found[2:6], [(200, 200)] * 4, "2.5 a second")
    it = lamp()
    play(it, pages.REST, 13000)
    found, rises = flashes()
    check.equal([b - a for a, b in zip(rises[1:], rises[2:])], [4000] * 2, "every 4 s")
    check.equal(found[1][0], 40, "a glint")


def test_percent_winks_in_hold():
    it = lamp()
    play(it, pages.HOLD, 3000)
    it.wink()
    it.wink()
    machine.lamp.clear()
    play(it, pages.HOLD, 5000)
    check.equal([level > 0 for _, level in machine.lamp], [False, True] * 2, "two dark winks")
    times = [ms for ms, _ in machine.lamp]
    check.equal((times[1] - times[0], times[3] - times[2]), (600, 600), "long ones")


def test_fault_is_counted():
    for fault in range(1, len(pages.FAULTS)):
        it = lamp()
        play(it, pages.FAULT, 30000, fault)
        found, rises = flashes()
        counts = []
        run = 0
        for lit, dark in found:
            check.equal(lit, 600, "long flashes")
            run += 1
            if dark > 500:
                counts.append(run)
                run = 0
        check.true(len(counts) >= 2, "repeated")
        check.equal(set(counts), {fault}, "count of fault %d" % fault)


def test_fault_that_lets_go_on_is_a_mark():
    it = lamp()
    play(it, pages.HOLD, 20000, pages.FAULT_SENSOR)
    dark = [ms for ms, level in machine.lamp if not level]
    check.true(len(dark) >= 5, "shown now and then")
    lit = 0
    for a, b in zip(machine.lamp, machine.lamp[1:]):
        if a[1]:
            lit += b[0] - a[0]
    check.true(lit > 7000, "and hold in between")


def test_stored_fault_comes_before_any_cue():
    it = lamp()
    it.show_stored(pages.FAULT_SENSOR)
    play(it, pages.FASTER, 9000)
    found, _ = flashes()
    check.equal([lit for lit, _ in found[:4]], [600] * 4, "two rounds of two")
    play(it, pages.FASTER, 6000)
    check.equal(flashes()[0][-1][0], 120, "then the cue")
    it = lamp()
    it.show_stored(pages.FAULT_SENSOR)
    play(it, pages.STOP, 3000)
    check.equal(flashes()[0][2], (200, 200), "but not before stop")


def test_never_more_than_three_flashes_a_second():
    worst = 0
    for kind in COLUMN:
        seed = 7
        it = lamp(kind)
        for _ in range(400):
            seed = seed * 1103 + 12345 & 0xFFFFF
            fault = seed >> 9 & 7
            play(it, seed % 5, 20 + seed % 37 * 20, fault if fault < 3 else 0)
            if seed & 0x40:
                it.wink()
        _, rises = flashes()
        check.true(len(rises) > 100, "it flashes")
        if kind == "piezo":
            continue  # tones do not flash
        for i in range(len(rises) - 3):
            check.true(rises[i + 3] - rises[i] >= 1000, "%s at %d ms" % (kind, rises[i]))
        worst = max(worst, len(rises))


def test_patterns_differ_in_shape():
    for column in (1, 2, 3):
        shapes = []
        for row in PATTERNS[:5]:
            silent = not any([level for level, _ in row[column]])
            shapes.append("silent" if silent else row[column])
        # what sounds or shakes is still at rest and in hold: the hand knows which it is
        check.equal(len(set(shapes)), 5 if column == 1 else 4, "shapes")


def test_active_low_and_brightness():
    it = lamp(percent=25, low=1)
    play(it, pages.HOLD, 100)
    check.equal(machine.lamp[-1][1], 65535 - 25 * 65535 // 100, "lit")
    it.dark()
    check.equal(machine.lamp[-1][1], 65535, "dark")


def test_piezo_has_two_tones():
    it = lamp("piezo")
    it.update(pages.FASTER, 0, 20)
    first = it.pwm.freq()
    play(it, pages.FASTER, 80)
    check.true(it.pwm.freq() > first, "low, then high: faster")
    it = lamp("piezo")
    it.update(pages.SLOWER, 0, 20)
    first = it.pwm.freq()
    play(it, pages.SLOWER, 80)
    check.true(it.pwm.freq() < first, "high, then low: slower")


check.run(globals())
