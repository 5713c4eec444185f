"""The loop: one tick every 20 ms on deadlines, questions answered in between.

A tick measures, estimates, protects, cues and totals, and at its end makes the
edge that keeps the load connected. After that edge comes what may take long: a
page to the flash, in pieces of one file a tick.
"""

import gc
from time import sleep_ms, sleep_us, ticks_add, ticks_diff, ticks_us

from machine import reset_cause

from steadyturn_fw import chips, lights, pages, settings
from steadyturn_fw.answers import Answers
from steadyturn_fw.button import Button
from steadyturn_fw.count import Count
from steadyturn_fw.cue import Cue
from steadyturn_fw.estimate import Estimate
from steadyturn_fw.extras import Extras
from steadyturn_fw.faults import Faults
from steadyturn_fw.guard import ALL, Guard
from steadyturn_fw.heat import Heat
from steadyturn_fw.journal import Journal
from steadyturn_fw.keeper import Keeper
from steadyturn_fw.lamp import Lamp
from steadyturn_fw.link import Link
from steadyturn_fw.note import Note
from steadyturn_fw.now import Now
from steadyturn_fw.pages import (
    EV_BOOT,
    EV_COLLAPSE,
    EV_CONNECTED,
    EV_GAP,
    EV_HOST,
    EV_PREVIOUS_SETTINGS,
    EV_RELEASED,
    EV_SETTINGS,
    FAULT,
    FAULT_JOURNAL,
    FAULT_OVER_CURRENT,
    FAULT_OVER_VOLTAGE,
    FAULT_PROGRAM,
    FAULT_SENSOR,
    FAULT_SETTINGS,
    FAULT_TEMPERATURE,
    FLAG_OUT_MEASURED,
    REST,
)
from steadyturn_fw.sensor import Sensor
from steadyturn_fw.sensor_adc import AdcSensor
from steadyturn_fw.store import Store
from steadyturn_fw.switch import Switch
from steadyturn_fw.tally import Tally
from steadyturn_fw.writing import Writing

TICK_MS = 20
TICK_US = 20000
MOST = 65535
LAST_MS = (1 << 30) - (1 << 17)  # near a small integer's end, 12 days: the next boot number
STALL_MS = 100  # the shortest hold time: an edge this late may come to a released load
COUNT_MS = 200  # of a stall this much is counted in the totals, the rest is a gap
IDLE_MS = 30000  # at rest this long without losing power: somebody else feeds the board
HOST_MS = 60000  # silent this long, then asking: the host is new


class Loop:
    def __init__(self, loaded, row, guard=None):
        """loaded: what settings.load found; row: thisboard.board_row's, for a lamp without
        them; guard: None for one without a watchdog."""
        none = chips.CHIPS[""]
        self.guard = guard or Guard(none, Note(none), False)
        self.loaded = loaded
        self.now = Now()
        self.late = 0
        self.last_us = ticks_us()
        self.rest_us = 0
        self.rest_ms = 0
        self.host_ms = HOST_MS
        self.percents = 0
        self.button = None  # type: Button | None
        self.sensor = None  # type: Sensor | AdcSensor | None
        self.sampler = None  # type: AdcSensor | None  # takes readings between the ticks too
        self.bench = None  # by bench_answers.py, when a host asks for one
        if loaded.settings is not None and not self._fit(loaded):
            loaded.problems.append("pins")
            if settings.fall_back(loaded) and not self._fit(loaded):
                settings.fall_back(loaded)
        s = loaded.settings
        if s is None:
            self.lamp = Lamp(lights.Unknown(row), "led", 600)
        self.answers = Answers(self)
        self.link = Link(self.answers)
        self._remember(s)
        self.writing = Writing(self)

    def _fit(self, loaded):
        """Everything that a rig's settings bring. False: it has not the pins."""
        s = loaded.settings
        try:
            self.switch = Switch(s)
            self.heat = Heat(s)
            self.lamp = Lamp(lights.fit(s), s.lamp, s.target_dtpm)
            if s.button_pin >= 0:
                self.button = Button(s.button_pin)
            if s.chip == "adc":
                self.sampler = AdcSensor(s)
                self.sensor = self.sampler
            else:
                self.sensor = Sensor(s)
        except (ValueError, TypeError):
            return False
        self.estimate = Estimate(s)
        self.cue = Cue(s)
        return True

    def _remember(self, s):
        """Go on from what the flash holds, and open this boot's first page."""
        self.store = Store()
        self.tally = Tally(s)
        if s is None:
            self.journal = Journal(self.tally, 0, 0, 0, 0, TICK_MS)
        else:
            self.journal = Journal(
                self.tally, s.bus_shift, s.amps_shift, s.low_dtpm, s.high_dtpm, TICK_MS
            )
            if self.sensor is not None and self.sensor.out:
                self.journal.out_flag = FLAG_OUT_MEASURED
        self.faults = Faults(self.journal, self.now)
        newest = self.store.newest
        if newest is not None:
            self.journal.follow(newest)
            stored = self.journal.unfinished(newest)
            if stored:
                self.lamp.show_stored(stored)
        self.extras = Extras(self, newest)
        self.count = Count(self.button, self.lamp, self.tally)
        self.keeper = Keeper(self.loaded, self.switch if s is not None else None)
        event = self.journal.event
        event(EV_BOOT, reset_cause(), 0)
        event(EV_SETTINGS, self.loaded.crc.low, 0)
        previous = s is not None and self.loaded.previous
        if previous:
            event(EV_PREVIOUS_SETTINGS, self.loaded.crc.low, 0)
        elif s is None:
            self.faults.set(FAULT_SETTINGS, True)
        self.journal.close(0)
        if previous:
            self.faults.set(FAULT_SETTINGS, True)
        if self.guard.bitten:
            self.program_failed()
        gc.collect()
        self.last_us = ticks_us()

    # ---- time

    def run(self):
        """Returns only to have the board start anew, for a host's sake."""
        deadline = ticks_us()
        while True:
            self.tick()
            self.writing.work()
            if self.guard.after(self.now.ms):
                return
            deadline = ticks_add(deadline, TICK_US)
            left = ticks_diff(deadline, ticks_us())
            if left < -TICK_US:
                self.late = min(self.late + 1, MOST)
                deadline = ticks_us()
            self.idle(deadline)

    def idle(self, deadline):
        """Until the next tick: one sleep, or a look at the link every millisecond."""
        sampler = self.sampler
        self.link.service(max(1, ticks_diff(deadline, ticks_us()) // 1000))
        while True:
            left = ticks_diff(deadline, ticks_us()) // 1000
            if left <= 0:
                return
            if self.link.active():
                sleep_us(self.link.look_us)
                self.link.service(left - 1)
                if sampler is not None:
                    sampler.sample()
            elif sampler is not None:
                sampler.sample()
                sleep_us(min(left * 1000, sampler.gap_us()))
            else:
                sleep_ms(left)

    def _clock(self):
        now = self.now
        at = ticks_us()
        us = ticks_diff(at, self.last_us) + self.rest_us
        self.last_us = at
        ms = us // 1000
        # whole milliseconds go on the clock, the rest waits: t_ms and the totals agree
        self.rest_us = us - ms * 1000
        now.t_ms += ms
        now.ms = ms
        if self.host_ms < HOST_MS:
            self.host_ms += ms
        if now.t_ms >= LAST_MS:
            self._new_boot()

    def _new_boot(self):
        self.journal.close(0)
        self.journal.boot += 1
        self.now.t_ms = 0

    # ---- one tick

    def tick(self):
        self._clock()
        now = self.now
        if self.sensor is None:
            now.cue = FAULT
            self.lamp.update(FAULT, FAULT_SETTINGS, now.ms)
            return
        if now.ms > STALL_MS:
            self._stalled(now)
        self.sensor.read(now)
        self.estimate.update(now)
        self._protect(now)
        self.cue.update(now)
        self.tally.add(now)
        if self.percents != self.tally.percents:
            self._percent()
        if self.button is not None:
            self.count.update(now.ms)
        self.lamp.update(now.cue, self.faults.shown, now.ms)
        self._record(now)
        if self.extras.any:
            self.extras.update(now)
        self.switch.pulse()
        self.guard.marks = ALL  # that far only a tick comes in which all of them have run

    def _stalled(self, now):
        """Something held the loop up: the hardware may have released the load. Not where a step
        of a bench has made edges meanwhile."""
        if self.switch.connected and not (self.bench is not None and self.bench.step.edged):
            self.switch.stalled(now)
            self.journal.event(EV_RELEASED, self.switch.why, now.t_ms)
        if now.ms > COUNT_MS:
            self.journal.event(EV_GAP, now.ms, now.t_ms)
            self.lamp.behind_ms = now.ms - COUNT_MS
            now.ms = COUNT_MS

    def _protect(self, now):
        switch = self.switch
        was = switch.connected
        switch.busy = self.store.moving > 0
        if self.heat.pin is not None:
            self.heat.read(now)
        switch.update(now)
        if was != switch.connected:
            self._switched(now, switch)
        # `shown` tells that a fault stands. What is watched has to stand here as well
        faults = self.faults
        if (
            faults.shown or now.over_volts or now.saturated or now.too_hot or not now.amps
            or now.bus_ma >= switch.over_ma or self.store.failed or self.store.thinning.crowded
        ):
            faults.watch(FAULT_SENSOR, not now.amps)
            faults.watch(FAULT_OVER_VOLTAGE, now.over_volts)
            faults.watch(FAULT_OVER_CURRENT, now.bus_ma >= switch.over_ma or now.saturated)
            faults.watch(FAULT_TEMPERATURE, now.too_hot)
            faults.watch(FAULT_JOURNAL, self.store.failed or self.store.thinning.crowded)

    def _switched(self, now, switch):
        if switch.connected:
            self.tally.connections = self.tally.connections + 1 & MOST
            self.journal.event(EV_CONNECTED, now.bus_mv, now.t_ms)
            return
        if switch.collapsed:
            self.journal.event(EV_COLLAPSE, now.pace_dtpm, now.t_ms)
        self.journal.event(EV_RELEASED, switch.why, now.t_ms)

    def _percent(self):
        self.percents = self.tally.percents
        self.lamp.wink()

    def _record(self, now):
        if now.cue != REST or now.connected:
            self.rest_ms = 0
        elif self.rest_ms < IDLE_MS:
            self.rest_ms += now.ms
        if self.rest_ms >= IDLE_MS:
            # fed by something else and nothing to tell: a page every 4.6 s would
            # push out the ones that do
            self.journal.close(0)
        else:
            self.journal.add(now)

    # ---- the host, and the end

    def host_seen(self):
        if self.host_ms >= HOST_MS:
            self.journal.event(EV_HOST, 1, self.now.t_ms)
        self.host_ms = 0

    def release(self):
        if self.sensor is not None:
            if self.bench is not None:
                self.bench.released()
            was = self.switch.connected
            self.switch.ask_release(self.now)
            if was:
                self.journal.event(EV_RELEASED, self.switch.why, self.now.t_ms)

    def program_failed(self):
        """The start before this one ended by itself, and nothing is in the journal of it."""
        self.journal.event(pages.EV_FAULT, FAULT_PROGRAM, 0)
        self.journal.event(pages.EV_FAULT_END, FAULT_PROGRAM, 0)
        self.journal.faults = self.journal.faults + 1 & MOST
        self.lamp.show_stored(FAULT_PROGRAM)

    def stop(self, fault=0):
        """The program ends: release, say why, store, lamp off."""
        if self.sensor is not None:
            was = self.switch.connected
            self.switch.halt()
            if was:
                self.journal.event(EV_RELEASED, pages.WHY_ASKED, self.now.t_ms)
        self.extras.release()
        if self.bench is not None:
            self.bench.program_ended()
        if fault:
            self.journal.event(pages.EV_FAULT, FAULT_PROGRAM, self.now.t_ms)
        else:
            self.journal.event(EV_HOST, 2, self.now.t_ms)
        if self.writing.may_write():
            self.writing.flush(True)
        self.lamp.dark()
