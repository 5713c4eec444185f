"""`esp32` of a virtual board with that chip: the pulse sender, as the lamp uses it."""

import os

import _chan
import _ops

if not (os.getenv("TWIN_BOARD") or "").startswith("esp32"):
    raise ImportError("no module named 'esp32'")


class RMT:
    PULSE_MAX = 32767

    def __init__(self, id=-1, *, pin, resolution_hz=10000000, idle_level=False, tx_carrier=None):
        self._pin = pin.id
        self._hz = resolution_hz
        self._shares = [0, 100]  # percent at high level, by level
        if tx_carrier is not None:
            level = 1 if tx_carrier[2] else 0
            self._shares[level] = tx_carrier[1] if level else 100 - tx_carrier[1]
        self._idle = 1 if idle_level else 0
        self._until = 0
        _chan.change(_ops.CHANGE_STOP, self._pin, 0)
        self._play(self._idle, 1)

    def _play(self, level, us):
        _chan.change(_ops.CHANGE_PLAY, self._pin, self._shares[level] << 25 | us)

    def active(self, value=None):
        _chan.spend(4)
        now = _chan.rx[2] + _chan.spent
        if value is not None:
            _chan.change(_ops.CHANGE_STOP, self._pin, 0)
            self._until = now
        return self._until > now

    def write_pulses(self, units, levels):
        _chan.spend(20)
        now = _chan.rx[2] + _chan.spent
        if self._until > now + 1000:
            _chan.exchange(_ops.SLEEP, self._until - now)  # as the real one waits
        us = 0
        last = -1
        for unit, high in zip(units, levels):
            level = 1 if high else 0
            if level != last and us > 0:
                self._play(last, us)
                us = 0
            last = level
            us += unit * 1000000 // self._hz
        if us:
            self._play(last, us)
        self._play(self._idle, 1)
        self._until = _chan.rx[2] + _chan.spent + sum(units) * 1000000 // self._hz
