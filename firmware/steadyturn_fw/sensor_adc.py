"""Volts and amps by the board's own ADC: a divider, and an amplifier over the shunt.

No chip answers here, so nothing can be identified or found stale, and there is no alert.
What the pins read is taken often between two ticks, in uneven steps, and a reading is the
mean of all: noise falls with the root of their number, and what the commutators leave on
the bus is spread over a tick instead of being met at one moment of it. Only where the
last burst alone stands beyond a limit does it count by itself: danger does not wait for
a mean.
"""

from steadyturn_fw.sensor import MOST, adc, scale

BURST = 8  # readings of each pin at a tick itself
MOST_COUNT = 1000  # of readings in a mean: a sum of so many words is a small integer
# between readings in the idle time: no ripple keeps step with them, not of whole ms either
GAPS_US = (1370, 2710, 1930, 1130, 2310, 1590)
BUS_END = 65000  # of 65535: above this the pin may see anything
AMPS_END = 62000  # 3.12 V: an amplifier fed with 3.3 V ends a little below
REFERENCE_MV = 3300


class AdcSensor:
    def __init__(self, settings):
        s = settings
        if s.bus_adc_pin < 0 or s.amps_adc_pin < 0:
            raise ValueError
        self.bus_pin = adc(s.bus_adc_pin)
        self.amps_pin = adc(s.amps_adc_pin)
        self.supply_pin = adc(s.supply_adc_pin) if s.supply_adc_pin >= 0 else None
        self.supply_factor, self.supply_shift = scale(
            REFERENCE_MV * s.supply_permille, 65535 * 1000
        )
        # mV and mA = (word - zero) * factor >> shift
        self.bus_factor, self.bus_shift = scale(
            REFERENCE_MV * s.divider_permille * s.bus_gain_ppm, 65535 * 1000 * 1000000
        )
        factor, shift = scale(
            REFERENCE_MV * 1000 * s.amps_gain_ppm, 65535 * s.amplifier_permille * s.shunt_uohm
        )
        # a word has a bit more than a chip's register: the product with it stays small
        self.amps_factor, self.amps_shift = factor >> 1, shift - 1
        self.amps_rest = 1 << self.amps_shift >> 1
        self.zero = s.amplifier_zero_mv * 65535 // REFERENCE_MV
        self.bus_offset_mv = s.bus_offset_mv
        self.amps_offset_ma = s.amps_offset_ma
        self.over_mv = s.over_mv
        self.over_ma = s.over_ma
        self.out = False  # the converter's output is not measured
        self.errors = 0
        self.next_gap = 0
        self.bus_sum = 0
        self.amps_sum = 0
        self.count = 0
        self.burst_bus = 0
        self.burst_amps = 0

    def gap_us(self):
        """How long until the next `sample`."""
        self.next_gap = (self.next_gap + 1) % len(GAPS_US)
        return GAPS_US[self.next_gap]

    def sample(self):
        """One reading of both pins, for the next tick's mean."""
        if self.count < MOST_COUNT:
            self.bus_sum += self.bus_pin.read_u16()
            self.amps_sum += self.amps_pin.read_u16()
            self.count += 1

    def look(self):
        """There is no chip that could lose its set-up."""

    def read(self, now):
        """Set now.bus_mv, bus_ma, supply_mv, volts, amps and saturated."""
        if self.supply_pin is not None:
            now.supply_mv = self.supply_pin.read_u16() * self.supply_factor >> self.supply_shift
        self._burst()
        rest = self.amps_rest
        self._set_volts(now, self.burst_bus // BURST)
        self._set_amps(now, self.burst_amps // BURST)
        now.saturated = (
            self.burst_bus >= BUS_END * BURST or self.burst_amps >= AMPS_END * BURST
        )
        if not now.saturated and now.bus_mv < self.over_mv and now.bus_ma < self.over_ma:
            self.amps_rest = rest
            # a burst is one moment of the tick: it counts as one
            self.count += 1
            self._set_volts(now, (self.bus_sum + self.burst_bus // BURST) // self.count)
            self._set_amps(now, (self.amps_sum + self.burst_amps // BURST) // self.count)
        self._clear()
        now.volts = True
        now.amps = True

    def _burst(self):
        self.burst_bus = 0
        self.burst_amps = 0
        i = 0
        while i < BURST:
            self.burst_bus += self.bus_pin.read_u16()
            self.burst_amps += self.amps_pin.read_u16()
            i += 1

    def _clear(self):
        self.bus_sum = 0
        self.amps_sum = 0
        self.count = 0

    def _set_volts(self, now, word):
        mv = (word * self.bus_factor >> self.bus_shift) + self.bus_offset_mv
        now.bus_mv = max(0, min(mv, MOST))

    def _set_amps(self, now, word):
        bits = (word - self.zero) * self.amps_factor + self.amps_rest
        word = bits >> self.amps_shift
        self.amps_rest = bits - (word << self.amps_shift)
        now.bus_ma = max(-MOST, min(word + self.amps_offset_ma, MOST))
