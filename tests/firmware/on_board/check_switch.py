"""The load switch: connecting, each cause of release, gaps, back-off, pulses."""

import bench
import check
import machine

from steadyturn_fw import pages
from steadyturn_fw.now import Now
from steadyturn_fw.switch import STEADY_MS, Switch


class Place:
    def __init__(self, **changed):
        machine.edges.clear()
        self.switch = Switch(bench.Settings(**changed))
        now = self.now = Now()
        now.validity = pages.VALID
        now.volts = now.amps = True
        now.supply_mv = 4800
        now.cue = pages.HOLD
        self.at(0, 0)

    def at(self, mv, dtpm, ma=None):
        now = self.now
        now.bus_mv = mv
        now.pace_dtpm = now.raw_dtpm = now.ahead_dtpm = dtpm
        if ma is not None:
            now.bus_ma = ma
        now.motor_ma = now.bus_ma + 20

    def run(self, ms):
        """Ticks; ms until the switch changed, -1: it did not."""
        was = self.switch.connected
        for i in range(ms // 20):
            self.switch.update(self.now)
            self.switch.pulse()
            if self.switch.connected != was:
                return (i + 1) * 20
        return -1

    def connect(self):
        self.at(7000, 650)
        check.true(self.run(70000) > 0, "connects")
        return self

    def why(self):
        return pages.REASONS[self.switch.why]


def test_connects_when_the_machine_can_carry_it():
    place = Place()
    place.at(5900, 650)
    check.equal(place.run(5000), -1, "volts too low")
    check.equal(place.why(), "not_yet", "why")
    place.at(7000, 550)
    check.equal(place.run(5000), -1, "pace too low")
    place.at(7000, 650)
    check.equal(place.run(5000), STEADY_MS, "both, for a while")
    check.equal((place.why(), place.now.connected), ("none", True), "connected")


def test_not_before_the_gap_after_boot():
    place = Place()
    place.at(7000, 650)
    check.equal(place.run(5000), 2000, "a boot may follow a connection closely")
    check.equal(place.why(), "none", "why")


def test_each_cause_releases_at_once():
    for change, why in (
        ({"mv": 12000}, "over_voltage"), ({"ma": 2000}, "over_current"),
        ({"dtpm": 1300}, "over_speed"), ({"mv": 3499}, "low_bus"),
    ):
        place = Place().connect()
        place.at(change.get("mv", 6500), change.get("dtpm", 650), change.get("ma", 500))
        check.equal(place.run(20), 20, why)
        check.equal(place.why(), why, "why")
        check.equal(place.now.connected, False, why)


def test_saturation_is_over_current():
    place = Place().connect()
    place.now.saturated = True
    check.equal(place.run(20), 20, "at once")
    check.equal(place.why(), "over_current", "why")


def test_sensor_lost():
    place = Place().connect()
    place.now.validity = pages.VOLTS_ONLY
    place.at(6500, 540, 0)
    check.equal(place.run(5000), -1, "volts only goes on charging")
    place.at(12000, 1000, 0)
    check.equal(place.run(20), 20, "unless they are unsafe")
    place = Place().connect()
    place.now.validity = pages.NO_SENSOR
    check.equal(place.run(20), 20, "without volts it does not")
    check.equal(place.why(), "sensor_lost", "why")


def test_fading():
    place = Place().connect()
    place.now.supply_mv = 3999
    check.equal(place.run(20), 20, "released")
    check.equal(place.why(), "fading", "why")
    place.now.supply_mv = 4050
    check.equal(place.run(5000), -1, "not back yet")
    place.now.supply_mv = 4200
    check.true(place.run(5000) > 0, "back")
    place = Place(fade_mv=0).connect()
    place.now.supply_mv = 0
    check.equal(place.run(2000), -1, "not watched")


def test_gap_between_connections():
    place = Place(gap_ms=3000).connect()
    place.at(6500, 650, 500)
    place.run(500)
    place.at(13000, 650, 0)
    place.run(20)
    place.at(7000, 650, 0)
    check.near(place.run(10000), 3000 - 520, 20, "3 s after the last connection")


def test_backs_off_after_each_collapse():
    place = Place().connect()
    waits = []
    for _ in range(6):
        place.at(6000, 650, 800)
        place.run(100)
        place.at(3000, 640, 900)  # the handle turns on, the volts are gone
        check.equal(place.run(20), 20, "released")
        check.equal(place.switch.collapsed, True, "a collapse")
        place.at(7000, 750, 0)
        waits.append(place.run(100000) + 120)
    for i in range(1, 4):
        check.near(waits[i], 2 * waits[i - 1], 60, "waits double: %r" % waits)
    check.true(max(waits) <= 60000 + 5000, "but not for ever")


def test_a_good_run_forgets_failures():
    place = Place().connect()
    place.at(3000, 640, 900)
    place.run(20)
    check.equal(place.switch.fails, 1, "one")
    place.connect()
    place.at(6500, 650, 500)
    place.run(11000)
    check.equal(place.switch.fails, 0, "forgotten")


def test_handle_let_go_is_no_collapse():
    place = Place().connect()
    place.at(6000, 650, 500)
    place.run(6000)
    place.at(3400, 300, 100)
    place.now.motor_ma = 0  # the capacitor gives the current
    check.equal(place.run(20), 20, "released")
    check.equal((place.switch.collapsed, place.switch.fails), (False, 0), "nobody failed")


def test_failures_ask_for_more_pace():
    place = Place(connect_dtpm=560, target_dtpm=650).connect()
    for least in (605, 650, 695, 725):
        place.at(3000, 640, 900)
        place.run(20)
        place.at(7000, least - 1, 0)
        check.equal(place.run(65000), -1, "not below %d" % least)
        place.at(7000, least, 0)
        check.true(place.run(65000) > 0, "at %d" % least)


def test_not_while_the_pace_falls_fast():
    place = Place()
    place.at(7000, 700)
    place.now.ahead_dtpm = 600
    check.equal(place.run(5000), -1, "700 now, 600 soon")
    place.now.ahead_dtpm = 650
    check.true(place.run(5000) > 0, "nearly steady")


def test_not_on_the_capacitor_alone():
    place = Place()
    place.now.validity = pages.BOUND
    place.at(9000, 750)
    place.now.ahead_dtpm = 730
    check.equal(place.run(5000), -1, "the bus falls and the motors give nothing")
    place.now.ahead_dtpm = 749
    check.true(place.run(5000) > 0, "where nothing draws from the bus a bound is all there is")
    place = Place()
    place.now.cue = pages.REST
    place.now.validity = pages.BOUND
    place.at(9000, 750)
    check.equal(place.run(5000), -1, "but not at rest")


def test_not_while_the_cue_is_stop():
    place = Place()
    place.at(7000, 1200)
    place.now.cue = pages.STOP
    check.equal(place.run(5000), -1, "slow down first")
    place.now.cue = pages.SLOWER
    check.true(place.run(5000) > 0, "then")


def test_asked():
    place = Place().connect()
    place.switch.ask_release(place.now)
    check.equal((place.now.connected, place.why()), (False, "asked"), "released")
    place.at(7000, 650)
    check.equal(place.run(60000), -1, "until the next boot")
    check.equal(place.why(), "asked", "why")


def test_pulses_only_while_connected():
    place = Place()
    place.at(7000, 650)
    place.run(1900)
    check.equal(len([e for e in machine.edges if e[1] == 16]), 1, "its first level")
    place.run(200)
    machine.edges.clear()
    place.run(1000)
    levels = [e[2] for e in machine.edges if e[1] == 16]
    right = [levels[0] ^ i & 1 for i in range(50)]
    check.equal(levels, right, "an edge a tick")
    place.at(13000, 650)
    machine.edges.clear()
    place.run(1000)
    check.equal([e[1:] for e in machine.edges], [(19, 1)],
                "a release makes no edge (it would hold 0.1 s longer), but lets go at once")


def test_without_a_let_go_pin():
    place = Place(let_go_pin=-1).connect()
    place.at(13000, 650)
    machine.edges.clear()
    place.run(1000)
    check.equal((place.now.connected, machine.edges), (False, []), "pulses alone")


def test_stall_counts_as_release():
    place = Place().connect()
    place.switch.stalled(place.now)
    check.equal(place.now.connected, False, "the hardware has let go")
    place.at(7000, 650)
    check.near(place.run(5000), 2000, 40, "and the gap holds")


check.run(globals())
