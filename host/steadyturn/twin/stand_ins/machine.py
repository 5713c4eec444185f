"""`machine` of the virtual board: the part of it that the firmware uses.

Inputs come with the answer to the last exchange, so reading a sensor needs none of
its own; outputs are noted with their time and told with the next one. Durations are
those of a Pico at 125 MHz with its I2C bus at 400 kHz.
"""

import os

import _chan
import _ops
import micropython
from _i2c import I2C  # noqa: F401 - part of this module
from _watchdog import WDT, mem32  # noqa: F401 - likewise

PWRON_RESET = 1
WDT_RESET = 3

_adc_pins = [int(n) for n in os.getenv("TWIN_ADC").split(",")]
_id = bytes([int(os.getenv("TWIN_ID")[i : i + 2], 16) for i in range(0, 16, 2)])
_cause = int(os.getenv("TWIN_CAUSE"))


_SHUT_US = 6000  # a magnet passes the contact


def unique_id():
    return _id


def reset_cause():
    return _cause


def freq(hz=None):
    if hz is None:
        return 125000000


def idle():
    _chan.exchange(_ops.SLEEP, 1000)


def reset():
    _chan.exchange(_ops.RESET)


def soft_reset():
    _chan.exchange(_ops.SOFT_RESET)


def disable_irq():
    return 0


def enable_irq(state):
    pass


class Pin:
    IN = 0
    OUT = 1
    OPEN_DRAIN = 2
    PULL_UP = 1
    PULL_DOWN = 2
    IRQ_FALLING = 4
    IRQ_RISING = 8

    def __init__(self, id, mode=-1, pull=None, *, value=None, alt=None):
        if isinstance(id, str):
            id = 25 if id == "LED" else int(id[2:])
        if not 0 <= id <= 48:
            raise ValueError("invalid pin")
        self.id = id
        self._out = False
        self._level = 0
        if mode != -1:
            self.init(mode, pull, value=value)

    def init(self, mode=-1, pull=None, *, value=None, alt=None):
        if value is not None:
            self._level = 1 if value else 0
        if mode != -1:
            self._out = mode != 0
            _chan.change(_ops.CHANGE_MODE, self.id, 1 if self._out else 0)
        if self._out and value is not None:
            _chan.change(_ops.CHANGE_PIN, self.id, self._level)

    @micropython.native
    def value(self, level=None):
        if level is None:
            if self._out:
                return self._level
            return _chan.rx[3] >> self.id & 1
        self._level = 1 if level else 0
        _chan.change(_ops.CHANGE_PIN, self.id, self._level)

    __call__ = value

    def irq(self, handler=None, trigger=12, hard=False):
        """Of the one pin that has an interrupt here, the turn sensor's."""
        self._handler = handler
        _chan.pulsed = self._pulsed

    def _pulsed(self, at_us):
        """The contact shuts, and opens a little later."""
        bit = 1 << self.id
        _chan.frozen = at_us
        _chan.rx[3] &= ~bit
        self._handler(self)
        _chan.frozen = at_us + _SHUT_US
        _chan.rx[3] |= bit
        self._handler(self)
        _chan.frozen = 0

    def on(self):
        self.value(1)

    def off(self):
        self.value(0)

    high = on
    low = off

    def toggle(self):
        self.value(1 - self._level)


def _number(pin):
    return pin.id if isinstance(pin, Pin) else pin


def bitstream(pin, encoding, timing, data):
    """The first pixel of a strip takes three bytes: 30 us with the interrupts off."""
    if len(data) >= 3:
        _chan.change(_ops.CHANGE_PIXEL, pin.id, data[0] << 16 | data[1] << 8 | data[2])
    _chan.spend(10 * len(data))


class ADC:
    def __init__(self, pin):
        pin = _number(pin)
        self._at = -1
        if pin in _adc_pins:
            self._at = _ops.R_ADC + _adc_pins.index(pin)

    @micropython.native
    def read_u16(self):
        _chan.spend(4)
        if self._at < 0:
            return 0
        if _chan.reading:
            _chan.saw(_ops.READ_ADC + self._at - _ops.R_ADC, _chan.rx[self._at])
        return _chan.rx[self._at]


class PWM:
    def __init__(self, pin, *, freq=0, duty_u16=None, duty_ns=None, invert=False):
        self._pin = _number(pin)
        self._freq = 0
        self._duty = 0
        if freq:
            self.freq(freq)
        if duty_u16 is not None:
            self.duty_u16(duty_u16)

    def init(self, *, freq=None, duty_u16=None):
        if freq is not None:
            self.freq(freq)
        if duty_u16 is not None:
            self.duty_u16(duty_u16)

    def freq(self, hz=None):
        if hz is None:
            return self._freq
        self._freq = hz
        _chan.change(_ops.CHANGE_TONE, self._pin, hz)

    def duty_u16(self, duty=None):
        if duty is None:
            return self._duty
        if not 0 <= duty <= 65535:
            raise ValueError("duty_u16 must be 0 to 65535")
        self._duty = duty
        _chan.change(_ops.CHANGE_PWM, self._pin, duty)

    def deinit(self):
        _chan.change(_ops.CHANGE_PWM, self._pin, 0)
