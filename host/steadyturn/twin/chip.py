"""What the sensor chips have in common: a cycle of conversions, errors, registers.

Volts and amps go in as true means over one conversion cycle; registers come out. A cycle
is all averages of all that the mode converts, one after the other, and starts anew when
the set-up register is written.
"""

from __future__ import annotations

import random
from abc import ABC, abstractmethod
from math import floor

from steadyturn.twin.noise import noise

WORD = 0xFFFF
MODE = 0x0007


def signed(word: int) -> int:
    return word - 0x10000 if word & 0x8000 else word


def clip(value: float, low: int, high: int) -> int:
    return low if value < low else high if value > high else floor(value + 0.5)


class Chip(ABC):
    """shunt_ohm is what the resistor really has; ideal: neither errors nor noise."""

    name = ""
    reset_config = 0
    # typical errors: shunt offset V, shunt gain, bus offset V, bus gain
    errors = (0.0, 0.0, 0.0, 0.0)
    size = 8  # registers
    two = False  # has a second channel, at the converter's output

    def __init__(self, shunt_ohm: float, seed: int = 0, ideal: bool = False) -> None:
        chance = random.Random(f"{self.name} {seed}")
        self.ideal = ideal
        self.shunt_ohm = shunt_ohm if ideal else shunt_ohm * (1 + chance.uniform(-0.01, 0.01))
        off = [0.0] * 4 if ideal else [e * max(-2.5, min(2.5, chance.gauss(0, 1)))
                                       for e in self.errors]
        self._shunt_offset, self._shunt_gain, self._bus_offset, self._bus_gain = off
        self._deviate = noise(f"{self.name} noise {seed}")
        self.registers = [0] * self.size
        self.cycle_us = 0  # 0: converts nothing
        self.started_us = 0
        self.latched_us = 0
        self.reset(0)

    def reset(self, t_us: int) -> None:
        """As after power-up."""
        self.registers[:] = [self.reset_config] + [0] * (self.size - 1)
        self._configured(t_us)

    def write(self, register: int, value: int, t_us: int) -> None:
        """A word from the bus at t_us; read-only registers ignore it."""
        if register == 0:
            if value & 0x8000:
                self.reset(t_us)
                return
            self.registers[0] = value & WORD
            self._configured(t_us)
        elif register == 5:
            self.registers[5] = self._calibration(value)
            self._derive()

    def was_read(self, register: int) -> None:  # noqa: B027 - most registers do nothing
        """A register whose reading has an effect was read."""

    def window(self, t_us: int) -> tuple[int, int] | None:
        """Start and end [us] of the newest cycle complete at t_us that is not yet in the
        registers; None: there is none."""
        cycle = self.cycle_us
        if not cycle:
            return None
        count = (t_us - self.started_us) // cycle
        if self._single and count > 1:
            count = 1
        end = self.started_us + count * cycle
        if count <= 0 or end <= self.latched_us:
            return None
        return end - cycle, end

    def latch(self, end_us: int, volts: float, amps: float, out_v: float = 0.0,
              out_a: float = 0.0) -> None:
        """The cycle that ended at end_us had these means (out_v, out_a: at a second channel):
        fill the registers."""
        self.latched_us = end_us
        if self._single:
            self.cycle_us = 0
        shunt_v = amps * self.shunt_ohm
        off_shunt = self._shunt_offset + shunt_v * self._shunt_gain
        off_bus = self._bus_offset + volts * self._bus_gain
        if not self.ideal:
            off_shunt += self._shunt_noise * self._deviate()
            off_bus += self._bus_noise * self._deviate()
        self._convert(shunt_v + off_shunt, volts + off_bus)

    def misread(self, volts: tuple[float, float] = (0.0, 0.0),
                amps: tuple[float, float] = (0.0, 0.0)) -> None:
        """From now on it reads so much too high: a share, and V or A besides."""
        self._bus_gain += volts[0]
        self._bus_offset += volts[1]
        self._shunt_gain += amps[0]
        self._shunt_offset += amps[1] * self.shunt_ohm

    # what differs between the chips

    _single = False
    _shunt_noise = _bus_noise = 0.0

    def alert(self) -> bool:
        """Does the chip pull its alert pin?"""
        return False

    def _configured(self, t_us: int) -> None:
        mode = self.registers[0] & MODE
        self._single = 0 < mode < 4
        self.started_us = self.latched_us = t_us
        self.cycle_us = self._cycle(mode) if mode & 3 else 0

    @abstractmethod
    def _cycle(self, mode: int) -> int: ...

    @abstractmethod
    def _calibration(self, value: int) -> int: ...

    @abstractmethod
    def _convert(self, shunt_v: float, volts: float) -> None: ...

    @abstractmethod
    def _derive(self) -> None: ...
