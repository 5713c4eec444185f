"""Too hot? A thermistor to ground below a resistor from 3.3 V: the hotter, the lower the pin.

The host has worked out the pin's millivolts at the limit, where it is cool again, and above what
none can be so cold that its wire is not broken. Heat is slow, so a mean over 16 ticks is looked
at: no single reading releases a phone. A broken wire reads as 3.3 V and a shorted one as nothing;
both count as too hot, because then nobody knows how hot it is.
"""

from steadyturn_fw.sensor import adc

MEAN = 16
MEAN_SHIFT = 4


class Heat:
    def __init__(self, settings):
        s = settings
        self.pin = adc(s.heat_adc_pin) if s.heat_adc_pin >= 0 else None
        self.limit = s.heat_limit_mv * MEAN
        self.back = s.heat_back_mv * MEAN
        self.open = s.heat_open_mv * MEAN
        self.mean = -1  # mV * MEAN; -1: no reading yet

    def read(self, now):
        """Set now.too_hot."""
        if self.pin is None:
            return
        mv = self.pin.read_u16() * 3300 >> 16
        if self.mean < 0:
            self.mean = mv * MEAN
        else:
            self.mean += mv - (self.mean >> MEAN_SHIFT)
        # between `limit` and `back` it stays as it was
        if self.mean < self.limit or self.mean > self.open:
            now.too_hot = True
        elif self.mean > self.back:
            now.too_hot = False
