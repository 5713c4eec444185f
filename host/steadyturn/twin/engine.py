"""The virtual board itself: its power, its program in a child process, its flash.

One thread at a time drives it. `free(until)` lets time pass as fast as it goes, with
no client at the console; `live.LiveEngine` adds real time. Time stands still unless one
of them is called. A program that asks for time waits for its answer: that
is how the board's clock and the machine's stay one.
"""

from __future__ import annotations

import random
import time
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from steadyturn.errors import Failed
from steadyturn.twin.bus_faults import NEVER
from steadyturn.twin.plant import Plant
from steadyturn.twin.readings import Readings
from steadyturn.twin.stand_ins import _ops

BOOT_US = 400_000  # power to the first line of main.py: 178 ms to the first line of boot.py on
# a Pico as others measured it, the rest an allowance for compiling the firmware
SLICE_US = 25_000  # how finely power is watched: a little longer than a tick
START_S = 15.0  # real time that a child may take to ask its first question
HUNG_S = 3.0  # a program silent for so long, real time, is taken as hung: time goes on
LULL_S = 0.2  # a prompt that is silent for so long, real time, has nothing to do
STUBBORN_S = 1.0  # a program that only writes to flash for so long is ended, not interrupted
PWRON_RESET, WDT_RESET = 1, 3
REBOOT = b"\r\nMPY: soft reboot\r\n"
INTERRUPTIBLE = (_ops.SLEEP, _ops.TIME, _ops.WRITE_REGISTER)

# what the board is doing
OFF, BOOTING, STARTING, RUNNING, PROMPT = "off", "booting", "starting", "running", "prompt"


@dataclass(frozen=True, slots=True)
class Heap:
    """The program's heap at t_s: bytes in use after a collection, and ever allocated."""

    t_s: float
    used: int
    total: int


class Engine:
    """plant: what the board is wired to; flash: its chip (`flash.Flash`, or what stands in
    for it); wires: where clients come; spawn(environment): starts a child."""

    def __init__(
        self, plant: Plant, flash: Any, wires: Any, spawn: Callable[[dict[str, str]], Any],
        seed: int,
    ) -> None:
        self.plant = plant
        self.flash = flash
        self.wires = wires
        self.state = OFF
        self.boots: list[float] = []  # s
        self.deaths: list[float] = []
        self.readings: Readings | None = None
        self.measure = False  # the heap, at the next answer
        self.heaps: list[Heap] = []
        self.torn = 0  # flash operations that a death cut off
        self.child: Any = None
        self._spawn = spawn
        self._unused = (0,) * (_ops.REGISTERS - len(plant.chip.registers))
        own = flash.unique or random.Random(f"board {plant.rig.name} {seed}").randbytes(8)
        self._unique = own.hex()
        self._cause = PWRON_RESET
        self._boot_at = 0
        self._mode = "main"
        self._question: tuple[int, ...] | None = None
        self._due = 0
        self._last_seq = 0
        self._last_answer: tuple[tuple[int, ...], bytes] | None = None
        self._silent_since = 0.0
        self._anchor: tuple[float, int] | None = None  # real s and virtual us of real time
        self._interrupt_since: float | None = None

    @property
    def asked(self) -> bool:
        """Does the program wait for an answer?"""
        return self._question is not None

    # ------------------------------------------------------------------- power

    def _powered(self) -> bool:
        """Has the board power, or (when it is off) does it get enough to start?"""
        plant, supply = self.plant, self.plant.rig.supply
        if supply.feed != "crank" or plant.host_power:
            return True
        state = plant.machine.state
        if self.state != OFF:
            return state.reservoir_v >= supply.off_v
        enough = 0.9 * min(supply.wake_v - supply.drop_v, supply.reservoir_max_v)
        return state.bus_v >= supply.wake_v and state.reservoir_v >= max(enough, supply.off_v)

    def _watch_power(self) -> None:
        powered = self._powered()
        if self.state != OFF:
            if not powered:
                self.die()
        elif powered:
            self.plant.power_came()
            self._cause = PWRON_RESET
            self._begin("main", BOOT_US)

    def die(self) -> None:
        """The power goes, now."""
        if self.state == OFF:
            return
        self._end_child()
        self.torn += self.flash.cut()
        self.plant.power_lost()
        self.deaths.append(self.plant.t_us / 1e6)
        self.state = OFF

    # ------------------------------------------------------------------- the program

    def reset(self) -> None:
        """The reset button, or `machine.reset()`."""
        if self.state != OFF:
            self._cause = WDT_RESET
            self.plant.bites_us = NEVER
            self._begin("main", BOOT_US)

    def restart(self, raw: bool = False) -> None:
        """A soft reset; from the raw prompt main.py is left out and the prompt stays raw."""
        self.wires.said(REBOOT)
        self._begin("raw" if raw else "main", 0)

    def _stop_program(self) -> None:
        """Ctrl-C for a program that does nothing but write to flash: an interrupt inside the
        file system would tear it, so it is ended between two operations."""
        self.wires.said(b"\r\nKeyboardInterrupt\r\n")
        self._begin("raw" if self.wires.raw else "prompt", 0)

    def _begin(self, mode: str, delay_us: int) -> None:
        self._end_child()
        self.torn += self.flash.cut()
        self.plant.pins_reset()
        self.state = BOOTING
        self._mode = mode
        self._boot_at = self.plant.t_us + delay_us

    def _start_child(self) -> None:
        plant = self.plant
        self.boots.append(plant.t_us / 1e6)
        if self.readings is not None:
            self.readings.begin(plant.t_us)
        self.child = self._spawn({
            "TWIN_MODE": self._mode, "TWIN_CHIP": plant.chip.name,
            "TWIN_ADDRESS": str(plant.rig.sensor.address),
            "TWIN_ADC": ",".join(map(str, plant.adc_pins)), "TWIN_ID": self._unique,
            "TWIN_NOTE": str(plant.note), "TWIN_BOARD": plant.rig.board.kind,
            "TWIN_READINGS": str(int(self.readings is not None)),
            "TWIN_CAUSE": str(self._cause), "TWIN_IMAGE": str(self.flash.path.resolve()),
        })
        self.state = STARTING
        self._last_seq = 0
        self._silent_since = time.monotonic()
        self.wires.started(self.child, self._mode == "raw")
        if not self.child.ready(int(START_S * 1000)):
            self._end_child()
            self.state = OFF
            raise Failed(
                "MicroPython starts, but does not answer as a virtual board.",
                "Set STEADYTURN_MICROPYTHON to another MicroPython's path, or to cpython.",
            )

    def _end_child(self) -> None:
        child, self.child = self.child, None
        self._question = None
        self._interrupt_since = None
        if child is not None:
            self.wires.said(child.read_console())
            child.kill()

    # ------------------------------------------------------------------- questions

    def take(self) -> None:
        """Read one question: afterwards it waits until its time has come."""
        got = self.child.ask()
        self._silent_since = time.monotonic()
        if got is None:  # it left by itself: Ctrl-D at a prompt
            self.wires.said(self.child.read_console())
            self.restart(self.wires.raw)
            return
        words, data = got
        if words[_ops.A_SEQ] == self._last_seq:  # again, after a Ctrl-C in between
            if self._last_answer is not None:
                self.child.answer(*self._last_answer)
            return
        self._last_seq = words[_ops.A_SEQ]
        self._last_answer = None
        plant = self.plant
        op, now = words[_ops.A_OP], words[_ops.A_CLOCK]
        if words[_ops.A_COUNT]:
            self._changes(words)
        if words[_ops.A_READ_COUNT] and self.readings is not None:
            self.readings.add(words)
        now = max(now, plant.t_us)
        self._question = words
        self._due = now
        if op == _ops.SLEEP:
            self._due = now + words[_ops.A_1]
        elif op == _ops.PROGRAM:
            self._due += self.flash.start(now / 1e6, words[_ops.A_1], data)
        elif op == _ops.ERASE:
            self._due += self.flash.start(now / 1e6, words[_ops.A_1], None)
        elif op == _ops.OUTPUT:
            self.wires.said(data)
        elif op == _ops.START:
            self.state = RUNNING
        elif op == _ops.PROMPT:
            self.state = PROMPT
        elif op == _ops.RESET:
            self.reset()
        elif op == _ops.SOFT_RESET:
            self.restart(self.wires.raw)
        elif op == _ops.HEAP:
            self.heaps.append(Heap(plant.t_us / 1e6, words[_ops.A_1], words[_ops.A_2]))
        elif op == _ops.AGAIN and self._interrupt_since is None:
            self._interrupt_since = time.monotonic()

    def _changes(self, words: tuple[int, ...]) -> None:
        plant = self.plant
        at = _ops.A_CHANGES
        for _ in range(words[_ops.A_COUNT]):
            when, change = words[at], words[at + 1]
            if when > plant.t_us:
                plant.pass_to(when)
            plant.change(when, change >> 40, change >> 32 & 0xFF, change & 0xFFFFFFFF)
            at += 2

    def _finish(self) -> None:
        """The question's time has come: do what it asked for, and answer."""
        words, child, plant = self._question, self.child, self.plant
        assert words is not None
        self._question = None
        op = words[_ops.A_OP]
        flags = 0
        data = b""
        if op in (_ops.PROGRAM, _ops.ERASE):
            self.flash.finish()
            since = self._interrupt_since
            if since is not None and time.monotonic() - since > STUBBORN_S:
                self._stop_program()
                return
        elif op == _ops.WRITE_REGISTER:
            plant.write_register(words[_ops.A_1], words[_ops.A_2])
        elif op == _ops.INPUT:
            data = self.wires.give()
        if self._interrupt_since is not None and op in INTERRUPTIBLE:
            self._interrupt_since = None
            if child.catches_interrupt() is not False:
                flags = _ops.INTERRUPT
            else:
                child.write_console(b"\x03")
        if self._anchor is not None and not plant.looked_at(plant.t_us):
            flags |= _ops.LIVE
        if self.measure and op == _ops.SLEEP and self.state == RUNNING:
            self.measure = False
            flags |= _ops.MEASURE
        if not plant.sensor_fitted:
            flags |= _ops.NO_SENSOR
        flags |= (len(data) or self.wires.waiting()) << _ops.WAITING_SHIFT
        answer = (
            words[_ops.A_SEQ], flags, plant.t_us, plant.inputs(), *plant.channels(),
            *plant.bus.registers(), *self._unused, *plant.more(),
        )
        self._last_answer = answer, data
        child.answer(answer, data)
        plant.settle(plant.t_us)  # here, because the program runs meanwhile
        self._silent_since = time.monotonic()

    # ------------------------------------------------------------------- free time

    def free(self, until_us: int) -> None:
        """Let virtual time pass up to until_us as fast as it goes; at its end the program
        waits for more of it, unless it hangs."""
        self._anchor = None
        plant = self.plant
        while plant.t_us < until_us or (self.state in (STARTING, RUNNING) and not self.asked):
            if self._question is not None:
                due = self._due
                self._slice(due if due < until_us else until_us)
                if self._question is not None and plant.t_us >= due:
                    self._finish()
            elif self.state == BOOTING:
                self._slice(min(until_us, self._boot_at))
                if self.state == BOOTING and plant.t_us >= self._boot_at:
                    self._start_child()
            elif self.state == OFF:
                self._watch_power()
                if self.state == OFF and not plant.rest(until_us):
                    self._slice(min(until_us, plant.t_us + SLICE_US))
            elif self.child.ready(20 if self._may_speak() else 0):
                self.take()
            else:
                self.wires.said(self.child.read_console())
                if not self._may_speak():
                    self._slice(min(until_us, plant.t_us + SLICE_US))
                    if plant.t_us >= until_us:
                        return

    def _may_speak(self) -> bool:
        """Does time wait for the program? Not for one that hangs, nor for a prompt that has
        had nothing to do for a while."""
        patience = LULL_S if self.state == PROMPT else HUNG_S
        return time.monotonic() - self._silent_since < patience

    def _slice(self, until_us: int) -> None:
        """Time passes, at most to until_us; ends early when power comes or goes."""
        plant, state = self.plant, self.state
        while plant.t_us < until_us:
            end = plant.t_us + SLICE_US
            plant.pass_to(end if end < until_us else until_us)
            self._watch_power()
            if plant.bites_us <= plant.t_us:
                self.reset()
            if self.state != state:
                return

    def close(self) -> None:
        self._end_child()
        self.wires.close()
        self.flash.close()
