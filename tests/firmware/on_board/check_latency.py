"""Over-voltage: from the event to the let-go pin at most 45 ms, with every sensor, at every phase.

A chip gives the mean of its last whole cycle, and its clock may be a tenth slow (data sheets). So
the worst is a bus that passes the limit by next to nothing just after a cycle and a tick began:
two cycles and a tick. All phases of tick and cycle against each other are tried; a flash erase,
during which only hardware counts, is not among them.
"""

import bench
import check
import machine
import sys
import time

from asking import board

FAST = sys.maxsize > 1 << 40
SAFE_US = 44000  # and a millisecond for what is reckoned between reading and pin: budget.md
WORD_US = 157  # two bytes over I2C, with a guessed cache: budget.md
TICK_US = 20000
LET_GO = 19
SLOW = 11  # tenths: a clock that is a tenth slow
CYCLE_US = {"ina226": 10624 * SLOW // 10, "ina219": 8512 * SLOW // 10,
            "ina3221": 8960 * SLOW // 10}
STEP_US = 1000 if FAST else 5000


class Converting:
    """A chip whose registers hold the mean of its last whole cycle."""

    def __init__(self, part, cycle_us):
        self.part = part
        self.cycle_us = cycle_us
        self.phase_us = 0
        self.event_us = 1 << 60
        self.before = self.after = (0, 0)
        self.ma = 0

    def set(self, mv, ma):
        self.before = self.after = (mv, 5100)
        self.ma = ma
        self._put(0)

    def _put(self, share):
        """share: thousandths of the cycle after the event."""
        mv, out = [b + (a - b) * share // 1000 for b, a in zip(self.before, self.after)]
        if hasattr(self.part, "out_mv"):
            self.part.set(mv, self.ma, out, self.ma)
        else:
            self.part.set(mv, self.ma)

    def word(self, register):
        time.now_us += WORD_US
        now = time.now_us
        end = now - (now - self.phase_us) % self.cycle_us
        inside = min(max(end - self.event_us, 0), self.cycle_us)
        self._put(inside * 1000 // self.cycle_us)
        return self.part.word(register)

    def set_word(self, register, value):
        time.now_us += WORD_US
        self.part.set_word(register, value)


def cranking(part, **changed):
    b = board(part=part, **changed)
    b.set(7500, 0)
    b.run(3000)
    b.set(6500, 500)
    b.run(3000)
    check.equal(b.now.connected, True, "connected")
    machine.recording = False
    return b


def connect(b):
    """As it was, without the two seconds' gap."""
    switch = b.loop.switch
    switch.connected = b.now.connected = True
    switch.since_ms = 20000
    switch.let_go.value(0)


def tick_at(us, b):
    time.sleep_us(max(0, us - time.now_us))
    b.loop.tick()


def let_go_us(b, event):
    """us from the event, which comes event us after a tick began, to the let-go pin."""
    base = time.now_us
    at = base + event
    b.happen(at)
    for i in range(1, 8):
        due = base + TICK_US * i
        if due > at > time.now_us:
            time.sleep_us(at - time.now_us)
            b.happened()
        tick_at(due, b)
        if not b.now.connected:
            check.equal(b.loop.switch.let_go.level, 1, "the let-go pin")
            return time.now_us - at
    return 999999


def worst(b, events, phases):
    found = 0
    for phase in phases:
        for event in events:
            connect(b)
            b.well(phase)
            for i in range(3):
                tick_at(time.now_us + TICK_US, b)
            check.equal(b.now.connected, True, "well before")
            found = max(found, let_go_us(b, event))
    return found


def chip_board(make, name, after, **changed):
    part = Converting(make(), CYCLE_US[name])
    b = cranking(part, chip=name, bus_adc_pin=-1, **changed)

    def well(phase):
        part.event_us = 1 << 60
        part.phase_us = time.now_us - phase
        part.after = after
        part.before = (6500, 5100)
        part._put(0)

    def happen(at):
        part.event_us = at

    b.well, b.happen, b.happened = well, happen, lambda: None
    return b


def tried(make, name, after, step_us=STEP_US, **changed):
    b = chip_board(make, name, after, **changed)
    us = worst(b, range(1, TICK_US, step_us), range(0, CYCLE_US[name], step_us))
    print("worst %s %r: %d us" % (name, after, us))
    check.true(us <= SAFE_US, "%s %r: %d us" % (name, after, us))
    return us


def test_ina226():
    slow = tried(bench.Ina226, "ina226", (12002, 5100), STEP_US // 2 if FAST else STEP_US)
    check.true(slow > 25000, "a bus just above the limit needs a whole cycle")
    check.true(tried(bench.Ina226, "ina226", (24000, 5100)) < slow, "far above it is seen sooner")


def test_ina219():
    tried(bench.Ina219, "ina219", (12004, 5100))


def test_ina3221_input_and_output():
    tried(bench.Ina3221, "ina3221", (12008, 5100), out_shunt_uohm=50000, over_out_mv=5440)
    tried(bench.Ina3221, "ina3221", (6500, 5440), out_shunt_uohm=50000, over_out_mv=5440)


def test_the_adc_alone():
    b = cranking(bench.Amplifier(), chip="adc")
    b.well = lambda phase: b.chip.set(6500, 500)
    b.happen = lambda at: None
    b.happened = lambda: b.chip.set(12020, 500)
    us = worst(b, range(1, TICK_US, STEP_US), (0,))
    print("worst adc: %d us" % us)
    check.true(us <= SAFE_US, "%d us" % us)
    check.true(us <= TICK_US + 2000, "the next tick sees it")


check.run(globals())
