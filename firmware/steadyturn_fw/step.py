"""A step of the second load, sampled at some 2 kHz: volts and amps as the registers give them.

For the host to fit: R = -dV / dI, told from the bus capacitor's time constant and from the
pace that gives way. The second load is switched and, 31 ms later, switched back; before,
between and after it the readings are taken as fast as the chip converts. No tick runs
meanwhile (68 ms), so each reading is held against the limits here, and what is beyond them
ends the step at once. The edges that keep the load connected come between the three parts, and
only while all that was read is in order.
"""

from array import array
from struct import pack_into
from time import sleep_us, ticks_diff, ticks_us

from steadyturn_fw import bench_frames
from steadyturn_fw.bench_frames import (
    END_PROTECTION,
    LOAD_BOTH,
    LOAD_DEVICE,
    STEP_CHIP,
    STEP_DONE,
    STEP_NO_BENCH,
    STEP_NO_CAPACITOR,
    STEP_NO_CURRENT,
    STEP_NO_SECOND_LOAD,
    STEP_NO_VOLTS,
    STEP_PROTECTION,
    STEP_RELEASED,
    STEP_SENSOR_LOST,
    STEP_TOO_LOW,
    STEP_TOO_MUCH,
    STEP_TOO_SOON,
)
from steadyturn_fw.pages import EV_RELEASED, WHY_LOW_BUS, WHY_OVER_CURRENT, WHY_OVER_VOLTAGE
from steadyturn_fw.switch import CALM_MS

MOST = 160  # samples
BEFORE_US = 6000  # a time constant is told from what was before the step
AFTER_US = 31000  # and from three of 10 ms after it
GAP_US = 500  # between samples; a chip of two readings more, or slower, gets longer
OUT_US = 300  # what reading the output's volts takes more
SLACK_US = 50  # over a conversion cycle
ADC_READINGS = 4  # of the board's own ADC in a sample
ADC_SHIFT = 2
REST_MS = 500  # from one step to the next
LEAST_MV = 500  # below this nobody turns
WORD = 65535
NEVER = bench_frames.STEP_NEVER


class Step:
    def __init__(self, bench):
        """bench: bench.Bench. The buffers are made here: nothing is allocated while it runs."""
        self.bench = bench
        loop = bench.loop
        sensor = loop.sensor
        self.loop = loop
        self.sensor = sensor
        self.times = array("i", bytes(4 * MOST))
        self.bus = array("H", bytes(2 * MOST))
        self.amps = array("H", bytes(2 * MOST))
        self.count = 0
        self.number = 0  # whole ones
        self.why = STEP_NO_BENCH
        self.rest_ms = REST_MS
        self.on_us = self.off_us = -1
        self.edged = False  # an edge was made in this tick's place
        self.start_us = 0
        self.beyond = 0  # pages.REASONS
        self.names = bench_frames.names(bench_frames.STEP_FIELDS)
        self.packing = bench_frames.packing(bench_frames.STEP_FIELDS)
        self.two = bytearray(2)
        self.adc = loop.sampler is not None
        self.cycle_us = self.gap_us = GAP_US
        self.guards_out = not self.adc and sensor.out
        if not self.adc:
            chip = sensor.chip
            self.config, self.cycle_us = chip.FAST_OUT if sensor.out else chip.FAST
            self.gap_us = max(GAP_US + OUT_US if sensor.out else GAP_US, self.cycle_us + SLACK_US)
        self._limits(loop.loaded.settings)

    def _limits(self, s):
        """The limits in the registers' own words, so that a sample is compared as it comes."""
        sensor = self.sensor
        self.least_bus = _word(s.release_mv - sensor.bus_offset_mv, sensor.bus_factor,
                               sensor.bus_shift)
        self.most_bus = _word(s.over_mv - sensor.bus_offset_mv, sensor.bus_factor,
                              sensor.bus_shift)
        self.most_amps = _word(s.over_ma - sensor.amps_offset_ma, sensor.amps_factor,
                               sensor.amps_shift)
        self.most_out = WORD
        self.zero = 0
        if self.adc:
            from steadyturn_fw import sensor_adc

            self.zero = sensor.zero
            self.most_bus = min(self.most_bus, sensor_adc.BUS_END)
            self.most_amps = min(self.most_amps + self.zero, sensor_adc.AMPS_END)
            return
        self.most_bus = min(self.most_bus, sensor.bus_end)
        self.most_amps = min(self.most_amps, sensor.shunt_end)
        if sensor.out and s.over_out_mv:
            self.most_out = _word(s.over_out_mv - sensor.out_bus_offset_mv,
                                  sensor.out_bus_factor, sensor.out_bus_shift)

    # ---- may it be

    def _forbids(self):
        """One of bench_frames.STEP_REASONS; STEP_DONE: nothing."""
        bench, loop, now = self.bench, self.loop, self.loop.now
        s = loop.loaded.settings
        if not bench.on:
            return STEP_NO_BENCH
        if bench.pin is None:
            return STEP_NO_SECOND_LOAD
        if not now.amps or not (self.adc or self.sensor.fresh):
            return STEP_NO_CURRENT
        if not s.capacitor_uf:
            return STEP_NO_CAPACITOR  # nothing would take what the windings' current leaves
        wanted = bench.load == LOAD_DEVICE or bench.load == LOAD_BOTH
        if not now.connected and (wanted or s.place == "bus_switch"):
            return STEP_RELEASED
        if self.rest_ms < REST_MS or (now.connected and loop.switch.since_ms < CALM_MS):
            return STEP_TOO_SOON
        if now.bus_mv < LEAST_MV:
            return STEP_NO_VOLTS
        return STEP_DONE if bench.second else self._room(now, s)

    def _room(self, now, s):
        """As before the burst of an outing: is there enough for twice the second load?"""
        burst = self.bench.burst
        more_ma = 2 * (now.bus_mv * 1000 // burst.mohm)
        if now.bus_ma + more_ma > burst.most_ma:
            return STEP_TOO_MUCH
        sag_mv = self.loop.estimate.sag_mv
        dip = sag_mv(now.motor_ma + more_ma) - sag_mv(now.motor_ma)
        if now.connected and now.bus_mv - dip < burst.least_mv:
            return STEP_TOO_LOW
        return STEP_DONE

    # ---- the step

    def run(self):
        """Between two ticks. Sets `why`, and what the samples are."""
        self.why = self._forbids()
        if self.why != STEP_DONE:
            return
        self.count = 0
        self.on_us = self.off_us = -1
        self.beyond = 0
        self.rest_ms = 0
        was = self.bench.second
        try:
            self._set_up()
            self._parts(was)
        except OSError:
            self.sensor._count()
            self.why = STEP_SENSOR_LOST
        finally:
            self.bench._switch(was and self.why == STEP_DONE)
            self._put_back()
        if self.why == STEP_DONE:
            self.number = self.number + 1 & WORD

    def _set_up(self):
        if not self.adc:
            chip = self.sensor.chip
            self.sensor.set_word(chip.CONFIG, self.config)
            if self.sensor.word(chip.CONFIG) != self.config:
                self.why = STEP_CHIP
                return
            sleep_us(2 * self.cycle_us)  # what is read is the new conversions'

    def _put_back(self):
        """The chip as it was; what fails here the ticks find and repair."""
        if self.adc:
            self.sensor._clear()
            return
        sensor = self.sensor
        try:
            good = sensor.chip.set_up(sensor, sensor.over_mv)
        except OSError:
            good = False
        if not good:
            sensor._count()
        sensor.young = True
        sensor.until_check = 1  # looked at again after the next tick

    def _parts(self, was):
        if self.why != STEP_DONE:
            return
        self.start_us = ticks_us()  # type: ignore[assignment]
        if not self._until(BEFORE_US):
            return
        self._change(not was)
        if not self._until(BEFORE_US + AFTER_US):
            return
        self._change(was)
        self._until(BEFORE_US + 2 * AFTER_US)

    def _change(self, on):
        """The second load, and an edge: all that was read is in order."""
        self.bench._switch(on)
        at_us = ticks_diff(ticks_us(), self.start_us)
        if on:
            self.on_us = at_us
        else:
            self.off_us = at_us
        self.loop.switch.pulse()
        self.edged = True

    def _until(self, stop_us):
        """Samples until so long after the step's begin. False: something was beyond a limit."""
        begun = ticks_diff(ticks_us(), self.start_us)
        while begun < stop_us and self.count < MOST:
            if not (self._sample_adc() if self.adc else self._sample()):
                self._trip()
                return False
            left = self.gap_us - ticks_diff(ticks_us(), self.start_us) + begun
            sleep_us(max(left, 1))
            begun = ticks_diff(ticks_us(), self.start_us)
        return True

    def _sample(self):
        """Amps, then volts, their time between them; are both within the limits?"""
        sensor = self.sensor
        two = self.two
        sensor.fetch(sensor.address, sensor.shunt_register, two)
        amps = two[0] << 8 | two[1]
        i = self.count
        self.amps[i] = amps
        self.times[i] = ticks_diff(ticks_us(), self.start_us)
        sensor.fetch(sensor.address, sensor.bus_register, two)
        bus = (two[0] << 8 | two[1]) >> sensor.bus_drop
        if bus & 0x8000:
            bus = 0  # a little below ground
        self.bus[i] = bus
        self.count = i + 1
        if amps & 0x8000:
            amps -= 0x10000
        return self._within(bus, amps) and not (self.guards_out and self._out_over())

    def _out_over(self):
        out = self.sensor.word(self.sensor.chip.OUT_BUS)
        if out & 0x8000 or out < self.most_out:
            return False
        self.beyond = WHY_OVER_VOLTAGE
        return True

    def _sample_adc(self):
        sensor = self.sensor
        i = self.count
        bus = amps = n = 0
        self.times[i] = ticks_diff(ticks_us(), self.start_us)
        while n < ADC_READINGS:
            amps += sensor.amps_pin.read_u16()
            bus += sensor.bus_pin.read_u16()
            n += 1
        bus >>= ADC_SHIFT
        amps >>= ADC_SHIFT
        self.bus[i] = bus
        self.amps[i] = amps
        self.count = i + 1
        return self._within(bus, amps)

    def _within(self, bus, amps):
        if bus >= self.most_bus:
            self.beyond = WHY_OVER_VOLTAGE
        elif amps >= self.most_amps:
            self.beyond = WHY_OVER_CURRENT
        elif bus < self.least_bus and self.loop.switch.connected:
            self.beyond = WHY_LOW_BUS
        else:
            return True
        return False

    def _trip(self):
        """Release at once; the next tick sees for itself, and ends the bench where it must."""
        self.bench._switch(False)
        self.why = STEP_PROTECTION
        loop = self.loop
        was = loop.switch.connected
        loop.switch.trip(self.beyond, loop.now)
        if was:
            loop.journal.event(EV_RELEASED, loop.switch.why, loop.now.t_ms)
        if self.beyond != WHY_LOW_BUS:
            self.bench.end(END_PROTECTION)

    # ---- the answer

    def fill(self, frame, at, first):
        """SAMPLES' payload from number `first` on: its bytes; 0: there are no such."""
        left = min(self.count - first, bench_frames.STEP_SAMPLES)
        if first < 0 or left <= 0:
            return 0
        sensor = self.sensor
        told = {
            "first": first, "total": self.count, "sent": left, "step": self.number,
            "reason": self.why, "amps_signed": not self.adc, "cycle_us": self.cycle_us,
            "on_us": self.on_us & NEVER, "off_us": self.off_us & NEVER,
            "bus_factor": sensor.bus_factor, "bus_shift": sensor.bus_shift,
            "bus_offset_mv": sensor.bus_offset_mv,
            "amps_factor": sensor.amps_factor, "amps_shift": sensor.amps_shift,
            "amps_offset_ma": sensor.amps_offset_ma, "amps_zero": self.zero,
        }
        pack_into(self.packing, frame, at, *[int(told[name]) for name in self.names])
        to = at + bench_frames.STEP_HEAD_BYTES
        for i in range(first, first + left):
            pack_into("<IHH", frame, to, self.times[i], self.bus[i], self.amps[i])
            to += bench_frames.STEP_SAMPLE_BYTES
        return to - at


def _word(value, factor, shift):
    """The least register word that reads as `value` or more."""
    return max(0, ((max(0, value) << shift) + factor - 1) // factor)
