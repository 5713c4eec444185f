"""A pin of an ESP32 that plays steps of on and off by itself, at a brightness.

Its RMT block sends pulses from its own memory; its carrier makes the brightness. A pulse is 80 ms
at most, so a step takes several, and what they do not fill is off. Needs MicroPython 1.26: before
that a sequence under way cannot be broken off.
"""

from esp32 import RMT
from machine import Pin

UNIT_HZ = 400000  # the clock of 80 MHz by 200; 256 is the most
UNITS_MS = 400
LONGEST_MS = 80  # a pulse: 32,000 units of 32,767
PULSES = 24  # the block has room for 96
CARRIER_HZ = 2000


class Player:
    most_ms = 1600  # 20 pulses: four may be cut short by where a step ends

    def __init__(self, number, pin, percent, active_low):
        self.on = not active_low
        carrier = None if percent >= 100 else (CARRIER_HZ, percent, self.on)
        rmt = RMT(
            pin=Pin(pin), resolution_hz=UNIT_HZ, idle_level=bool(active_low), tx_carrier=carrier
        )
        self.units = [1] * PULSES
        self.outs = [not self.on] * PULSES
        self.used = 0  # of these, by what is told
        # bound once: taking a method as a value allocates
        self.active = rmt.active
        self.write = rmt.write_pulses
        self.write(self.units, self.outs)  # takes the memory for so many, once

    def play(self, levels, times, n):
        """From now on: n steps, the last one dark."""
        self.used = 0
        i = 0
        while i < n:
            self._add(levels[i], times[i])
            i += 1
        i = self.used
        while i < PULSES:
            self.units[i] = 1
            self.outs[i] = not self.on
            i += 1
        self.active(False)
        self.write(self.units, self.outs)

    def _add(self, level, left):
        """Pulses for a step of `left` ms."""
        k = self.used
        out = bool(level) == self.on
        while left > 0 and k < PULSES:
            self.units[k] = min(left, LONGEST_MS) * UNITS_MS
            self.outs[k] = out
            left -= LONGEST_MS
            k += 1
        self.used = k
