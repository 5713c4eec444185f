"""The virtual board's one connection to its hardware, and its clock.

An exchange is one question and one answer. Between two of them the board reckons
its own time: what an operation costs on a real board is added to `spent`.
"""

import gc
import os
from array import array

import _ops
import micropython
from micropython import const
from utime import ticks_us as _real_us

_to = open(int(os.getenv("TWIN_TO")), "wb", 0)
_from = open(int(os.getenv("TWIN_FROM")), "rb", 0)
tx = array("q", [0] * _ops.ASK_WORDS)
rx = array("q", [0] * _ops.ANSWER_WORDS)
spent = 0  # us since the last answer
answered_us = 0  # of this machine's clock; real time is reckoned from it
count = 0  # changes not yet told
at_prompt = False
reading = os.getenv("TWIN_READINGS") == "1"  # each reading is told
deaf = False  # as after kbd_intr(-1); only used where no terminal does this

# of _ops, as native code takes them quickest
_READ_COUNT = const(30)
_READS = const(31)
_READS_MOST = const(17)
assert (_READ_COUNT, _READS, _READS_MOST) == (_ops.A_READ_COUNT, _ops.A_READS, _ops.READS_MOST)

_PULSES = const(28)
_PULSE_AT = const(31)
assert (_PULSES, _PULSE_AT) == (_ops.R_PULSES, _ops.R_PULSE_AT)
pulses = 0  # of the turn sensor, that the program knows of
pulsed = None  # called with the time of a pulse, inside an exchange as an interrupt is
frozen = 0  # the clock as an interrupt sees it, 0: it runs

HURRY_US = 2000  # a program that spends this long without sleeping gets fresh inputs


def _gone():
    """The other side has ended: so must this one, whatever the program catches."""
    if hasattr(os, "_exit"):
        os._exit(0)
    os.system("kill -9 $PPID")


@micropython.native
def exchange(op, a=0, b=0):
    global spent, count
    seq = tx[1] + 1
    tx[0] = op
    tx[1] = seq
    tx[2] = rx[2] + spent
    tx[3] = a
    tx[4] = b
    tx[5] = count
    _to.write(tx)
    _answer(seq)
    spent = 0
    count = 0
    tx[_READ_COUNT] = 0
    if rx[_PULSES] != pulses:
        _interrupt()
    if rx[1] & 8:
        _measure()
    if rx[1] & 1:
        rx[1] -= 1
        if not deaf:
            raise KeyboardInterrupt


def _interrupt():
    """Pulses that came while interrupts waited, as in an erase, are one."""
    global pulses
    pulses = rx[_PULSES]
    if pulsed is not None and pulses:
        pulsed(rx[_PULSE_AT])


def _measure():
    interrupt = rx[1] & 1
    gc.collect()
    exchange(_ops.HEAP, gc.mem_alloc(), micropython.mem_total())
    rx[1] |= interrupt


@micropython.native
def _answer(seq):
    global answered_us
    while True:
        if not _from.readinto(rx):
            _gone()
        if rx[0] == seq:  # else it belongs to a question that Ctrl-C cut short
            answered_us = _real_us()
            return


def exchange_data(op, a, data):
    """A question with bytes behind it. Runs to its end whatever Ctrl-C does, because a
    file system stands above it that no board would have interrupted; the Ctrl-C is not
    lost but asked for again."""
    global spent, count
    seq = tx[1] + 1
    tx[0] = op
    tx[1] = seq
    tx[2] = rx[2] + spent
    tx[3] = a
    tx[4] = len(data)
    tx[5] = count
    out = bytearray(tx)
    out.extend(data)
    again = False
    while True:
        try:
            _to.write(out)
            _answer(seq)
            break
        except KeyboardInterrupt:
            again = True  # asked under the same number, so it is not done twice
    spent = 0
    count = 0
    tx[_READ_COUNT] = 0
    if again:
        exchange_data(_ops.AGAIN, 0, b"")


@micropython.native
def change(code, pin, value):
    """Note that an output changed now; told with the next exchange, in order."""
    global count
    if count == _ops.CHANGES_MOST:
        exchange(_ops.SLEEP)
    at = _ops.A_CHANGES + 2 * count
    tx[at] = rx[2] + spent
    tx[at + 1] = code << 40 | pin << 32 | value
    count += 1


@micropython.native
def saw(what, value):
    """Note a reading that the program is given now."""
    if tx[_READ_COUNT] == _READS_MOST:
        exchange(_ops.SLEEP)
    tx[_READS + tx[_READ_COUNT]] = rx[2] + spent << 24 | what << 16 | value
    tx[_READ_COUNT] += 1


@micropython.native
def spend(us):
    global spent
    spent += us
    if spent > HURRY_US:
        exchange(_ops.SLEEP)


@micropython.native
def clock():
    """The time in us; reading it costs what it does on a board."""
    global spent
    if frozen:
        return frozen
    if at_prompt or (reading and rx[1] & 2):
        exchange(_ops.TIME)
    elif rx[1] & 2:
        passed = _real_us() - answered_us
        if passed > HURRY_US:
            exchange(_ops.TIME)
        elif passed > spent:
            spent = passed
    else:
        spend(2)
    return rx[2] + spent
