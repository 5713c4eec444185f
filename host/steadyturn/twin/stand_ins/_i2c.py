"""The I2C bus of the virtual board, with one sensor on it; a part of `machine`.

The chip's registers come with the answer to the last exchange. Durations are those of a
bus at 400 kHz.
"""

import os

import _chan
import _ops
import micropython
from micropython import const

_BYTE_US = const(25)  # nine clocks at 400 kHz and the gap between bytes
_R = const(10)  # _ops.R_REGISTERS, which the native code below takes as it stands here

_chip = os.getenv("TWIN_CHIP")
_address = int(os.getenv("TWIN_ADDRESS"))
_DIE = {"ina226": 0x2260, "ina3221": 0x3220}
_IDENTITY = {0xFE: 0x5449, 0xFF: _DIE[_chip]} if _chip in _DIE else {}
# reading this register changes something; and the last there is
_EFFECT, _TOP = {
    "ina226": (6, 7), "ina219": (3, 5), "ina3221": (0x0F, 0x11), "adc": (-1, -1),
}[_chip]
_FAULT = const(29)  # _ops.R_FAULT
assert _R == _ops.R_REGISTERS
assert _FAULT == _ops.R_FAULT
_timeout_us = 50000


@micropython.native
def _there(address, size):
    """Time on the wire, and an error where nobody answers."""
    _chan.spend(size * _BYTE_US)
    if address != _address or _chan.rx[1] & _ops.NO_SENSOR:
        raise OSError(5)
    if _chan.rx[_FAULT]:
        _fault()


def _fault():
    if _chan.rx[_FAULT] == _ops.FAULT_NACK:
        raise OSError(5)
    if _chan.rx[_FAULT] == _ops.FAULT_STUCK:
        _chan.spend(_timeout_us)
        raise OSError(110)


@micropython.native
def _word(register):
    if register == _EFFECT:
        return _word_with_effect(register)
    if register <= _TOP:
        if _chan.reading:
            _chan.saw(register, _chan.rx[_R + register])
        return _chan.rx[_R + register]
    if _chan.rx[_FAULT] == _ops.FAULT_WRONG:
        return 0
    return _IDENTITY.get(register, 0)


def _word_with_effect(register):
    """The hardware is told with the next exchange; a second reading before that sees it."""
    rx = _chan.rx
    word = rx[_R + register]
    _chan.change(_ops.CHANGE_READ, register, 0)
    if register == 6:
        rx[_R + 6] &= ~0x18 if word & 1 else ~0x08
    elif register == 0x0F:
        rx[_R + 0x0F] &= ~1
    else:
        rx[_R + 2] &= ~2
    return word


@micropython.native
def _put(data, word):
    """High byte first; a chip that is read on gives the word again."""
    data[0] = word >> 8
    if len(data) > 1:
        data[1] = word & 0xFF
    for i in range(2, len(data)):
        data[i] = data[i - 2]


class I2C:
    """One sensor on the bus. Its registers are words, high byte first.

    The functions are kept small: one whose frame is large takes heap at each call.
    """

    def __init__(self, id, *, sda=None, scl=None, freq=400000, timeout=50000):
        if id not in (0, 1):
            raise ValueError("I2C(%s) doesn't exist" % id)
        self._pointer = 0
        global _timeout_us
        _timeout_us = timeout

    def scan(self):
        _chan.spend(112 * 2 * _BYTE_US)
        if _chan.rx[_FAULT] in (_ops.FAULT_NACK, _ops.FAULT_STUCK):
            return []
        return [] if _chan.rx[1] & _ops.NO_SENSOR else [_address]

    def writeto(self, address, data, stop=True):
        _there(address, 1 + len(data))
        if len(data):
            self._pointer = data[0]
        if len(data) == 3:
            _chan.exchange(_ops.WRITE_REGISTER, data[0], data[1] << 8 | data[2])
        return len(data)

    def writeto_mem(self, address, register, data, addrsize=8):
        self.writeto(address, bytes((register,)) + bytes(data))

    def readfrom_into(self, address, data, stop=True):
        _there(address, 1 + len(data))
        _put(data, _word(self._pointer))

    @micropython.native
    def readfrom_mem_into(self, address, register, data, addrsize=8):
        _there(address, 3 + len(data))
        self._pointer = register
        _put(data, _word(register))

    def readfrom_mem(self, address, register, size, addrsize=8):
        data = bytearray(size)
        self.readfrom_mem_into(address, register, data)
        return bytes(data)
