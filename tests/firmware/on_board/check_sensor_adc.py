"""The board's own ADC as the sensor: scale, noise, ripple, limits, smallness of numbers."""

import math

import bench
import check
import machine
import time

from asking import board, state
from steadyturn_fw import fields, pages, sensor_adc
from steadyturn_fw.now import Now
from steadyturn_fw.sensor_adc import AdcSensor

SMALL = 1 << 30


def make(part=None, **changed):
    machine.adc.clear()
    part = part or bench.Amplifier()
    return AdcSensor(bench.Settings(chip="adc", **changed)), Now(), part


def test_volts_and_amps():
    sensor, now, part = make()
    for mv, ma in ((0, 0), (6500, 500), (12000, 1), (24000, 1900), (35000, 3000)):
        part.set(mv, ma)
        total = 0
        for _ in range(100):
            sensor.read(now)
            total += now.bus_ma
        check.near(now.bus_mv, mv, 2 + mv // 2000, "mV")
        check.near(total, 100 * ma, 110 + ma // 5, "mA")
        check.equal((now.volts, now.amps, now.out_known), (True, True, False), "known")


def test_an_amplifier_with_its_zero_in_the_middle_reads_backwards_too():
    part = bench.Amplifier(zero_mv=1650)
    sensor, now, part = make(part, amplifier_zero_mv=1650)
    for ma in (-1200, -20, -3, 0, 3, 1200):
        part.set(6000, ma)
        total = 0
        for _ in range(100):
            sensor.read(now)
            total += now.bus_ma
        check.near(total, 100 * ma, 220, "%d mA" % ma)


def test_the_end_of_a_range_is_told():
    sensor, now, part = make()
    part.set(6000, 3100)
    sensor.read(now)
    check.equal(now.saturated, False, "3.10 V at the amplifier")
    part.set(6000, 3140)
    sensor.read(now)
    check.equal(now.saturated, True, "3.14 V")
    part.set(36200, 100)
    sensor.read(now)
    check.equal(now.saturated, True, "3.29 V behind the divider")
    part.set(6000, 100)
    sensor.read(now)
    check.equal(now.saturated, False, "and back")


def test_corrections():
    sensor, now, part = make(
        bus_gain_ppm=1010000, bus_offset_mv=-20, amps_gain_ppm=980000, amps_offset_ma=3
    )
    part.set(10000, 1000)
    sensor.read(now)
    check.near(now.bus_mv, 10080, 6, "mV")
    check.near(now.bus_ma, 983, 2, "mA")


def test_pins_are_needed():
    for name in ("bus_adc_pin", "amps_adc_pin"):
        try:
            make(**{name: -1})
        except ValueError:
            continue
        check.true(False, "%s: refused" % name)


def test_numbers_stay_small_at_every_extreme_of_the_settings():
    # bounds computed from what the tick multiplies, not sampled readings
    rows = {row[0]: row for row in fields.WHOLE}
    for shunt in rows["shunt_uohm"][1:3]:
        for gain in rows["amps_gain_ppm"][1:3]:
            for amplifier in rows["amplifier_permille"][1:3]:
                sensor, now, part = make(
                    shunt_uohm=shunt, amps_gain_ppm=gain, amplifier_permille=amplifier
                )
                rest = 1 << sensor.amps_shift
                check.true(sensor.amps_shift >= 1, "a shift")
                check.true(65535 * sensor.amps_factor + rest < SMALL, "mA")
                check.true(sensor.amps_factor >= 2048, "and fine enough: 1 in 4,000")
    for divider in rows["divider_permille"][1:3]:
        for gain in rows["bus_gain_ppm"][1:3]:
            sensor, now, part = make(divider_permille=divider, bus_gain_ppm=gain)
            check.true(65535 * sensor.bus_factor < SMALL, "mV")
            check.true(sensor.bus_factor >= 8191, "and fine enough")
    most = (sensor_adc.MOST_COUNT + sensor_adc.BURST) * 65535
    check.true(most < SMALL, "a sum")


class Rippling:
    """ADC pins that move with time: a ripple of some hertz, and noise of one and a half bits."""

    def __init__(self, word, share, hertz):
        self.word, self.share, self.hertz = word, share, hertz
        self.seed = 1

    def read_u16(self):
        time.now_us += 17  # what a reading takes on a board
        noise = 0
        for _ in range(6):
            self.seed = (self.seed * 1103 + 12345) & 0xFFFFF
            noise += (self.seed >> 4) % 68 - 34
        turn = 2 * math.pi * self.hertz * time.now_us / 1000000
        return int(self.word * (1 + self.share * math.sin(turn))) + noise // 2


def spread_of(hertz, share, sampling):
    """Largest deviation of 100 readings' mV from their mean; a tick each 20 ms."""
    time.now_us = 0
    sensor, now, part = make()
    sensor.bus_pin = Rippling(bench.adc_word(6500, 11000), share, hertz)
    sensor.amps_pin = Rippling(bench.adc_word(500, 1000), share, hertz)
    found = []
    for i in range(100):
        end = (i + 1) * 20000 + i * 37 % 300  # a tick is never quite on time
        while sampling and time.now_us < end - 3000:
            sensor.sample()
            time.sleep_us(sensor.gap_us())
        time.now_us = max(time.now_us, end)
        sensor.read(now)
        found.append(now.bus_mv)
    mean = sum(found) / len(found)
    return max([abs(mv - mean) for mv in found])


def test_noise_and_ripple_are_rejected():
    alone = spread_of(0, 0, False)
    check.true(spread_of(0, 0, True) <= alone, "noise: more readings, no more of it")
    check.true(alone < 25, "noise of a bit and a half, 13 mV behind the divider: %d mV" % alone)
    worst = total = 0
    for hertz in (130, 190, 270, 333, 410, 500, 610, 777, 1000, 1300):
        left = spread_of(hertz, 0.02, True)
        total += left
        worst = max(worst, left)
    # 2 % of 6.5 V is 130 mV to each side: none of these keeps step with the readings
    check.true(worst < 90, "ripple left: %d of 130 mV" % worst)
    check.true(total < 10 * 55, "on the mean: %d of 130 mV" % (total // 10))


def test_danger_does_not_wait_for_a_mean():
    b = board(part=bench.Amplifier(), chip="adc")
    b.set(7500, 0)
    b.run(5000)
    check.equal(b.now.connected, True, "connected")
    for _ in range(30):
        b.loop.sampler.sample()
    b.set(12500, 100)  # only the burst of this tick sees it
    b.tick()
    check.equal((b.now.connected, b.now.cue), (False, pages.STOP), "in the same tick")


def test_a_session():
    b = board(part=bench.Amplifier(), chip="adc")
    b.set(7500, 0)
    b.run(5000)
    b.set(6500, 500)
    b.run(600)
    before = state(b)
    b.run(60000)
    now = state(b)
    check.equal((now["connected"], now["fault"], now["validity"]), (1, 0, pages.VALID), "state")
    check.near(now["energy_in_uj"] - before["energy_in_uj"], 195000000, 400000, "3.25 W, 60 s")
    check.equal(now["sensor_errors"], 0, "errors")


def test_the_loop_reads_between_ticks():
    b = board(part=bench.Amplifier(), chip="adc")
    b.set(6500, 500)
    before = time.now_us
    b.loop.idle(before + 18000)
    check.true(8 <= b.loop.sampler.count <= 12, "readings: %d" % b.loop.sampler.count)
    check.near(time.now_us, before + 18000, 1000, "and no longer than asked")


check.run(globals())
