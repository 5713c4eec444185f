"""`time` of the virtual board: its clock is the hardware's, and sleeping is an exchange."""

import _chan
import _ops
import micropython
from utime import gmtime, localtime, mktime  # noqa: F401 - passed on

_PERIOD = 0x3FFFFFFF  # as on a board; the Unix port's own goes much further
_HALF = 0x20000000
_EPOCH_2021 = 1609459200  # boards without a battery start on this date


@micropython.native
def ticks_us():
    at = _chan.clock()
    if _chan.reading:
        _chan.saw(0xF0, 0)  # _ops.READ_CLOCK
    return at & _PERIOD


@micropython.native
def ticks_ms():
    return (_chan.clock() // 1000) & _PERIOD


@micropython.native
def ticks_add(ticks, delta):
    return ticks + delta & _PERIOD


@micropython.native
def ticks_diff(end, begin):
    return (end - begin + _HALF & _PERIOD) - _HALF


def ticks_cpu():
    return _chan.clock() & _PERIOD


def sleep_us(us):
    _chan.exchange(_ops.SLEEP, max(0, us))


@micropython.native
def sleep_ms(ms):
    _chan.exchange(_ops.SLEEP, max(0, ms * 1000))


def sleep(s):
    _chan.exchange(_ops.SLEEP, max(0, int(s * 1000000)))


def time():
    return _EPOCH_2021 + _chan.clock() // 1000000


def time_ns():
    return _EPOCH_2021 * 1000000000 + _chan.clock() * 1000
