"""A pin of an RP2040 or RP2350 that plays steps of on and off by itself, at a brightness.

A state machine takes a word a step from its queue of eight: bit 0 says on or off, the rest for
how many periods of 1 ms. Each period is 100 cycles, as many of them on as the brightness has
percents. With nothing left to take it stays where the last step ended: off.
"""
# mypy: disable-error-code="name-defined"
# ruff: noqa: F821 - asm_pio gives a program the names of its instructions

from machine import Pin
from rp2 import PIO, StateMachine, asm_pio

CYCLES = 100  # a period
PERIOD_HZ = 1000
LONGEST = 32  # cycles of one instruction
WHOLE = 99  # from here on there is no room for an off and the way back: all the time
PULL_NEXT = 0x8080  # the instruction `pull(noblock)`: throws a waiting word away
MOST_MS = 100000000


def waits(cycles):
    """Delays that make up so many cycles, an instruction each."""
    found = []
    while cycles > 0:
        part = min(cycles, LONGEST)
        found.append(part - 1)
        cycles -= part
    return found


def program(percent, active_low):
    """percent: 1 to 100, of the time that the pin is on in an `on` step."""
    rest = 1 if active_low else 0
    level = PIO.OUT_HIGH if active_low else PIO.OUT_LOW
    on = waits(CYCLES - 1 if percent >= WHOLE else percent)
    off = [] if percent >= WHOLE else waits(CYCLES - percent - 1)

    def steps():
        wrap_target()
        pull(block)
        out(x, 1)
        out(y, 31)
        label("period")
        mov(pins, x)[on[0]]
        for more in on[1:]:
            nop()[more]
        for more in off[:1]:
            set(pins, rest)[more]  # type: ignore[call-overload]
        for more in off[1:]:
            nop()[more]
        jmp(y_dec, "period")
        wrap()

    return asm_pio(
        out_init=level, set_init=level, out_shiftdir=PIO.SHIFT_RIGHT, fifo_join=PIO.JOIN_TX
    )(steps)


class Player:
    most_ms = MOST_MS  # how much of what is ahead it can keep

    def __init__(self, number, pin, percent, active_low):
        """number: of the state machine, 0 to 3."""
        machine = StateMachine(
            number, program(percent, active_low), freq=CYCLES * PERIOD_HZ,
            out_base=Pin(pin), set_base=Pin(pin),
        )
        self.on = 0 if active_low else 1
        # bound once: taking a method as a value allocates
        self.active = machine.active
        self.restart = machine.restart
        self.waiting = machine.tx_fifo
        self.exec = machine.exec
        self.put = machine.put

    def play(self, levels, times, n):
        """From now on: n steps (8 at most), the last one dark."""
        self.active(0)
        left = self.waiting()
        while left:
            self.exec(PULL_NEXT)
            left -= 1
        on = self.on
        while left < n:
            bit = on if levels[left] else 1 - on
            self.put(times[left] - 1 << 1 | bit)
            left += 1
        self.restart()
        self.active(1)
