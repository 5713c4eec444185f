"""Readings for a bench: what the host orders, what the lamp asks for, what is added up.

Loaded only when a host asks for it. While it is on it stands in the cue's place in the tick;
protection is as ever, and ends it. The switch's own rules connect the load; a bench only
keeps it released where that was ordered. bench.md has the words.
"""

from array import array
from struct import pack_into
from time import ticks_diff

from steadyturn_fw import bench_frames, pages
from steadyturn_fw.bench_frames import (
    BENCH_MOST_TICKS,
    BLOCK_TICKS,
    BLOCKS,
    END_NONE,
    END_NOT_BEGUN,
    END_PROGRAM,
    END_PROTECTION,
    END_RELEASED,
    END_SENSOR_LOST,
    END_SILENT,
    GUIDE_BEAT,
    GUIDE_TURN_SENSOR,
    GUIDE_VOLTS,
    LOAD_BOTH,
    LOAD_NONE,
    LOAD_SECOND,
)
from steadyturn_fw.pages import EV_BENCH, FASTER, HOLD, SLOWER, STOP, VALID
from steadyturn_fw.step import Step
from steadyturn_fw.switch import CALM_MS

LATE_MS = 60  # interrupts may have waited meanwhile: no interval spans such a tick
NEVER_MA = 1 << 20
MOST_MS = 60000


class Bench:
    def __init__(self, loop):
        """loop: with settings."""
        self.loop = loop
        self.usual = loop.cue
        self.turn = loop.estimate.turn
        self.conduct_ma = loop.estimate.conduct_ma
        burst = loop.extras.burst
        self.burst = burst
        self.pin = burst.pin if burst is not None else None
        self.names = bench_frames.names(bench_frames.BENCH_FIELDS)
        self.packing = bench_frames.packing(bench_frames.BENCH_FIELDS)
        self.block_mv = array("i", [0] * BLOCKS)
        self.block_ma = array("i", [0] * BLOCKS)
        self.step = Step(self)
        self.on = False
        self.ended = END_NOT_BEGUN
        self.order = 0
        self.pace = loop.loaded.settings.target_dtpm
        self.tolerance = 0
        self.load = LOAD_NONE
        self.second = False
        self.was_asked = False
        self.marked = -1  # beginning of the page that tells of this bench already
        self.silent_ms = 0
        self.guide = GUIDE_BEAT
        self.shown = FASTER
        self.shown_ms = 0
        self._clear()

    # ---- what the host orders

    def begin(self, was_asked):
        """was_asked: whether the host had asked for a released load before."""
        loop = self.loop
        self.was_asked = was_asked
        self.ended = END_NONE
        self.silent_ms = 0
        self.marked = -1
        self.shown = FASTER
        self.on = True
        loop.cue = self
        if self.burst is not None:
            self.burst.release()
        if loop.journal.takes():
            loop.journal.close(0)
        self._mark(loop.journal)

    def take(self, pace, tolerance, load):
        """An order, in range: the sums begin anew."""
        self.pace = pace
        self.tolerance = tolerance
        self.load = load
        self.order = self.order + 1 & 0xFFFF
        self.loop.lamp.set_beat(pace)
        self.loop.switch.asked = self.was_asked or load == LOAD_NONE or load == LOAD_SECOND
        if load == LOAD_NONE:
            self._switch(False)
        self._clear()

    def end(self, why):
        """Everything is as usual again."""
        self._switch(False)
        self.step.edged = False
        if not self.on:
            return
        loop = self.loop
        self.on = False
        self.ended = why
        loop.cue = self.usual
        loop.now.cue = self.usual.cue  # which tells only of a change
        loop.lamp.set_beat(loop.loaded.settings.target_dtpm)
        loop.switch.asked = self.was_asked
        loop.journal.event(EV_BENCH, 0, loop.now.t_ms)
        if loop.journal.takes():
            loop.journal.close(0)

    def released(self):
        """The host has the load released until the next boot: before that is so."""
        self.end(END_RELEASED)

    def program_ended(self):
        self.end(END_PROGRAM)

    def can(self, load):
        """Is there what such an order needs?"""
        if load < LOAD_BOTH:
            return True
        at_bus = self.loop.loaded.settings.place == "bus_switch"
        return self.pin is not None and not (load == LOAD_SECOND and at_bus)

    # ---- in each tick, in the cue's place

    def update(self, now):
        usual = self.usual
        usual.update(now)
        now.cue = usual.cue
        self.silent_ms += now.ms
        self.step.edged = False
        why = self._why_over(now)
        if why != END_NONE:
            self.end(why)
            return
        self._mark(self.loop.journal)
        if self.burst is not None:
            self.burst.steady_ms = 0
            self._second_load(now)
        if self.step.rest_ms < MOST_MS:
            self.step.rest_ms += now.ms
        if self.ticks < BENCH_MOST_TICKS:
            self._add(now)
        self._show(now)

    def _why_over(self, now):
        if self.silent_ms >= bench_frames.BENCH_SILENT_MS:
            return END_SILENT
        if not now.amps:
            return END_SENSOR_LOST
        switch = self.loop.switch
        if (
            now.over_volts or now.saturated or now.too_hot or now.bus_ma >= switch.over_ma
            or switch.fading or now.cue == STOP
        ):
            return END_PROTECTION
        return END_NONE

    def _mark(self, journal):
        """Each page of a bench says so: nobody cranked as they would outside."""
        if journal.t0 != self.marked or not journal.open:
            journal.event(EV_BENCH, self.pace, self.loop.now.t_ms)
            self.marked = journal.t0

    def _second_load(self, now):
        load = self.load
        if load == LOAD_SECOND:
            self._switch(not now.connected)
        elif load != LOAD_BOTH or not now.connected:
            self._switch(False)
        elif not self.second and self.loop.switch.since_ms >= CALM_MS and self.burst._room(now):
            self._switch(True)

    def _switch(self, on):
        if self.pin is not None:
            self.pin.value(1 if on else 0)
            self.second = on

    # ---- the lamp

    def _show(self, now):
        """A beat, and where the pace is known whether it is the one that was asked for."""
        self.guide = self._who_knows(now)
        cue = FASTER if self.guide == GUIDE_BEAT else self._by_pace(self.usual.cadence)
        self.shown_ms = min(self.shown_ms + now.ms, MOST_MS)
        if cue != self.shown and self.shown_ms >= self.usual.dwell_ms:
            self.shown = cue
            self.shown_ms = 0
        now.cue = self.shown

    def _who_knows(self, now):
        if not self.tolerance or now.validity != VALID:
            return GUIDE_BEAT
        if self.turn is None:
            return GUIDE_VOLTS
        return GUIDE_TURN_SENSOR if now.measured else GUIDE_BEAT

    def _by_pace(self, cadence):
        """Hold ends beyond the tolerance, and begins again where it is heading inside half."""
        off = cadence.here_dtpm - self.pace
        if off < -self.tolerance:
            return FASTER
        if off > self.tolerance:
            return SLOWER
        heading = cadence.heading_dtpm - self.pace
        if self.shown == FASTER and heading * 2 < -self.tolerance:
            return FASTER
        if self.shown == SLOWER and heading * 2 > self.tolerance:
            return SLOWER
        return HOLD

    # ---- sums

    def _clear(self):
        self.ticks = self.count = self.missed = self.saturated = 0
        self.connected_count = self.second_count = self.flowing_count = 0
        self.mv_sum = self.ma_sum = 0
        self.mv_min = 65535
        self.mv_max = 0
        self.ma_min = NEVER_MA
        self.ma_max = -NEVER_MA
        self.out_count = self.out_mv_sum = self.out_ma_sum = 0
        self.pace_count = self.pace_sum = 0
        self.blocks = self.block_count = self.part_mv = self.part_ma = 0
        self.pulses = self.pulses_us = 0
        self._next_pulse()

    def _next_pulse(self):
        """Time is taken from the next pulse on."""
        self.timed = False
        self.pulse_us = 0
        if self.turn is not None:
            self.seen = self.turn.count

    def _add(self, now):
        self.ticks += 1
        turn = self.turn
        if turn is not None:
            if now.ms > LATE_MS:
                self._next_pulse()
            elif turn.count != self.seen:
                self._pulse(turn)
        if now.saturated:
            self.saturated += 1
            return
        if self.loop.sampler is None and not self.loop.sensor.fresh:
            self.missed += 1
            return
        self._count(now)
        self._readings(now.bus_mv, now.bus_ma)
        if now.out_known:
            self.out_count += 1
            self.out_mv_sum += now.out_mv
            self.out_ma_sum += now.out_ma

    def _pulse(self, turn):
        """Intervals and their time, from the first pulse after the order on."""
        count = turn.count
        at_us = turn.pulse_us
        if turn.count != count:
            return  # one came between the two: in the next tick
        if self.timed:
            self.pulses += count - self.seen & 0xFFFF
            self.pulses_us += ticks_diff(at_us, self.pulse_us)
        self.timed = True
        self.pulse_us = at_us
        self.seen = count

    def _count(self, now):
        self.count += 1
        if now.connected:
            self.connected_count += 1
        if self.second:
            self.second_count += 1
        if now.motor_ma >= self.conduct_ma:
            self.flowing_count += 1
        if now.validity == VALID:
            self.pace_count += 1
            self.pace_sum += now.raw_dtpm

    def _readings(self, mv, ma):
        self.mv_sum += mv
        self.ma_sum += ma
        if mv < self.mv_min:
            self.mv_min = mv
        if mv > self.mv_max:
            self.mv_max = mv
        if ma < self.ma_min:
            self.ma_min = ma
        if ma > self.ma_max:
            self.ma_max = ma
        self.part_mv += mv
        self.part_ma += ma
        self.block_count += 1
        if self.block_count == BLOCK_TICKS:
            self._block()

    def _block(self):
        """Half a second is whole: its sums behind those before."""
        i = 1
        while i < BLOCKS:
            self.block_mv[i - 1] = self.block_mv[i]
            self.block_ma[i - 1] = self.block_ma[i]
            i += 1
        self.block_mv[BLOCKS - 1] = self.part_mv
        self.block_ma[BLOCKS - 1] = self.part_ma
        self.blocks = min(self.blocks + 1, BLOCKS)
        self.block_count = self.part_mv = self.part_ma = 0

    # ---- the answer: between the ticks, so it may allocate

    def fill(self, frame, at):
        """BENCH's payload."""
        loop, now = self.loop, self.loop.now
        known = now.measured and now.validity == VALID
        told = {
            "t_ms": now.t_ms, "on": self.on, "why": loop.switch.why, "cue": now.cue,
            "pace_dtpm": self.pace, "tolerance_dtpm": self.tolerance, "connected": now.connected,
            "validity": pages.MEASURED if known else now.validity, "beat_ms": loop.lamp.beat,
            "now_mv": now.bus_mv, "now_ma": now.bus_ma, "now_dtpm": now.pace_dtpm,
            "mv_min": self.mv_min if self.count else 0,
            "ma_min": self.ma_min if self.count else 0,
            "ma_max": self.ma_max if self.count else 0,
            "steps": self.step.number, "step_why": self.step.why,
            "step_samples": self.step.count,
        }
        values = [int(told[n] if n in told else getattr(self, n)) for n in self.names]
        pack_into(self.packing, frame, at, *values)
        at += bench_frames.BENCH_HEAD_BYTES
        empty = BLOCKS - self.blocks
        for i in range(BLOCKS):  # oldest first
            mv = self.block_mv[empty + i] if i < self.blocks else 0
            ma = self.block_ma[empty + i] if i < self.blocks else 0
            pack_into("<Ii", frame, at, mv, ma)
            at += bench_frames.BLOCK_BYTES
