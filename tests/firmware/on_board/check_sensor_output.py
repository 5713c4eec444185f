"""An INA3221's second channel, at the converter's output."""

import bench
import check
import machine

from steadyturn_fw.now import Now
from steadyturn_fw.sensor import Sensor


def make(part, **changed):
    machine.i2c_devices.clear()
    machine.adc.clear()
    machine.i2c_devices[0x40] = part
    machine.adc[29] = bench.adc_word(4800, 3000)
    return Sensor(bench.Settings(chip="ina3221", **changed)), Now()


def test_two_channels():
    chip = bench.Ina3221(out_shunt_uohm=100000)
    sensor, now = make(chip, out_shunt_uohm=100000)
    chip.set(6800, 400, 5096, 480)
    sensor.read(now)
    check.equal((now.bus_mv, now.bus_ma), (6800, 400), "input")
    check.equal((now.out_known, now.out_mv, now.out_ma), (True, 5096, 480), "output")
    chip.out_nv = 11 * 40000  # 4.4 mA: the fraction waits for the next reading
    total = 0
    for _ in range(1000):
        sensor.read(now)
        total += now.out_ma
    check.near(total, 4400, 2, "sum of 1,000 readings")
    chip.set(6800, 400, 5096, -16)
    sensor.read(now)
    check.equal(now.out_ma, -16, "backwards")
    chip.set(6800, 400, 5096, 1700)
    sensor.read(now)
    check.equal(now.saturated, True, "the output's shunt at its end")
    chip.set(6800, 400, 33000, 100)
    sensor.read(now)
    check.equal(now.saturated, True, "the output's volts at their end")
    chip.set(6800, 400, 5096, 100)
    sensor.read(now)
    check.equal(now.saturated, False, "and back")
    chip.dead = True
    sensor.read(now)
    check.equal((now.out_known, now.out_mv), (False, 0), "a missed reading is not the last one")
    chip = bench.Ina3221()
    sensor, now = make(chip)
    chip.set(6800, 400, 5096, 480)
    sensor.read(now)
    check.equal((now.out_known, now.out_mv), (False, 0), "no shunt there: no output channel")


def test_whole_range_of_output_shunts():
    for uohm in (500, 2000, 50000, 1000000):
        chip = bench.Ina3221(out_shunt_uohm=uohm)
        sensor, now = make(chip, out_shunt_uohm=uohm)
        for sign in (1, -1):
            chip.out_nv = sign * 4000 * 40000
            ma = sign * 4000 * 40000 // uohm
            ma = max(-65535, min(ma, 65535))
            sensor.read(now)
            check.near(now.out_ma, ma, 2 + abs(ma) // 8000, "%d uohm" % uohm)


def test_corrections_of_the_output():
    chip = bench.Ina3221(out_shunt_uohm=100000)
    sensor, now = make(
        chip, out_shunt_uohm=100000, out_bus_gain_ppm=990000,
        out_bus_offset_mv=12, out_amps_gain_ppm=1020000, out_amps_offset_ma=-4,
    )
    chip.set(6800, 400, 5096, 500)
    total = 0
    for _ in range(100):
        sensor.read(now)
        total += now.out_ma
    check.near(now.out_mv, 5057, 1, "mV: 5096 * 0.99 + 12")
    check.near(total, 50600, 30, "mA: 500 * 1.02 - 4")
    check.equal((now.bus_mv, now.bus_ma), (6800, 400), "the input's are its own")
    chip.set(6800, 400, 0, 0)
    sensor, now = make(chip, out_shunt_uohm=100000, out_bus_offset_mv=-500)
    sensor.read(now)
    check.equal(now.out_mv, 0, "never below nothing")


check.run(globals())
