"""The sensor's own code against the data sheets' worked examples, and what goes wrong.

Sources: Texas Instruments SBOS547 (INA226) table 1, p. 16: 10 A, 12 V, 2 mohm; SBOS448F
(INA219) table 3, p. 24: the same load; SBOS576B (INA3221) p. 27: -80 mV is C180h, and its
limits after power-up: 2710h is 10.000 V, 2328h is 9.000 V.
"""

import bench
import check
import machine
import time

from steadyturn_fw import fields, sensor_ina219, sensor_ina226, sensor_ina3221
from steadyturn_fw.now import Now
from steadyturn_fw.sensor import CHECK_TICKS, LOST_TICKS, Sensor, scale


PARTS = (
    (bench.Ina226, "ina226", sensor_ina226), (bench.Ina219, "ina219", sensor_ina219),
    (bench.Ina3221, "ina3221", sensor_ina3221),
)


def make(part, **changed):
    machine.i2c_devices.clear()
    machine.adc.clear()
    machine.i2c_devices[0x40] = part
    machine.adc[29] = bench.adc_word(4800, 3000)
    sensor = Sensor(bench.Settings(**changed))
    read = sensor.read

    def whole(now):
        """A tick, and what comes after its edge."""
        read(now)
        sensor.look()

    sensor.read = whole
    return sensor, Now()


def test_ina226_table_1():
    chip = bench.Ina226(shunt_uohm=2000)
    chip.set(11980, 10000)
    sensor, now = make(chip, shunt_uohm=2000)
    chip.set_word(0, sensor_ina226.RESET_CONFIG)
    check.equal(sensor.word(sensor_ina226.CONFIG), 0x4127, "configuration")
    check.equal(sensor.word(sensor_ina226.SHUNT), 0x1F40, "shunt: 20 mV")
    check.equal(sensor.word(sensor_ina226.BUS), 0x2570, "bus: 11.98 V")
    sensor.set_word(
        sensor_ina226.CALIBRATION, sensor_ina226.calibration(unit_ua=1000, shunt_uohm=2000)
    )
    check.equal(sensor.word(sensor_ina226.CALIBRATION), 0xA00, "calibration")
    check.equal(sensor.word(sensor_ina226.CURRENT), 0x2710, "current: 10 A")
    check.equal(sensor.word(sensor_ina226.POWER), 0x12B8, "power")
    check.equal(
        0x1F40 * 0xA00 // sensor_ina226.CURRENT_DIVISOR, 0x2710, "current by its equation"
    )
    check.equal(0x2710 * 0x2570 // sensor_ina226.POWER_DIVISOR, 0x12B8, "power by its equation")
    check.equal(0x12B8 * 25, 119800, "119.8 W in mW")
    sensor.read(now)
    check.equal(now.bus_mv, 11980, "mV")
    check.near(now.bus_ma, 10000, 1, "mA")


def test_ina219_table_3():
    chip = bench.Ina219(shunt_uohm=2000)
    chip.set(11980, 10000)
    sensor, now = make(chip, shunt_uohm=2000, chip="ina219")
    # set as in the table: 16 V range, 40 mV, 12 bits
    chip.set_word(0, 0x019F)
    check.equal(sensor.word(sensor_ina219.CONFIG), 0x019F, "configuration")
    check.equal(sensor.word(sensor_ina219.SHUNT), 0x07D0, "shunt: 20 mV")
    bus = sensor.word(sensor_ina219.BUS)
    check.equal(bus & 0xFFF8, 0x5D98, "bus register")
    check.equal(sensor_ina219.bus_bits(bus), 0x0BB3, "bus: 11.98 V")
    sensor.set_word(
        sensor_ina219.CALIBRATION, sensor_ina219.calibration(unit_ua=1000, shunt_uohm=2000)
    )
    check.equal(sensor.word(sensor_ina219.CALIBRATION), 0x5000, "calibration")
    check.equal(sensor.word(sensor_ina219.CURRENT), 0x2710, "current: 10 A")
    check.equal(sensor.word(sensor_ina219.POWER), 0x1766, "power")
    check.equal(0x07D0 * 0x5000 // sensor_ina219.CURRENT_DIVISOR, 0x2710, "by its equation")
    check.equal(0x2710 * 0x0BB3 // sensor_ina219.POWER_DIVISOR, 0x1766, "by its equation")
    check.equal(0x1766 * 20, 119800, "119.8 W in mW")
    chip.set_word(0, sensor_ina219.OUR_CONFIG)
    sensor.read(now)
    check.equal(now.bus_mv, 11980, "mV")
    check.near(now.bus_ma, 10000, 1, "mA")


def test_ina3221_examples():
    chip = bench.Ina3221()
    sensor, now = make(chip, chip="ina3221")
    chip.reset()
    check.equal(sensor.word(sensor_ina3221.CONFIG), 0x7127, "configuration")
    check.equal(sensor.word(sensor_ina3221.VALID_UPPER), 0x2710, "10.000 V")
    check.equal(sensor.word(sensor_ina3221.VALID_LOWER), 0x2328, "9.000 V")
    chip.set(10000, -1600)  # -80 mV over 50 mohm
    check.equal(sensor.word(sensor_ina3221.SHUNT), 0xC180, "shunt: -80 mV")
    check.equal(sensor.word(sensor_ina3221.BUS), 0x2710, "bus: as the limit of 10 V")
    sensor.read(now)
    check.equal((now.bus_mv, now.bus_ma), (10000, -1600), "mV and mA")
    chip.set(9000, 1600)
    check.equal(sensor.word(sensor_ina3221.BUS), 0x2328, "bus: as the limit of 9 V")
    chip.set(-40, 0)
    sensor.read(now)
    check.equal(now.bus_mv, 0, "a little below ground is nothing, not 65 V")


def test_negative_examples_of_the_sheets():
    # SBOS547: -80 mV is 8300h; SBOS448: -320 mV is 8300h in the range of 320 mV, its end
    for make_chip, name, module, nv, ma, ends in (
        (bench.Ina226, "ina226", sensor_ina226, -80000000, -1600, False),
        (bench.Ina219, "ina219", sensor_ina219, -320000000, -6400, True),
    ):
        chip = make_chip()
        sensor, now = make(chip, chip=name)
        chip.mv = 6000
        chip.nv = nv
        check.equal(sensor.word(module.SHUNT), 0x8300, name)
        sensor.read(now)
        check.equal((now.bus_ma, now.saturated), (ma, ends), name)


def test_overflow_of_the_chips_own_arithmetic_does_not_matter():
    # their current and power registers overflow long before the raw ones: these are not used
    for make_chip, name, module in PARTS[:2]:
        chip = make_chip(shunt_uohm=2000)
        chip.set(20000, 30000)
        sensor, now = make(chip, chip=name, shunt_uohm=2000)
        sensor.set_word(module.CALIBRATION, 0x7FFE)
        sensor.until_check = 100
        sensor.read(now)
        check.near(now.bus_ma, 30000, 8, name)
        check.equal((now.bus_mv, now.saturated), (20000, False), name)


def test_negative_currents():
    for make_chip, name, _ in PARTS:
        chip = make_chip()
        sensor, now = make(chip, chip=name)
        for ma in (-1, -20, -500, -1200):
            chip.set(6000, ma)
            total = 0
            for _ in range(100):
                sensor.read(now)
                total += now.bus_ma
            check.near(total, 100 * ma, 80, "%s at %d mA" % (name, ma))
            check.true(now.bus_ma < 0, "one bit below zero is not 65535")


def test_saturation():
    for make_chip, name, most in (
        (bench.Ina226, "ina226", 1638), (bench.Ina219, "ina219", 6400),
        (bench.Ina3221, "ina3221", 3275),
    ):
        chip = make_chip()
        sensor, now = make(chip, chip=name)
        chip.set(6000, most - 20)
        sensor.read(now)
        check.equal(now.saturated, False, name)
        chip.set(6000, most + 500)
        sensor.read(now)
        check.equal(now.saturated, True, name)
        chip.set(6000, -most - 500)
        sensor.read(now)
        check.equal(now.saturated, True, name + " negative")
        chip.set(45000, 100)
        sensor.read(now)
        check.equal(now.saturated, True, name + " volts")


def test_fraction_is_carried():
    # 0.05 mA a bit: 333.35 mA reads 333 or 334, and the mean of many is right
    chip = bench.Ina226()
    sensor, now = make(chip)
    chip.set(5000, 0)
    chip.nv = 6667 * 2500
    total = 0
    for _ in range(1000):
        sensor.read(now)
        total += now.bus_ma
    check.near(total, 333350, 25, "sum of 1,000 readings")


def test_scale():
    for numerator in (1, 3, 25, 1000, 7777, 5000000, 1234567890):
        for denominator in (1, 7, 1000, 65535, 50000000, 1200000000):
            factor, shift = scale(numerator, denominator)
            check.near(factor * denominator, numerator << shift, denominator, "scale")
            if numerator <= 16383 * denominator:
                check.true(0 <= factor <= 16383, "factor")


def test_corrections():
    chip = bench.Ina226()
    sensor, now = make(
        chip, bus_gain_ppm=1010000, bus_offset_mv=-20, amps_gain_ppm=980000, amps_offset_ma=3
    )
    chip.set(10000, 1000)
    total = 0
    for _ in range(100):
        sensor.read(now)
        total += now.bus_ma
    check.near(now.bus_mv, 10080, 2, "mV")
    check.near(total, 98300, 100, "mA")


def test_whole_range_of_shunts():
    # products stay small and the volts over the shunt come back as amps
    for uohm in (500, 2000, 10000, 50000, 100000, 1000000):
        for gain in (800000, 1000000, 1200000):
            chip = bench.Ina226(uohm)
            sensor, now = make(chip, shunt_uohm=uohm, amps_gain_ppm=gain)
            chip.nv = 32000 * 2500
            ma = 32000 * 2500 // uohm * gain // 1000000
            sensor.read(now)
            check.near(now.bus_ma, min(ma, 65535), 2 + ma // 8000, "%d uohm" % uohm)


def test_numbers_stay_small_at_every_extreme_of_the_settings():
    # bounds computed from what a tick multiplies, not sampled readings
    small = 1 << 30
    rows = {row[0]: row for row in fields.WHOLE}
    for make_chip, name, module in PARTS:
        for shunt in rows["shunt_uohm"][1:3]:
            for gain in rows["amps_gain_ppm"][1:3]:
                sensor, now = make(
                    make_chip(), chip=name, shunt_uohm=shunt, amps_gain_ppm=gain,
                    out_shunt_uohm=max(500, shunt), out_amps_gain_ppm=gain,
                    out_bus_gain_ppm=gain,
                )
                most = 32768 * sensor.amps_factor + (1 << sensor.amps_shift)
                check.true(most < small, name + " mA")
                check.true(sensor.amps_factor >= 4096, name + " and fine enough")
                if sensor.out:
                    most = 32768 * sensor.out_factor + (1 << sensor.out_shift)
                    check.true(most < small, name + " mA out")
                    most = module.bus_bits(0x7FFF) * sensor.out_bus_factor
                    check.true(most + sensor.out_bus_half < small, name + " mV out")
        for gain in rows["bus_gain_ppm"][1:3]:
            sensor, now = make(make_chip(), chip=name, bus_gain_ppm=gain)
            most = module.bus_bits(0x7FFF if name == "ina3221" else 0xFFFF)
            check.true(most * sensor.bus_factor + sensor.bus_half < small, name + " mV")
        for divider in rows["divider_permille"][1:3]:
            sensor, now = make(make_chip(), chip=name, divider_permille=divider)
            check.true(65535 * sensor.adc_factor < small, name + " by the ADC")


def test_set_up_is_read_back_and_repaired():
    for make_chip, name, module in PARTS:
        chip = make_chip()
        chip.set(6000, 100)
        sensor, now = make(chip, chip=name)
        check.equal(chip.registers[0], module.OUR_CONFIG, name)
        if name != "ina3221":
            check.equal(chip.registers[5], module.OUR_CALIBRATION, name)
        check.equal(sensor.errors, 0, name)
        chip.reset()  # the chip lost its power for a moment
        for _ in range(CHECK_TICKS):
            sensor.read(now)
        check.equal(chip.registers[0], module.OUR_CONFIG, name + " repaired")
        check.equal((sensor.errors, sensor.repairs), (1, 1), name)
        chip.stopped = True  # it answers, but measures no more
        sensor.read(now)
        check.equal((sensor.repairs, sensor.fresh), (2, False), name + " stale at once")
        chip.stopped = False
        sensor.read(now)
        check.equal((sensor.repairs, sensor.fresh), (2, True), name + " goes on")


def test_alert_is_armed_and_proven():
    chip = bench.Ina226()
    chip.set(6000, 100)
    sensor, now = make(chip, over_mv=12000)
    check.equal(chip.registers[7], 9600, "limit: 12 V in bits of 1.25 mV")
    check.equal(chip.registers[6], 1 << 13, "bus over limit")
    check.equal(sensor.errors, 0, "it told when it was tried")

    class Mute(bench.Ina226):
        def word(self, register):
            word = bench.Ina226.word(self, register)
            return word & ~0x10 if register == 6 else word

    chip = Mute()
    chip.set(6000, 100)
    sensor, now = make(chip, over_mv=12000)
    check.equal(sensor.errors, 1, "an alert that does not tell is counted")
    check.equal(sensor.lost, False, "the readings are good all the same")


def test_wrong_chip():
    chip = bench.Ina219()
    chip.registers[0xFE] = chip.registers[0xFF] = 0
    sensor, now = make(chip, chip="ina226")
    check.equal(sensor.lost, True, "no INA226's identity")
    chip = bench.Ina226()
    sensor, now = make(chip, chip="ina219")
    check.equal(sensor.lost, True, "bit 0 of the calibration can be written: no INA219")
    sensor, now = make(bench.Ina3221(), chip="ina226")
    check.equal(sensor.lost, True, "an INA3221's die is no INA226's")
    sensor, now = make(bench.Ina226(), chip="ina3221")
    check.equal(sensor.lost, True, "nor the other way round")


def test_lost_then_volts_by_the_adc():
    chip = bench.Ina226()
    sensor, now = make(chip)
    chip.set(6500, 300)
    machine.adc[26] = bench.adc_word(6490, 11000)
    sensor.read(now)
    check.equal((now.volts, now.amps), (True, True), "all is well")
    chip.dead = True
    sensor.read(now)
    check.equal(now.bus_ma, 300, "one missed reading keeps the current")
    for _ in range(LOST_TICKS):
        sensor.read(now)
    check.equal(sensor.lost, True, "lost")
    check.equal((now.bus_ma, now.amps, now.volts), (0, False, True), "volts only")
    check.near(now.bus_mv, 6490, 20, "by the ADC")
    check.equal(sensor.errors, LOST_TICKS, "errors")
    chip.dead = False
    machine.edges.clear()
    time.sleep_ms(1000)
    sensor.read(now)
    check.equal(sensor.lost, False, "found again")
    sensor.read(now)
    check.equal((now.bus_mv, now.amps), (6500, True), "its readings")


def test_lost_without_an_adc():
    chip = bench.Ina226()
    sensor, now = make(chip, bus_adc_pin=-1)
    chip.set(6500, 300)
    sensor.read(now)
    chip.dead = True
    for _ in range(LOST_TICKS):
        sensor.read(now)
    check.equal((now.bus_mv, now.volts, now.amps), (0, False, False), "nothing is known")


def test_nine_clocks_free_the_bus():
    chip = bench.Ina226()
    machine.edges.clear()
    make(chip)
    clocks = [edge for edge in machine.edges if edge[1] == 5]
    rises = 0
    for i in range(1, len(clocks)):
        if clocks[i][2] and not clocks[i - 1][2]:
            rises += 1
    check.equal(rises, 9, "clocks")
    data = [edge[2] for edge in machine.edges if edge[1] == 4]
    check.equal(data, [0], "then the data line low and released: a stop")


def test_time_out():
    sensor, now = make(bench.Ina226())
    check.equal(sensor.i2c.timeout, 3000, "us; the port's own is 50,000")


check.run(globals())
