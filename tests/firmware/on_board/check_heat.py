"""The thermistor: too hot, cool again, wires broken and shorted, and what the board does."""

import bench
import check
import machine
import micropython
import time

from asking import board, events, state, stored
from steadyturn_fw import pages
from steadyturn_fw.heat import Heat
from steadyturn_fw.now import Now

PIN = 27


def at(mv):
    machine.adc[PIN] = min(mv * 65536 // 3300 + 1, 65535)


class Place:
    def __init__(self):
        self.heat = Heat(bench.Settings(heat_adc_pin=PIN))  # 600, 750 and 2800 mV
        self.now = Now()

    def run(self, mv, ms=3000):
        """ms until it changes, -1: it does not."""
        at(mv)
        was = self.now.too_hot
        for i in range(ms // 20):
            self.heat.read(self.now)
            if self.now.too_hot != was:
                return (i + 1) * 20
        return -1


def test_the_limit_and_back():
    place = Place()
    check.equal(place.run(601), -1, "not yet")
    check.true(place.run(598) > 0, "too hot")
    check.equal(place.run(749), -1, "not cool enough")
    check.true(place.run(752) > 0, "cool again")
    check.equal(place.run(1650), -1, "25 degC")
    check.equal(place.run(2799), -1, "the coldest there is")


def test_broken_and_shorted_wires_count_as_too_hot():
    for mv in (3300, 0):
        place = Place()
        check.equal(place.run(mv), 20, "from the first reading on: %d" % mv)
        place = Place()
        check.equal(place.run(1650), -1, "well")
        check.true(0 < place.run(mv) <= 1000, "within a second: %d" % mv)
        check.true(0 < place.run(1650) <= 1000, "and mended")


def test_a_single_wild_reading_releases_nothing():
    place = Place()
    place.run(1650)
    for mv in (0, 3300):
        check.equal(place.run(mv, 20), -1, "%d" % mv)
        check.equal(place.run(1650, 400), -1, "after %d" % mv)


def test_not_fitted():
    heat = Heat(bench.Settings(heat_adc_pin=-1))
    now = Now()
    machine.adc[PIN] = 0
    for _ in range(100):
        heat.read(now)
    check.equal(now.too_hot, False, "nothing is read")


def test_no_small_integer_is_left():
    """Bounds at the ends of pin and settings, computed."""
    most = max(65535 * 3300, 3300 * 16 + 3300)
    check.true(most < 1 << 30, "product and mean")


def test_the_board_releases_tells_and_connects_again():
    b = board(heat_adc_pin=PIN)
    at(1650)
    b.set(7500, 0)
    b.run(5000)
    b.set(6500, 500)
    b.run(2000)
    check.equal(b.now.connected, True, "connected")
    at(400)
    b.run(1000)
    now = state(b)
    check.equal((now["connected"], pages.REASONS[now["why"]]), (0, "over_temperature"), "why")
    check.equal(now["fault"], pages.FAULT_TEMPERATURE, "fault 7")
    b.set(7500, 0)
    b.run(8000)
    check.equal(b.now.connected, False, "as long as it is hot")
    at(1650)
    b.run(10000)
    now = state(b)
    check.equal((now["connected"], now["fault"]), (1, 0), "cool again")
    b.loop.release()
    b.run(6000)
    names = [pair for page in stored(b) for pair in events(page)]
    check.true(("released", pages.WHY_OVER_TEMPERATURE) in names, "why it was released")
    check.true(("fault", pages.FAULT_TEMPERATURE) in names, "and the fault")


def test_nothing_is_allocated():
    b = board(heat_adc_pin=PIN)
    machine.recording = False
    b.set(7500, 0)
    for mv in (1650, 400, 3300):
        at(mv)
        b.run(3000)
        micropython.heap_lock()
        try:
            for _ in range(50):
                time.sleep_ms(20)
                b.loop.tick()
        finally:
            micropython.heap_unlock()
        b.loop.writing.work()


check.run(globals())
