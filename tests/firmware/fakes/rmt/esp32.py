"""A pulse sender of an ESP32, as much of it as the lamp needs. Not for a board."""

import time

MOST_MS = 60000
made = []


class RMT:
    PULSE_MAX = 32767

    def __init__(self, pin=None, resolution_hz=0, idle_level=False, tx_carrier=None):
        if not 312500 <= resolution_hz <= 80000000:
            raise ValueError("resolution_hz")
        self.unit_us = 1000000 / resolution_hz
        self.idle = idle_level
        self.carrier = tx_carrier
        self.lit = bytearray(MOST_MS)  # 1 where the pin was at another level than at rest
        self.begun_us = time.now_us
        self.done_ms = 0
        self.pulses = []  # (until us, level)
        made.append(self)

    def sync(self):
        """What was sent up to now."""
        now_ms = (time.now_us - self.begun_us) // 1000
        done_ms, pulses, begun_us = self.done_ms, self.pulses, self.begun_us
        while done_ms < now_ms:
            at = begun_us + 1000 * done_ms + 500
            while pulses and pulses[0][0] <= at:
                pulses.pop(0)
            if not pulses:
                break  # at rest, as the bytes are from the begin
            if pulses[0][1] != self.idle:
                self.lit[done_ms] = 1
            done_ms += 1
        self.done_ms = max(now_ms, done_ms)

    def active(self, value=None):
        self.sync()
        if value is not None:
            self.pulses = []
        return bool(self.pulses)

    def write_pulses(self, units, levels):
        self.sync()
        if self.pulses and self.pulses[-1][0] > time.now_us + 1000:
            raise OSError("it would wait for the end of what is being sent")
        if len(units) != len(levels) or len(units) > 96:
            raise ValueError("pulses")
        until = time.now_us
        self.pulses = []
        for unit, level in zip(units, levels):
            if not 1 <= unit <= self.PULSE_MAX:
                raise ValueError("a pulse")
            until += unit * self.unit_us
            self.pulses.append((until, level))
