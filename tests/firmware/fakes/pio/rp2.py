"""A state machine of an RP2040 that really runs its program, as much of it as the lamp needs.

Each instruction takes one cycle and its delay (RP2040 data sheet, section 3.4). What the pin
does is kept as cycles at high level in each millisecond. Not for a board.
"""

import time

import machine

CYCLE_US = 10
MOST_MS = 60000
made = []  # every StateMachine


class PIO:
    OUT_LOW = 2
    OUT_HIGH = 3
    SHIFT_LEFT = 0
    SHIFT_RIGHT = 1
    JOIN_NONE = 0
    JOIN_TX = 1


class _Instruction:
    def __init__(self, *what):
        self.what = what
        self.delay = 0

    def __getitem__(self, delay):
        if not 0 <= delay <= 31:
            raise ValueError("delay")
        self.delay = delay
        return self


def asm_pio(out_init=None, set_init=None, out_shiftdir=0, fifo_join=0):
    def made_of(function):
        code = []
        labels = {}
        ends = {}

        def instruction(*what):
            code.append(_Instruction(*what))
            return code[-1]

        names = {
            "wrap_target": lambda: ends.__setitem__("from", len(code)),
            "wrap": lambda: ends.__setitem__("to", len(code)),
            "label": lambda name: labels.__setitem__(name, len(code)),
            "pull": lambda block: instruction("pull", block),
            "out": lambda to, bits: instruction("out", to, bits),
            "mov": lambda to, of: instruction("mov", to, of),
            "set": lambda to, value: instruction("set", to, value),
            "nop": lambda: instruction("nop"),
            "jmp": lambda when, to: instruction("jmp", when, to),
            "block": 1, "noblock": 0, "x": "x", "y": "y", "pins": "pins", "y_dec": "y_dec",
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
        if len(code) > 32:
            raise OSError(12)
        depth = 8 if fifo_join == PIO.JOIN_TX else 4
        return code, labels, ends, out_shiftdir, depth, out_init == PIO.OUT_HIGH

    return made_of


class StateMachine:
    def __init__(self, number, program, freq=0, out_base=None, set_base=None):
        self.code, self.labels, self.ends, self.shift, self.depth, self.level = program
        if freq != 1000000 // CYCLE_US or self.shift != PIO.SHIFT_RIGHT:
            raise ValueError("this stand-in knows no other")
        self.pin = out_base
        self.fifo = []
        self.lit = bytearray(MOST_MS)  # cycles at high level in each ms
        self.begun = time.now_us // CYCLE_US
        self.cycle = self.begun
        self.running = False
        self.at = 0
        self.x = self.y = self.osr = 0
        machine.pins[out_base.number] = self
        made.append(self)

    def _keep(self, cycles):
        """The pin stays as it is for so long."""
        while cycles > 0:
            ms = (self.cycle - self.begun) // 100
            part = min(cycles, 100 - (self.cycle - self.begun) % 100)
            if self.level:
                self.lit[ms] += part
            self.cycle += part
            cycles -= part

    def sync(self):
        """Run up to now."""
        now = time.now_us // CYCLE_US
        while self.cycle < now:
            if not self.running or not self._step():
                self._keep(now - self.cycle)

    def _step(self):
        """One instruction; False: it waits."""
        instruction = self.code[self.at]
        what = instruction.what
        after = self.at + 1
        if what[0] == "pull":
            if not self.fifo and what[1]:
                return False
            self.osr = self.fifo.pop(0)
        elif what[0] == "out":
            value = self.osr & (1 << what[2]) - 1
            self.osr >>= what[2]
            setattr(self, what[1], value)
        elif what[0] == "mov":
            self.level = bool(self.x & 1)
        elif what[0] == "set":
            self.level = bool(what[2])
        elif what[0] == "jmp":
            if self.y:
                after = self.labels[what[2]]
            self.y = (self.y - 1) & 0xFFFFFFFF
        self.at = self.ends["from"] if after == self.ends["to"] else after
        self._keep(1 + instruction.delay)
        return True

    def active(self, value=None):
        self.sync()
        if value is not None:
            self.running = bool(value)
        return self.running

    def restart(self):
        self.sync()
        self.at = 0

    def exec(self, instruction):
        self.sync()
        if instruction != 0x8080:
            raise ValueError("this stand-in knows no other")
        if self.fifo:
            self.osr = self.fifo.pop(0)

    def put(self, value):
        self.sync()
        if not 0 <= value < 1 << 30:
            raise OverflowError("not a small integer")
        if len(self.fifo) == self.depth:
            raise OSError("it would wait for room")
        self.fifo.append(value)

    def tx_fifo(self):
        self.sync()
        return len(self.fifo)
