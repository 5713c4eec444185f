"""The INA3221, register by register: three channels, of which the third measures nothing here.

Source: Texas Instruments SBOS576 (register maps; errors: revision A, page 3; noise: none is
stated there, half a step is assumed). The alert limits can be written and read, but
neither the flags nor the outputs that follow from them are modelled: nothing here uses them.
"""

from __future__ import annotations

import random
from math import sqrt

from steadyturn.twin.chip import WORD, Chip, clip

LIMITS = range(0x07, 0x0D)
SUM_LIMIT, MASK, VALID_UPPER, VALID_LOWER = 0x0E, 0x0F, 0x10, 0x11
READY = 0x0001
STEP_SHUNT_V, STEP_BUS_V = 40e-6, 8e-3
END = 4095  # 12 bits and a sign, in bits 14 to 3


class Ina3221(Chip):
    """Channel 1: the converter's input; channel 2: its output, where out_shunt_ohm is set."""

    name = "ina3221"
    reset_config = 0x7127
    errors = (40e-6, 0.001, 8e-3, 0.001)
    size = 0x12
    two = True
    times_us = (140, 204, 332, 588, 1100, 2116, 4156, 8244)
    averages = (1, 4, 16, 64, 128, 256, 512, 1024)

    def __init__(self, shunt_ohm: float, seed: int = 0, ideal: bool = False) -> None:
        super().__init__(shunt_ohm, seed, ideal)
        chance = random.Random(f"{self.name} channel 2 {seed}")
        share, offset = chance.uniform(-0.01, 0.01), chance.gauss(0, 1)
        self.out_shunt_ohm = 0.0  # 0: not fitted
        self._out_share = 0.0 if ideal else share
        self._out_offset = 0.0 if ideal else self.errors[0] * max(-2.0, min(2.0, offset))

    def reset(self, t_us: int) -> None:
        super().reset(t_us)
        for register in LIMITS:
            self.registers[register] = 0x7FF8
        self.registers[SUM_LIMIT] = 0x7FFE
        self.registers[MASK] = 0x0002
        self.registers[VALID_UPPER] = 0x2710  # 10 V
        self.registers[VALID_LOWER] = 0x2328  # 9 V

    def write(self, register: int, value: int, t_us: int) -> None:
        if register == 0:
            if not value & 0x8000:
                self.registers[MASK] &= ~READY
            super().write(0, value, t_us)
        elif register in LIMITS or register in (VALID_UPPER, VALID_LOWER):
            self.registers[register] = value & 0xFFF8
        elif register == SUM_LIMIT:
            self.registers[register] = value & 0xFFFE
        elif register == MASK:
            self.registers[MASK] = value & 0x7C00 | self.registers[MASK] & 0x03FF

    def was_read(self, register: int) -> None:
        if register == MASK:
            self.registers[MASK] &= ~READY

    def latch(self, end_us: int, volts: float, amps: float, out_v: float = 0.0,
              out_a: float = 0.0) -> None:
        self._out = out_v, out_a
        super().latch(end_us, volts, amps, out_v, out_a)

    def _channels(self) -> tuple[int, ...]:
        """The channels that are on, 0 to 2."""
        config = self.registers[0]
        return tuple(n for n in range(3) if config & 0x4000 >> n)

    def _cycle(self, mode: int) -> int:
        config = self.registers[0]
        bus_us = self.times_us[config >> 6 & 7]
        shunt_us = self.times_us[config >> 3 & 7]
        count = self.averages[config >> 9 & 7]
        self._shunt_noise = STEP_SHUNT_V / 2 / sqrt(count)
        self._bus_noise = STEP_BUS_V / 2 / sqrt(count)
        one = (bus_us if mode & 2 else 0) + (shunt_us if mode & 1 else 0)
        return count * one * len(self._channels())

    def _calibration(self, value: int) -> int:
        raise AssertionError("the chip has no calibration register")

    def _derive(self) -> None:
        """Nothing is computed from other registers."""

    def _convert(self, shunt_v: float, volts: float) -> None:
        on = self._channels()
        if 0 in on:
            self._store(0, shunt_v, volts)
        if 1 in on:
            out_v, out_a = self._out
            out_ohm = self.out_shunt_ohm * (1 + self._out_share)
            over_v = out_a * out_ohm
            if out_ohm and not self.ideal:
                over_v += self._out_offset + self._shunt_noise * self._deviate()
                out_v += self._bus_offset + self._bus_noise * self._deviate()
            self._store(1, over_v, out_v)
        if 2 in on:
            self._store(2, 0.0, 0.0)
        self.registers[MASK] |= READY

    def _store(self, channel: int, shunt_v: float, volts: float) -> None:
        mode = self.registers[0] & 7
        if mode & 1:
            bits = clip(shunt_v / STEP_SHUNT_V, -END, END)
            self.registers[1 + 2 * channel] = bits << 3 & WORD
        if mode & 2:
            bits = clip(volts / STEP_BUS_V, -END, END)
            self.registers[2 + 2 * channel] = bits << 3 & WORD
