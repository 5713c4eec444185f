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
        self.cycle = 0  # since then
        self.steps = [self._step(i) for i in range(len(self.code))]
        self.running = False
        self.at = 0
        self.x = self.y = self.osr = 0
        machine.pins[out_base.number] = self
        made.append(self)

    def _step(self, i):
        """(what, operands, cycles, the next one) of an instruction."""
        what = self.code[i].what
        after = i + 1
        if after == self.ends["to"]:
            after = self.ends["from"]
        first = second = 0
        if what[0] == "pull":
            first = what[1]
        elif what[0] == "out":
            first, second = what[1:]
        elif what[0] == "set":
            first = bool(what[2])
        elif what[0] == "jmp":
            first = self.labels[what[2]]
        return what[0], first, second, 1 + self.code[i].delay, after

    def _rest(self, until):
        """The pin stays as it is until then."""
        while self.cycle < until:
            ms = self.cycle // 100
            part = min(until - self.cycle, 100 - self.cycle % 100)
            if self.level:
                self.lit[ms] += part
            self.cycle += part

    def sync(self):
        """Run up to now; in one loop and with local names, for this takes the tests' time."""
        until = time.now_us // CYCLE_US - self.begun
        steps, fifo, lit = self.steps, self.fifo, self.lit
        cycle, at, level = self.cycle, self.at, self.level
        x, y, osr = self.x, self.y, self.osr
        waits = not self.running
        while cycle < until and not waits:
            what, first, second, cycles, after = steps[at]
            if what == "pull":
                if not fifo and first:
                    waits = True
                    continue
                osr = fifo.pop(0)
            elif what == "out":
                value = osr & (1 << second) - 1
                osr >>= second
                if first == "x":
                    x = value
                else:
                    y = value
            elif what == "mov":
                level = bool(x & 1)
            elif what == "set":
                level = first
            elif what == "jmp":
                if y:
                    after = first
                y = (y - 1) & 0xFFFFFFFF
            at = after
            if level:  # it stays so for `cycles`: 32 at most
                ms = cycle // 100
                room = 100 - cycle % 100
                if cycles > room:
                    lit[ms] += room
                    lit[ms + 1] += cycles - room
                else:
                    lit[ms] += cycles
            cycle += cycles
        self.cycle, self.at, self.level = cycle, at, level
        self.x, self.y, self.osr = x, y, osr
        self._rest(until)

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
