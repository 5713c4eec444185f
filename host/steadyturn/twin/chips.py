"""The sensor chips, register by register: INA226 and INA219.

Sources: Texas Instruments SBOS547 (INA226) and SBOS448 (INA219); sizes of errors and
noise from memory of the same sheets. Volts and amps go in as true means over one
conversion cycle; registers come out. A cycle is all averages of all that the mode
converts, one after the other, and starts anew when the set-up register is written.
"""

from __future__ import annotations

import random
from abc import ABC, abstractmethod
from math import floor, sqrt

_WORD = 0xFFFF
_MODE = 0x0007


def _signed(word: int) -> int:
    return word - 0x10000 if word & 0x8000 else word


def _clip(value: float, low: int, high: int) -> int:
    return low if value < low else high if value > high else floor(value + 0.5)


class Chip(ABC):
    """shunt_ohm is what the resistor really has; ideal: neither errors nor noise."""

    name = ""
    reset_config = 0
    # typical errors: shunt offset V, shunt gain, bus offset V, bus gain
    errors = (0.0, 0.0, 0.0, 0.0)

    def __init__(self, shunt_ohm: float, seed: int = 0, ideal: bool = False) -> None:
        chance = random.Random(f"{self.name} {seed}")
        self.ideal = ideal
        self.shunt_ohm = shunt_ohm if ideal else shunt_ohm * (1 + chance.uniform(-0.01, 0.01))
        size = [0.0] * 4 if ideal else [e * max(-2.5, min(2.5, chance.gauss(0, 1)))
                                        for e in self.errors]
        self._shunt_offset, self._shunt_gain, self._bus_offset, self._bus_gain = size
        self._gauss = chance.gauss
        self.registers = [0] * 8
        self.cycle_us = 0  # 0: converts nothing
        self.started_us = 0
        self.latched_us = 0
        self.reset(0)

    def reset(self, t_us: int) -> None:
        """As after power-up."""
        self.registers[:] = [self.reset_config] + [0] * 7
        self._configured(t_us)

    def write(self, register: int, value: int, t_us: int) -> None:
        """A word from the bus at t_us; read-only registers ignore it."""
        if register == 0:
            if value & 0x8000:
                self.reset(t_us)
                return
            self.registers[0] = value & _WORD
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

    def latch(self, end_us: int, volts: float, amps: float) -> None:
        """The cycle that ended at end_us had these means: fill the registers."""
        self.latched_us = end_us
        if self._single:
            self.cycle_us = 0
        shunt_v = amps * self.shunt_ohm
        if not self.ideal:
            gauss = self._gauss
            shunt_v += self._shunt_offset + shunt_v * self._shunt_gain + gauss(
                0.0, self._shunt_noise)
            volts += self._bus_offset + volts * self._bus_gain + gauss(0.0, self._bus_noise)
        self._convert(shunt_v, volts)

    # what differs between the chips

    _single = False
    _shunt_noise = _bus_noise = 0.0

    def alert(self) -> bool:
        """Does the chip pull its alert pin?"""
        return False

    def _configured(self, t_us: int) -> None:
        mode = self.registers[0] & _MODE
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


class Ina226(Chip):
    """Bits: 2.5 uV over the shunt, 1.25 mV on the bus."""

    name = "ina226"
    reset_config = 0x4127
    errors = (2.5e-6, 0.0002, 1.25e-3, 0.0002)
    times_us = (140, 204, 332, 588, 1100, 2116, 4156, 8244)
    averages = (1, 4, 16, 64, 128, 256, 512, 1024)
    READY, LATCHED, OVERFLOW, ACTIVE_HIGH, LATCH = 0x08, 0x10, 0x04, 0x02, 0x01

    def write(self, register: int, value: int, t_us: int) -> None:
        if register == 6:
            self.registers[6] = value & 0xFC03 | self.registers[6] & 0x1C
            self._compare()
        elif register == 7:
            self.registers[7] = value & _WORD
            self._compare()
        else:
            super().write(register, value, t_us)

    def was_read(self, register: int) -> None:
        if register == 6:
            self.registers[6] &= ~self.READY
            if self.registers[6] & self.LATCH:
                self.registers[6] &= ~self.LATCHED

    def alert(self) -> bool:
        mask = self.registers[6]
        ready = bool(mask & 0x0400 and mask & self.READY)
        return ready or bool(mask & self.LATCHED)

    def _cycle(self, mode: int) -> int:
        config = self.registers[0]
        bus_us = self.times_us[config >> 6 & 7]
        shunt_us = self.times_us[config >> 3 & 7]
        count = self.averages[config >> 9 & 7]
        # noise falls with the time that goes into a reading
        self._shunt_noise = 1.0e-6 * sqrt(8244 / (shunt_us * count))
        self._bus_noise = 0.5e-3 * sqrt(8244 / (bus_us * count))
        return count * ((bus_us if mode & 2 else 0) + (shunt_us if mode & 1 else 0))

    def _calibration(self, value: int) -> int:
        return value & 0x7FFF

    def _convert(self, shunt_v: float, volts: float) -> None:
        mode = self.registers[0] & _MODE
        if mode & 1:
            self.registers[1] = _clip(shunt_v / 2.5e-6, -32768, 32767) & _WORD
        if mode & 2:
            self.registers[2] = _clip(volts / 1.25e-3, 0, 32767)
        self.registers[6] |= self.READY
        self._derive()
        self._compare()

    def _derive(self) -> None:
        r = self.registers
        current = _signed(r[1]) * r[5] / 2048
        power = abs(floor(current)) * r[2] // 20000
        over = not -32768 <= current <= 32767 or power > _WORD
        r[4] = _clip(floor(current), -32768, 32767) & _WORD
        r[3] = min(power, _WORD)
        r[6] = r[6] | self.OVERFLOW if over else r[6] & ~self.OVERFLOW

    def _compare(self) -> None:
        """The alert: of several functions the highest bit set counts."""
        r = self.registers
        mask, limit = r[6], r[7]
        if mask & 0x8000:
            hit = _signed(r[1]) > _signed(limit)
        elif mask & 0x4000:
            hit = _signed(r[1]) < _signed(limit)
        elif mask & 0x2000:
            hit = r[2] > limit
        elif mask & 0x1000:
            hit = r[2] < limit
        elif mask & 0x0800:
            hit = r[3] > limit
        else:
            hit = False
        if hit:
            r[6] |= self.LATCHED
        elif not mask & self.LATCH or not mask & 0xF800:
            r[6] &= ~self.LATCHED


class Ina219(Chip):
    """Bits: 10 uV over the shunt, 4 mV on the bus (register: shifted left by three)."""

    name = "ina219"
    reset_config = 0x399F
    errors = (10e-6, 0.001, 4e-3, 0.001)
    single_us = (84, 148, 276, 532)  # 9 to 12 bits
    READY, OVERFLOW = 0x02, 0x01

    def was_read(self, register: int) -> None:
        if register == 3:
            self.registers[2] &= ~self.READY

    def _time(self, code: int) -> tuple[int, int, int]:
        """us of a conversion, its samples, and the coarseness of its bits."""
        if code & 8:
            count = 1 << (code & 7)
            return (532, 1, 1) if count == 1 else (68_100 * count // 128, count, 1)
        return self.single_us[code & 3], 1, 8 >> (code & 3)

    def _cycle(self, mode: int) -> int:
        config = self.registers[0]
        bus_us, bus_count, self._bus_step = self._time(config >> 7 & 15)
        shunt_us, shunt_count, self._shunt_step = self._time(config >> 3 & 15)
        self._shunt_end = 4000 << (config >> 11 & 3)
        self._bus_end = 8000 if config & 0x2000 else 4000
        self._shunt_noise = 5e-6 / sqrt(shunt_count)
        self._bus_noise = 2e-3 / sqrt(bus_count)
        return (bus_us if mode & 2 else 0) + (shunt_us if mode & 1 else 0)

    def _calibration(self, value: int) -> int:
        return value & 0xFFFE

    def _convert(self, shunt_v: float, volts: float) -> None:
        mode = self.registers[0] & _MODE
        if mode & 1:
            step, end = self._shunt_step, self._shunt_end
            bits = _clip(shunt_v / 10e-6 / step, -end // step, end // step) * step
            self.registers[1] = bits & _WORD
        if mode & 2:
            step, end = self._bus_step, self._bus_end
            self.registers[2] = _clip(volts / 4e-3 / step, 0, end // step) * step << 3
        self._derive()
        self.registers[2] |= self.READY

    def _derive(self) -> None:
        r = self.registers
        current = _signed(r[1]) * r[5] / 4096
        power = abs(floor(current)) * (r[2] >> 3) // 5000
        over = not -32768 <= current <= 32767 or power > _WORD
        r[4] = _clip(floor(current), -32768, 32767) & _WORD
        r[3] = min(power, _WORD)
        r[2] = r[2] | self.OVERFLOW if over else r[2] & ~self.OVERFLOW


CHIPS: dict[str, type[Chip]] = {"ina226": Ina226, "ina219": Ina219}
