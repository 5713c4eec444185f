"""`rp2` of a virtual board with that chip: state machines that play the lamp's steps.

Which share of the time the pin is high is read from the program: each period from its `mov` on
to the `set`, if it has one, and from there to the end. The program itself is run cycle by cycle in
the firmware's own tests.
"""

import os

import _chan
import _ops

if not (os.getenv("TWIN_BOARD") or "").startswith("pico"):
    raise ImportError("no module named 'rp2'")

_CALL_US = 4


class PIO:
    IN_LOW = 0
    IN_HIGH = 1
    OUT_LOW = 2
    OUT_HIGH = 3
    SHIFT_LEFT = 0
    SHIFT_RIGHT = 1
    JOIN_NONE = 0
    JOIN_TX = 1
    JOIN_RX = 2


class _Instruction:
    def __init__(self, *what):
        self.what = what
        self.cycles = 1

    def __getitem__(self, delay):
        if not 0 <= delay <= 31:
            raise ValueError("delay")
        self.cycles = 1 + delay
        return self


def asm_pio(out_init=None, set_init=None, out_shiftdir=0, fifo_join=0, **more):
    def assembled(function):
        code = []

        def instruction(*what):
            code.append(_Instruction(*what))
            return code[-1]

        names = {
            "wrap_target": lambda: None, "wrap": lambda: None, "label": lambda name: None,
            "pull": lambda *a: instruction("pull"), "out": lambda *a: instruction("out"),
            "mov": lambda *a: instruction("mov"), "set": lambda *a: instruction("set", a[1]),
            "nop": lambda: instruction("nop"), "jmp": lambda *a: instruction("jmp"),
            "block": 1, "noblock": 0, "x": 0, "y": 0, "pins": 0, "y_dec": 0,
        }
        space = function.__globals__
        before = dict(space)
        space.update(names)
        try:
            function()
        finally:
            for name in names:
                if name in before:
                    space[name] = before[name]
                else:
                    del space[name]
        return _percents(code)

    return assembled


def _percents(code):
    """Percent of a period at high level for a bit of 0 and of 1, and the period in cycles."""
    first = last = 0
    level = None
    for instruction in code:
        if instruction.what[0] == "mov":
            first = instruction.cycles
        elif instruction.what[0] == "set":
            level = instruction.what[1]
            last = instruction.cycles
        elif level is not None:
            last += instruction.cycles
        elif first:
            first += instruction.cycles
    rest = last if level else 0
    period = first + last
    return rest * 100 // period, (first + rest) * 100 // period, period


class StateMachine:
    def __init__(self, number, program, freq=0, *, out_base=None, set_base=None):
        self._off, self._on, cycles = program
        self._period_us = cycles * 1000000 // freq
        self._pin = out_base.id
        self._words = []
        self._begins = []  # us, of each word that was taken over
        _chan.change(_ops.CHANGE_STOP, self._pin, 0)
        _chan.change(_ops.CHANGE_PLAY, self._pin, self._off << 25 | 1)

    def active(self, value=None):
        _chan.spend(_CALL_US)
        if value:
            self._start()
        elif value is not None:
            _chan.change(_ops.CHANGE_STOP, self._pin, 0)

    def _start(self):
        at = _chan.rx[2] + _chan.spent
        del self._begins[:]
        _chan.change(_ops.CHANGE_STOP, self._pin, 0)
        for word in self._words:
            us = (word // 2 + 1) * self._period_us
            share = self._on if word & 1 else self._off
            _chan.change(_ops.CHANGE_PLAY, self._pin, share << 25 | us)
            self._begins.append(at)
            at += us
        del self._words[:]

    def restart(self):
        _chan.spend(_CALL_US)

    def tx_fifo(self):
        _chan.spend(_CALL_US)
        now = _chan.rx[2] + _chan.spent
        return len([at for at in self._begins if at > now])

    def exec(self, instruction):
        _chan.spend(_CALL_US)
        if self._begins:
            self._begins.pop()

    def put(self, value, shift=0):
        _chan.spend(_CALL_US)
        self._words.append(value)
