"""The lamp: the design's table, the beat, winks, faults, and never four flashes in a second."""

import bench
import check
import machine
import micropython
import time

from steadyturn_fw import lights, pages
from steadyturn_fw.lamp import Lamp
from steadyturn_fw.patterns import COLUMN, HUES, MUCH, PATTERNS, VIBRATION_MS, beat_ms

SHINE = [kind for kind in COLUMN if COLUMN[kind] == 1]


def lamp(kind="led", target=650, percent=60, low=0):
    time.now_us = 0
    for told in (machine.lamp, machine.second, machine.pixels):
        told.clear()
    s = bench.Settings(
        lamp=kind, lamp_percent=percent, lamp_active_low=low, target_dtpm=target,
        lamp2_pin=machine.LAMP2 if kind == "two_led" else -1,
    )
    it = Lamp(lights.fit(s), kind, target)
    machine.lamp.clear()  # a pixel is made dark at the start
    machine.pixels.clear()
    return it


def play(it, cue, ms, fault=0):
    while ms > 0:
        time.sleep_ms(20)
        it.update(cue, fault, 20)
        ms -= 20


def flashes():
    """(lit ms, dark ms after it) of each whole flash, and all rises."""
    changes = []
    for change in machine.lamp:  # another colour or tone is no new flash
        if not changes or (change[1] > 0) != (changes[-1][1] > 0):
            changes.append(change)
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
    check.equal(found[1:5], [(500, 120), (120, 120), (500, 120), (120, 120)], "0.5 and 0.12 s")


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
    for kind in COLUMN:
        for fault in range(1, len(pages.FAULTS)):
            it = lamp(kind)
            play(it, pages.FAULT, 24000, fault)
            found, rises = flashes()
            counts = []
            run = 0
            for lit, dark in found:
                check.equal(lit, 600, kind + ": long flashes")
                run += 1
                if dark > 500:
                    counts.append(run)
                    run = 0
            check.true(len(counts) >= 2, "repeated")
            check.equal(set(counts), {fault}, "%s: count of fault %d" % (kind, fault))


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
    for kind in COLUMN:
        it = lamp(kind)
        it.show_stored(pages.FAULT_SENSOR)
        play(it, pages.FASTER, 9000)
        found, _ = flashes()
        check.equal([lit for lit, _ in found[:4]], [600] * 4, kind + ": two rounds of two")
        machine.lamp.clear()
        play(it, pages.FASTER, 6000)
        check.equal(flashes()[0][-1][0], 120, kind + ": then the cue")
    for kind in ("led", "two_led", "rgb", "vibration"):
        it = lamp(kind)
        it.show_stored(pages.FAULT_SENSOR)
        play(it, pages.STOP, 3000)
        check.equal(flashes()[0][2], (200, 200), kind + ": but not before stop")


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
    for cue, rising in ((pages.FASTER, True), (pages.SLOWER, False)):
        heard = []
        whole = machine.PWM.freq

        def told(self, value=None):
            heard.append(value)
            return whole(self, value)

        s = bench.Settings(lamp="piezo")
        machine.PWM.freq = told
        try:
            it = Lamp(lights.fit(s), "piezo", 650)
            play(it, cue, 200)
        finally:
            machine.PWM.freq = whole
        check.equal(heard, [1500, 2500] if rising else [2500, 1500], "low-high, high-low")


def shapes(changes):
    """(lit, ms) of each whole spell."""
    found = []
    for a, b in zip(changes, changes[1:]):
        if (a[1] > 0) != (b[1] > 0):
            found.append((a[1] > 0, b[0] - a[0]))
    return found


def everything(it):
    """All cues, winks and faults one after the other."""
    for cue in (pages.REST, pages.FASTER, pages.HOLD, pages.SLOWER, pages.STOP):
        play(it, cue, 6000)
    it.wink()
    play(it, pages.HOLD, 3000)
    play(it, pages.FAULT, 12000, pages.FAULT_SENSOR)
    it.show_stored(pages.FAULT_OVER_VOLTAGE)
    play(it, pages.FASTER, 12000)


def test_all_that_shine_show_the_same_shapes():
    seen = {}
    for kind in SHINE:
        it = lamp(kind)
        everything(it)
        seen[kind] = shapes(machine.lamp)
    check.true(len(seen["led"]) > 80, "many")
    for kind in SHINE:
        check.equal(len(seen[kind]), len(seen["led"]), kind)
        for (lit, ms), (led, right) in zip(seen[kind], seen["led"]):
            check.equal(lit, led, kind)
            check.near(ms, right, 1, kind)  # a pixel's bits take 30 us


def test_second_led_repeats_what_is_too_much():
    it = lamp("two_led")
    for cue in (pages.REST, pages.FASTER, pages.HOLD):
        play(it, cue, 5000)
    it.wink()
    play(it, pages.HOLD, 3000)
    check.equal([level for _, level in machine.second if level], [], "dark while not too much")
    for cue, fault in ((pages.SLOWER, 0), (pages.STOP, 0), (pages.FAULT, 2)):
        play(it, cue, 2000, fault)
        machine.lamp.clear()
        machine.second.clear()
        play(it, cue, 8000, fault)
        check.true(len(machine.second) > 5, "it shows")
        check.equal(shapes(machine.second), shapes(machine.lamp), "the first one's shape")


def test_pixel_has_a_color_for_each_meaning():
    it = lamp("rgb", percent=100)
    full = {
        pages.REST: (0x2B, 0, 0x72), pages.FASTER: (0x2B, 0, 0x72), pages.HOLD: (0x57, 0, 0x2C),
        pages.SLOWER: (0x58, 0xCA, 0), pages.STOP: (0x1D, 0xAA, 0),
    }
    for cue in (pages.HOLD, pages.SLOWER, pages.HOLD, pages.STOP, pages.FASTER, pages.REST):
        play(it, cue, 1500)  # the last pattern ends
        machine.pixels.clear()
        play(it, cue, 5000)
        found = set([p for _, p in machine.pixels if p != bytes(3)])
        if cue == pages.HOLD:
            check.equal(machine.pixels, [], "steady: nothing is sent again")
        else:
            check.equal(found, set((bytes(full[cue]),)), "green, red, blue of cue %d" % cue)
    it = lamp("rgb", percent=50)
    play(it, pages.HOLD, 100)
    check.equal(machine.pixels[-1][1], bytes((43, 0, 22)), "half as bright")
    play(it, pages.SLOWER, 20)
    check.equal(machine.pixels[-1][1], bytes(3), "the wink begins it")
    play(it, pages.SLOWER, 140)
    check.equal(machine.pixels[-1][1], bytes((44, 101, 0)), "another colour")
    check.equal(len(machine.pixels), 3, "written only on change")


def test_hues_say_what_the_shapes_say():
    check.equal(len(HUES), len(PATTERNS), "one each")
    names = [row[0] for row in PATTERNS]
    bad = [name for name, hue in zip(names, HUES) if hue >= MUCH]
    check.equal(bad, ["slower", "stop", "fault_lead", "fault_flash", "fault_pause"], "second LED")


def test_nothing_vibrates_longer_than_stated():
    longest = 0
    seed = 11
    it = lamp("vibration")
    for _ in range(600):
        seed = seed * 1103 + 12345 & 0xFFFFF
        fault = seed >> 9 & 7
        play(it, seed % 5, 20 + seed % 19 * 20, fault if fault < 3 else 0)
    everything(it)
    for lit, ms in shapes(machine.lamp):
        if lit:
            longest = max(longest, ms)
    check.true(200 < longest <= VIBRATION_MS, "%d ms" % longest)
    for name, _, _, steps in PATTERNS[:5]:
        pulses = [ms for level, ms in steps if level]
        check.true(max(pulses or [0]) <= 200, name + ": short pulses")


def test_without_settings_led_and_pixel_light():
    time.now_us = 0
    machine.pixels.clear()
    machine.edges.clear()
    it = Lamp(lights.Unknown({"lamp_pin": 15, "own_lamp_pin": -1}), "led", 600)
    play(it, pages.FAULT, 10000, 1)
    lit = [(ms, level) for ms, pin, level in machine.edges if pin == 15]
    high = [b[0] - a[0] for a, b in zip(lit, lit[1:]) if a[1] and not b[1]]
    check.true(len(high) >= 3, "it counts")
    for ms in high:
        check.near(ms, 600, 2, "long flashes of an LED")
    check.true(len([1 for _, data in machine.pixels if max(data)]) == len(high), "and of a pixel")


def test_no_allocation_on_any_kind():
    for kind in COLUMN:
        it = lamp(kind)
        cues = (pages.REST, pages.FASTER, pages.HOLD, pages.SLOWER, pages.STOP)
        machine.recording = False
        micropython.heap_lock()
        try:
            for cue in cues:
                play(it, cue, 3000)
            it.wink()
            play(it, pages.HOLD, 3000)
            play(it, pages.FAULT, 5000, 2)
        finally:
            micropython.heap_unlock()
            machine.recording = True


check.run(globals())
