"""The turn sensor: bounces, exact pace, counted turns, slip either way, a dead one."""

import bench
import check
import machine
import micropython
import sys
import time

from asking import board, events, state, stored
from steadyturn_fw import pages
from steadyturn_fw.now import Now
from steadyturn_fw.turn import Turn

FAST = sys.maxsize > 1 << 40
PIN = 17
EMF_UV = 120000


class Crank:
    """A handle whose magnets pass the contact; the volts follow it unless the gears slip."""

    def __init__(self, b, pulses=1, bounce=0):
        self.b = b
        self.pulses = pulses
        self.bounce = bounce  # further closings, 0.3 ms apart
        self.turned = 0  # dtpm * us
        self.grip = 1000  # of the motors, in thousandths
        self.dead = False
        self.noise = False

    def _pass(self, us):
        """Time goes on by us; the contact is shut for the first sixth of each pulse."""
        time.now_us += us
        if self.dead:
            return
        pin = machine.pins[PIN]
        shut = self.turned * self.pulses % 600000000 < 100000000
        if shut == (not pin.level):
            return
        for _ in range(self.bounce):
            pin.see(0)
            time.now_us += 150
            pin.see(1)
            time.now_us += 150
        pin.see(0 if shut else 1)

    def tick(self, dtpm, ma=500):
        left = 20000
        while left:
            self.turned += dtpm * 2000
            self._pass(2000)
            left -= 2000
        emf_mv = dtpm * self.grip // 1000 * EMF_UV // 10000
        b = self.b
        if not b.now.connected and b.loop.switch.connect_mv:
            ma = 0
        sag = b.loop.estimate.sag_mv(ma + b.loop.estimate.supply_ma)
        b.set(max(0, emf_mv - sag), ma if emf_mv > sag else 0)
        b.loop.tick()
        b.loop.writing.work()

    def run(self, ms, dtpm, ma=500):
        while ms > 0:
            self.tick(dtpm, ma)
            ms -= 20

    def turns_m(self):
        return self.turned // 600000


def fitted(pulses=1, bounce=0, **changed):
    changed["turn_pin"] = PIN
    changed["turn_pulses"] = pulses
    changed["supply_adc_pin"] = -1
    return Crank(board(**changed), pulses, bounce)


def test_pulses_are_counted_once_however_they_bounce():
    for pulses in (1, 4, 24) if FAST else (24,):
        for bounce in (0, 3):
            crank = fitted(pulses, bounce)
            turn = crank.b.loop.estimate.turn
            # 65 turns a minute and 2 ms steps: a pulse of 24 is shut for 6 ms
            crank.run(6000, 650)
            check.near(turn.count, crank.turned * pulses // 600000000, 1, "%d" % pulses)


def test_pace_is_exact_where_the_volts_are_not():
    for pulses in (1, 3) if FAST else (3,):
        crank = fitted(pulses, emf_uv_per_tpm=EMF_UV * 108 // 100)
        crank.run(8000, 650)
        now = crank.b.now
        check.near(now.pace_dtpm, 650, 3, "%d pulses: by volts it were 602" % pulses)
        check.equal((now.measured, now.validity), (True, pages.VALID), "measured")
        check.equal(state(crank.b)["validity"], pages.MEASURED, "and told")
        crank.run(300, 700)  # quick all the same: within a third of a second
        check.near(now.raw_dtpm, 700, 4, "the next pace")


def test_turns_are_counted_also_without_current():
    for pulses in (1, 2, 6) if FAST else (2,):
        crank = fitted(pulses, conduct_ma=200, supply_ma=0, capacitor_uf=0)
        crank.run(2000, 0, 0)
        for dtpm, ma in ((300, 0), (650, 500), (200, 0), (700, 400)):
            crank.run(12000, dtpm, ma)
            check.equal(crank.b.now.validity, pages.VALID, "pace known at %d" % dtpm)
            check.near(crank.b.now.pace_dtpm, dtpm, dtpm // 50 + 2, "and right")
        turns = crank.b.loop.tally.turns.units()
        # from the very first pulse on; the part of a turn before it has no current
        check.near(turns, crank.turns_m(), 1000 // pulses + 60, "%d pulses" % pulses)


def test_without_pulses_the_volts_count():
    crank = fitted(2)
    crank.dead = True
    crank.run(20000, 650)
    check.near(crank.b.loop.tally.turns.units(), crank.turns_m(), 150, "turns")
    check.equal((crank.b.now.measured, crank.b.now.connected), (False, True), "goes on charging")
    check.near(crank.b.now.pace_dtpm, 650, 5, "pace by volts")


def told(crank):
    return [pair for page in stored(crank.b) for pair in events(page)]


def until_told(crank, ms, dtpm):
    """ms until FAULT_GEARS stands, or 0."""
    for i in range(ms // 20):
        crank.tick(dtpm)
        if crank.b.loop.faults.left_ms[pages.FAULT_GEARS]:
            return 20 * (i + 1)
    return 0


def test_slipping_gears_are_told():
    crank = fitted(2)
    crank.run(10000, 600)
    crank.grip = 780  # the motors turn by 22 % less than the handle
    took = until_told(crank, 15000, 700)
    check.true(3000 <= took <= 6000, "%d ms" % took)
    check.equal(crank.b.now.measured, False, "then by volts")
    crank.run(20000, 700)
    found = [pair for pair in told(crank) if pair[0] == "slip"]
    check.equal(len(found), 1, "once a minute")
    check.near(found[0][1], 1282, 25, "700 turns where the volts tell 546")
    check.true(("fault", pages.FAULT_GEARS) in told(crank), "fault")
    check.equal(crank.b.now.connected, True, "the load stays")
    if not FAST:
        return
    crank.run(60000, 700)
    check.equal(len([pair for pair in told(crank) if pair[0] == "slip"]), 2, "and again")
    crank.grip = 1000
    crank.run(8000, 650)
    check.equal(crank.b.now.measured, True, "believed again")
    check.near(crank.b.now.pace_dtpm, 650, 3, "pace")


def test_turns_without_volts():
    crank = fitted(1)
    crank.run(6000, 600)
    crank.grip = 0  # a motor lead came off
    took = until_told(crank, 30000, 650)
    check.true(0 < took <= 9000, "%d ms" % took)
    crank.run(5000, 650)
    found = [pair for pair in told(crank) if pair[0] == "slip"]
    check.true(found and found[0][1] > 3000, "by far too many turns: %r" % (found,))


def test_a_dead_sensor_is_told_and_charging_goes_on():
    crank = fitted(2)
    crank.run(10000, 650)
    before = crank.b.loop.tally.turns.units(), crank.turns_m()
    crank.dead = True
    took = until_told(crank, 20000, 650)
    check.true(0 < took <= 10000, "%d ms" % took)
    crank.run(10000, 650)
    check.true(("slip", 0) in told(crank), "volts without turns")
    now = crank.b.now
    check.equal((now.connected, now.validity, now.measured), (True, pages.VALID, False), "on")
    check.equal(crank.b.loop.tally.connections, 1, "never let go")
    after = crank.b.loop.tally.turns.units(), crank.turns_m()
    check.near(after[0] - before[0], after[1] - before[1], 550, "a pulse's share off")


def test_a_sensor_that_chatters_is_not_believed():
    crank = fitted(1)
    crank.run(10000, 650)
    pin = machine.pins[PIN]
    for _ in range(600):
        for _ in range(2):  # 100 pulses a second from somewhere
            pin.see(0)
            time.now_us += 5000
            pin.see(1)
            time.now_us += 5000
        crank.b.loop.tick()
        crank.b.loop.writing.work()
    now = crank.b.now
    check.equal((now.connected, now.measured), (True, False), "still charging")
    check.near(now.pace_dtpm, 650, 5, "by volts")
    check.near(crank.b.loop.tally.turns.units(), 22 * 650 // 600 * 1000, 2600, "turns too")


def test_a_rest_is_no_fault():
    crank = fitted(4, supply_ma=0)
    for _ in range(6 if FAST else 2):
        crank.run(6000, 650)
        crank.run(3000, 0, 0)
        crank.run(2000, 250, 0)
        crank.run(40000 if FAST else 4000, 0, 0)
    check.equal([pair for pair in told(crank) if pair[0] == "slip"], [], "nothing to tell")
    check.near(crank.b.loop.tally.turns.units(), crank.turns_m(), 2000, "turns")


def test_pages_say_whose_pace_it_is():
    crank = fitted(2)
    crank.run(20000, 650)
    flags = [page[pages.AT_FLAGS] & pages.FLAG_PACE_MEASURED for page in stored(crank.b)]
    check.equal((flags[1], flags[-1]), (0, 128), "first by volts in part, then measured")
    crank.dead = True
    crank.run(12000, 650)
    check.equal(stored(crank.b)[-1][pages.AT_FLAGS] & 128, 0, "dead")
    plain = board()
    plain.set(6500, 500)
    plain.run(12000)
    check.equal(stored(plain)[-1][pages.AT_FLAGS] & 128, 0, "a rig without")


def test_the_clocks_wrap_has_no_effect():
    crank = fitted(2)
    for period in (1 << 30, 1 << 29):
        time.now_us += (period - 3000000) - time.now_us % period
        crank.b.loop.last_us = time.ticks_us()
        crank.run(12000, 650)
        check.near(crank.b.now.pace_dtpm, 650, 3, "over the wrap")
        check.equal(crank.b.now.measured, True, "measured")
    # a rest longer than half of the period, then the next pulse counts
    for _ in range(2200 if FAST else 50):
        time.now_us += 300000
        crank.b.loop.tick()
    turn = crank.b.loop.estimate.turn
    before = turn.count, crank.turned
    crank.run(6000, 650)
    check.near(turn.count - before[0], (crank.turned - before[1]) * 2 // 600000000, 1, "pulses")


def test_a_port_without_hard_interrupts():
    class Soft(machine.Pin):
        def irq(self, handler, trigger, **more):
            if more:
                raise TypeError
            self.handler = handler

    from steadyturn_fw import turn as module

    whole = module.Pin
    module.Pin = Soft
    try:
        turn = Turn(bench.Settings(turn_pin=PIN, turn_pulses=1))
        check.equal(turn.pin.handler, turn._edge, "set all the same")
    finally:
        module.Pin = whole


def test_nothing_is_allocated():
    crank = fitted(2)
    crank.run(10000, 650)
    machine.recording = False
    b = crank.b
    pin = machine.pins[PIN]
    level = 0
    for mv, ma in ((5000, 500), (6500, 500), (300, 0), (9000, 300)):
        b.set(mv, ma)
        for each in range(10 if FAST else 3):
            before = micropython.mem_total() if FAST else 0
            micropython.heap_lock()
            try:
                for i in range(100):
                    time.sleep_ms(10)
                    if i % (9 + each) == 0:
                        pin.see(level)
                        level ^= 1
                    time.sleep_ms(10)
                    b.loop.tick()
            finally:
                micropython.heap_unlock()
            if FAST:
                check.equal(micropython.mem_total() - before, 0, "ticks with pulses")
            b.loop.writing.work()


def test_numbers_stay_small_at_every_extreme_of_the_settings():
    small = 1 << 30
    for pulses in (1, 24):
        for over in (50, 9000):
            for rest in (10, 2000):
                s = bench.Settings(
                    turn_pin=PIN, turn_pulses=pulses, over_dtpm=over, rest_dtpm=rest,
                    slip_permille=900, emf_uv_per_tpm=1000, drop_mv=5000,
                )
                turn, now = Turn(s), Now()
                check.true(0 < turn.lock_us <= 20000, "lock")
                check.true(20000 * 1000 * 24 < small, "since * pulses")
                check.true((65535 + turn.hidden_dtpm) * 200 + 3 * 600000 < small, "by volts")
                check.true(60000 * rest < small, "slowest turn")
                # two turns at most; the ratio of what agrees within 1 + 0.9
                check.true((2 * 600000 >> 8) * 1000 < small and 2 * 600000 >> 6 << 12 < small, "")
                check.true(65535 * (19 * 4096 // 10 + 64) < small, "pace")
                now.volts = now.amps = True
                for validity in (pages.VALID, pages.BOUND, pages.VOLTS_ONLY):
                    for dtpm in (0, 65535, 10):
                        for _ in range(200):
                            now.validity, now.ms = validity, 60
                            time.now_us += 30000
                            turn.pin.see(1 - turn.pin.level)
                            time.now_us += 30000
                            got = turn.update(now, dtpm)
                            check.true(0 <= got <= 65535, "pace")
                            check.true(0 <= now.turn_units <= 24 * 600000, "units")


check.run(globals())
