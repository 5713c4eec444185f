"""No byte is allocated in a tick, whatever a rig has and whatever happens to it: a walk through
seeded readings, presses, pulses and faults with everything fitted, the heap locked in each tick.

What the walk has been through is counted, so that a new cue, reason or fault that it misses fails
here. `ALLOCATION_TICKS` makes it longer.
"""

import os
import sys
import time

import bench
import check
import machine
import micropython

from asking import board
from steadyturn_fw import fields, pages
from states import STATES
from steadyturn_fw.sensor import RETRY_MS

FAST = sys.maxsize > 1 << 40
LONGEST = 2500 if FAST else 700  # ticks with each rig
TURN, HEAT, SECOND, BUTTON = 17, 27, 22, 14
FITTED = {
    "turn_pin": TURN, "turn_pulses": 2, "heat_adc_pin": HEAT, "second_load_pin": SECOND,
    "second_load_mohm": 47000, "warm_s": 120, "warm_ck_per_w": 900, "warm_case_ck_per_w": 400,
    "warm_rest_uw_per_tpm": 3000, "percent_mj": 3000, "out_shunt_uohm": 50000,
    "over_out_mv": 5450, "gap_ms": 2000,
}
CHIPS = {"ina226": bench.Ina226, "ina219": bench.Ina219, "ina3221": bench.Ina3221,
         "adc": bench.Amplifier}
# what no reading brings about: the flash's, the program's and the settings' own, and the host's
NOT_HERE = {"none", "settings", "journal", "program", "settings_bad", "asked", "fault"}
# In a tick that misses a reading an exception is raised: its 56 bytes are the interpreter's own
# (and come from elsewhere where the heap is locked), so there only the lock is looked at.
seen = set()


class Chance:
    """A small generator of its own: the same walk on every build."""

    def __init__(self, seed):
        self.state = seed

    def below(self, number):
        self.state = self.state * 25173 + 13849 & 0xFFFF
        return (self.state >> 3) % number


class Walk:
    def __init__(self, chip, lamp, seed):
        changed = dict(FITTED)
        changed["lamp2_pin"] = machine.LAMP2 if lamp == "two_led" else -1
        if lamp == "rgb" and chip != "adc":
            changed["bus_adc_pin"] = -1  # a lost chip leaves nothing known
        self.b = board(part=CHIPS[chip](), chip=chip, lamp=lamp, **changed)
        self.chance = Chance(seed)
        self.at = STATES[0]
        machine.recording = False
        machine.adc[HEAT] = bench.adc_word(2000, 1000)

    def change(self):
        """Something else happens, mostly another pace."""
        chance, b = self.chance, self.b
        what = chance.below(12)
        machine.pins[BUTTON].level = 0 if what == 0 else 1
        machine.adc[HEAT] = bench.adc_word(400 if what == 1 else 2000, 1000)
        b.supply(3900 if what == 2 else 4800)
        b.chip.stopped = what == 3
        self.at = STATES[chance.below(len(STATES))]
        mv, ma = self.at[1], self.at[2]
        if what == 4:
            mv, ma = 3000, 300  # below what the load is released at
        elif what == 5:
            ma = 2500
        elif what == 6:
            mv, ma = 11500, 1500  # faster than the motors may turn
        elif what == 7:
            ma = 1
        elif what == 8:
            # long enough for a start, a burst and several pages
            mv, ma = 6500, 500
            self.at = STATES[3]
            self.set(mv, ma)
            return 1300
        self.set(mv, ma)
        return 60 + chance.below(200)

    def set(self, mv, ma):
        self.b.set(mv, ma)

    def ticks(self, number):
        b, tick, step = self.b, self.b.loop.tick, time.sleep_ms
        turn = machine.pins[TURN]
        total = micropython.mem_total if hasattr(micropython, "mem_total") else None
        late = self.chance.below(40) == 0
        while number > 0:
            step(250 if late else 20)  # a stall now and then
            late = False
            turn.see(number & 16 and 1)
            before = total() if total else 0
            if self.searches():
                tick()
                before = total() if total else 0
            else:
                micropython.heap_lock()
                try:
                    tick()
                finally:
                    micropython.heap_unlock()
            if total and not getattr(b.loop.sensor, "missed", 0):
                check.equal(total() - before, 0, "allocated in " + self.at[0])
            self.note()
            b.loop.writing.work()
            number -= 1

    def searches(self):
        """Is a lost chip looked for in this tick? That makes a new bus, once a second."""
        sensor = self.b.loop.sensor
        return getattr(sensor, "lost", False) and (
            time.ticks_diff(time.ticks_ms(), sensor.tried_ms) >= RETRY_MS
        )

    def note(self):
        b = self.b
        now = b.now
        seen.add("cue " + pages.CUES[now.cue])
        seen.add("validity " + pages.VALIDITY[now.validity])
        seen.add("fault " + pages.FAULTS[b.loop.faults.shown])
        seen.add("reason " + ("none" if now.connected else pages.REASONS[b.loop.switch.why]))


def test_a_walk_with_everything_fitted():
    asked = os.getenv("ALLOCATION_TICKS") if hasattr(os, "getenv") else None
    longest = int(asked or LONGEST)
    seed = 7
    for chip in fields.CHIPS:
        for lamp in fields.LAMPS:
            walk = Walk(chip, lamp, seed)
            seed += 1000
            left = longest * 4 // len(fields.LAMPS)
            while left > 0:
                ticks = min(left, walk.change())
                walk.ticks(ticks)
                left -= ticks
    for kind, names in (("cue", pages.CUES), ("validity", pages.VALIDITY),
                        ("fault", pages.FAULTS), ("reason", pages.REASONS)):
        missed = [n for n in names if n not in NOT_HERE and kind + " " + n not in seen]
        check.equal(missed, [], kind + " never met")


check.run(globals())
