"""The sensor chips, register by register: INA226, INA219 and INA3221.

Sources: Texas Instruments SBOS547 (INA226), SBOS448 (INA219) and SBOS576 (INA3221); sizes of
errors and noise from memory of the same sheets, the INA3221's from its revision A, page 3.
"""

from __future__ import annotations

from math import floor, sqrt

from steadyturn.twin.chip import MODE, WORD, Chip, clip, signed
from steadyturn.twin.chip_ina3221 import Ina3221


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
            self.registers[7] = value & WORD
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
        mode = self.registers[0] & MODE
        if mode & 1:
            self.registers[1] = clip(shunt_v / 2.5e-6, -32768, 32767) & WORD
        if mode & 2:
            self.registers[2] = clip(volts / 1.25e-3, 0, 32767)
        self.registers[6] |= self.READY
        self._derive()
        self._compare()

    def _derive(self) -> None:
        r = self.registers
        current = signed(r[1]) * r[5] / 2048
        power = abs(floor(current)) * r[2] // 20000
        over = not -32768 <= current <= 32767 or power > WORD
        r[4] = clip(floor(current), -32768, 32767) & WORD
        r[3] = min(power, WORD)
        r[6] = r[6] | self.OVERFLOW if over else r[6] & ~self.OVERFLOW

    def _compare(self) -> None:
        """The alert: of several functions the highest bit set counts."""
        r = self.registers
        mask, limit = r[6], r[7]
        if mask & 0x8000:
            hit = signed(r[1]) > signed(limit)
        elif mask & 0x4000:
            hit = signed(r[1]) < signed(limit)
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
        mode = self.registers[0] & MODE
        if mode & 1:
            step, end = self._shunt_step, self._shunt_end
            bits = clip(shunt_v / 10e-6 / step, -end // step, end // step) * step
            self.registers[1] = bits & WORD
        if mode & 2:
            step, end = self._bus_step, self._bus_end
            self.registers[2] = clip(volts / 4e-3 / step, 0, end // step) * step << 3
        self._derive()
        self.registers[2] |= self.READY

    def _derive(self) -> None:
        r = self.registers
        current = signed(r[1]) * r[5] / 4096
        power = abs(floor(current)) * (r[2] >> 3) // 5000
        over = not -32768 <= current <= 32767 or power > WORD
        r[4] = clip(floor(current), -32768, 32767) & WORD
        r[3] = min(power, WORD)
        r[2] = r[2] | self.OVERFLOW if over else r[2] & ~self.OVERFLOW


class NoChip(Chip):
    """Nothing on the I2C bus: the board's own ADC measures. It never converts."""

    name = "adc"

    def write(self, register: int, value: int, t_us: int) -> None:
        """Nobody is there to take it."""

    def _cycle(self, mode: int) -> int:
        return 0

    def _calibration(self, value: int) -> int:
        return 0

    def _convert(self, shunt_v: float, volts: float) -> None:
        """No register to fill."""

    def _derive(self) -> None:
        """No register to fill."""


CHIPS: dict[str, type[Chip]] = {
    "ina226": Ina226, "ina219": Ina219, "ina3221": Ina3221, "adc": NoChip,
}
