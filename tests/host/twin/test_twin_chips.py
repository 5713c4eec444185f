"""The sensor chips against their data sheets, and what makes them imperfect."""

from __future__ import annotations

import statistics

import pytest
from hypothesis import given
from hypothesis import strategies as st
from steadyturn.twin.chips import CHIPS, Ina219, Ina226, Ina3221


def signed(word: int) -> int:
    return word - 0x10000 if word & 0x8000 else word


def test_ina226_table_1() -> None:
    """SBOS547, table 1: 10 A and 11.98 V on 2 mohm, current unit 1 mA."""
    chip = Ina226(0.002, ideal=True)
    chip.write(5, 0x0A00, 0)
    chip.latch(2200, 11.98, 10.0)
    config, shunt, bus, power, current, calibration = chip.registers[:6]
    assert (config, calibration) == (0x4127, 0x0A00)
    assert (shunt, bus, current, power) == (0x1F40, 0x2570, 0x2710, 0x12B8)


def test_ina219_table_3() -> None:
    """SBOS448, table 3: the same load, 12 bits, 32 V, 40 mV range as its set-up 019Fh says."""
    chip = Ina219(0.002, ideal=True)
    chip.write(0, 0x019F, 0)
    chip.write(5, 0x5000, 0)
    chip.latch(1064, 11.98, 10.0)
    shunt, bus, power, current, calibration = chip.registers[1:6]
    assert (shunt, bus & ~7, current, power) == (0x07D0, 0x5D98, 0x2710, 0x1766)
    assert calibration == 0x5000
    assert bus & 7 == Ina219.READY


def test_ina3221_examples() -> None:
    """SBOS576B: power-up values of its register maps; -80 mV over a shunt is C180h (p. 27);
    2710h is 10.000 V and 2328h 9.000 V (power-valid limits, the bus registers' unit)."""
    chip = Ina3221(0.05, ideal=True)
    assert chip.registers == [
        0x7127, 0, 0, 0, 0, 0, 0, *[0x7FF8] * 6, 0, 0x7FFE, 0x0002, 0x2710, 0x2328]
    chip.out_shunt_ohm = 0.1
    chip.latch(1, 10.0, -1.6, 9.0, 0.8)
    assert chip.registers[1:7] == [0xC180, 0x2710, 0x3E80, 0x2328, 0, 0]
    assert chip.registers[0x0F] == 0x0003
    chip.was_read(0x0F)
    assert chip.registers[0x0F] == 0x0002
    chip.latch(2, 99.0, -99.0, 99.0, 99.0)  # 163.8 mV and 32.76 V: 7FF8h
    assert [signed(word) for word in chip.registers[1:5]] == [-0x7FF8, 0x7FF8, 0x7FF8, 0x7FF8]
    chip.latch(3, -0.04, 0.0, 0.0, 0.0)
    assert signed(chip.registers[2]) == -40


def test_ina3221_set_up_and_limits() -> None:
    chip = Ina3221(0.05, ideal=True)
    chip.latch(1, 5.0, 0.1)
    chip.write(0, 0x6407, 0)
    assert chip.registers[0x0F] == 0x0002  # not ready any more
    chip.write(0x07, 0x1235, 0)
    chip.write(0x0F, 0xFFFF, 0)
    chip.write(1, 77, 0)  # read-only
    assert chip.registers[7] == 0x1230
    assert chip.registers[0x0F] == 0x7C02
    assert chip.registers[1] == round(0.1 * 0.05 / 40e-6) << 3
    chip.write(0, 0xE407, 0)
    assert chip.registers[0] == 0x7127
    assert chip.registers[7] == 0x7FF8


def test_ina3221_second_channel_has_its_own_shunt_and_errors() -> None:
    gains = []
    for seed in range(40):
        made = Ina3221(0.1, seed)
        made.out_shunt_ohm = 0.1
        made.latch(10**6, 8.0, 0.4, 5.0, 0.4)
        gains.append((made.registers[1] * 5e-6 / 0.04 - 1, made.registers[3] * 5e-6 / 0.04 - 1))
    assert statistics.pstdev(own for own, _ in gains) > 0.003
    assert statistics.pstdev(other for _, other in gains) > 0.003
    assert max(abs(other) for _, other in gains) < 0.02
    assert any(abs(own - other) > 0.005 for own, other in gains)


@pytest.mark.parametrize(("chip", "config"), [("ina226", 0x4127), ("ina219", 0x399F)])
def test_power_up_and_reset_bit(chip: str, config: int) -> None:
    made = CHIPS[chip](0.05, ideal=True)
    assert made.registers == [config, 0, 0, 0, 0, 0, 0, 0]
    made.write(5, 0x1234, 0)
    made.write(0, 0x8000 | config, 5)
    assert made.registers == [config, 0, 0, 0, 0, 0, 0, 0]
    made.write(1, 77, 6)  # read-only
    assert made.registers[1] == 0


@pytest.mark.parametrize(
    ("chip", "config", "cycle_us"),
    [
        # SBOS547 tables 7 to 9; reset state 1.1 ms + 1.1 ms
        ("ina226", 0x4127, 2_200),
        ("ina226", 0x4497, 16 * 2 * 332),
        ("ina226", 0x4FFF, 1024 * 2 * 8_244),
        ("ina226", 0x4125, 1_100),  # shunt only
        ("ina226", 0x4120, 0),  # power-down
        # SBOS448 table 5
        ("ina219", 0x399F, 2 * 532),
        ("ina219", 0x3807, 2 * 84),
        ("ina219", 0x3FFF, 2 * 68_100),
        ("ina219", 0x3FF8, 0),
        # SBOS576 tables 4 to 6: what each channel that is on takes
        ("ina3221", 0x7127, 3 * 2 * 1_100),
        ("ina3221", 0x6407, 2 * 16 * 2 * 140),
        ("ina3221", 0x4127, 2_200),
        ("ina3221", 0x0127, 0),
    ],
)
def test_conversion_times(chip: str, config: int, cycle_us: int) -> None:
    made = CHIPS[chip](0.05, ideal=True)
    made.write(0, config, 1000)
    assert made.cycle_us == cycle_us
    if cycle_us:
        assert made.window(1000 + cycle_us - 1) is None
        assert made.window(1000 + 3 * cycle_us + 5) == (1000 + 2 * cycle_us, 1000 + 3 * cycle_us)
    else:
        assert made.window(10**9) is None


def test_triggered_mode_converts_once() -> None:
    chip = Ina226(0.05, ideal=True)
    chip.write(0, 0x4123, 0)
    assert chip.window(50_000) == (0, 2200)
    chip.latch(2200, 5.0, 0.1)
    assert chip.window(90_000) is None
    assert chip.registers[6] & Ina226.READY
    chip.was_read(6)
    assert not chip.registers[6] & Ina226.READY


@given(volts=st.floats(0, 40.9), amps=st.floats(-1.6, 1.6))
def test_ina226_is_within_half_a_bit(volts: float, amps: float) -> None:
    chip = Ina226(0.05, ideal=True)
    chip.latch(2200, volts, amps)
    assert abs(chip.registers[2] * 1.25e-3 - volts) <= 0.626e-3
    assert abs(signed(chip.registers[1]) * 2.5e-6 - amps * 0.05) <= 1.26e-6


@pytest.mark.parametrize(
    ("chip", "config", "shunt_end", "bus_end"),
    [
        ("ina226", 0x4127, 32_767, 32_767),
        ("ina219", 0x399F, 32_000, 8_000 << 3),  # 320 mV, 32 V
        ("ina219", 0x019F, 4_000, 4_000 << 3),  # 40 mV, 16 V
    ],
)
def test_saturation(chip: str, config: int, shunt_end: int, bus_end: int) -> None:
    made = CHIPS[chip](0.1, ideal=True)
    made.write(0, config, 0)
    made.latch(10**6, 99.0, 99.0)
    assert made.registers[1] == shunt_end
    assert made.registers[2] & 0xFFF8 == bus_end & 0xFFF8
    made.latch(2 * 10**6, -1.0, -99.0)
    assert signed(made.registers[1]) in (-shunt_end, -shunt_end - 1)
    assert made.registers[2] & 0xFFF8 == 0


def test_ina219_with_fewer_bits_is_coarser() -> None:
    chip = Ina219(0.1, ideal=True)
    chip.write(0, 0x3807, 0)  # nine bits: steps of 8
    chip.latch(168, 5.0, 0.1003)
    assert chip.registers[1] % 8 == 0
    assert (chip.registers[2] >> 3) % 8 == 0
    assert abs((chip.registers[2] >> 3) * 4e-3 - 5.0) <= 16e-3


def test_overflow_is_said() -> None:
    chip = Ina226(0.05, ideal=True)
    chip.write(5, 0x7FFF, 0)
    chip.latch(2200, 36.0, 1.5)
    assert chip.registers[6] & Ina226.OVERFLOW
    chip.latch(4400, 1.0, 0.01)
    assert not chip.registers[6] & Ina226.OVERFLOW


def test_alert_over_the_bus_limit() -> None:
    """Bus over-voltage, SBOS547: transparent by default, latched until read when asked."""
    chip = Ina226(0.05, ideal=True)
    chip.write(7, 6400, 0)  # 8 V
    chip.write(6, 0x2000, 0)
    chip.latch(2200, 7.9, 0.1)
    assert not chip.alert()
    chip.latch(4400, 8.1, 0.1)
    assert chip.alert()
    chip.latch(6600, 7.9, 0.1)
    assert not chip.alert()
    chip.write(6, 0x2001, 6600)
    chip.latch(8800, 8.1, 0.1)
    chip.latch(11_000, 7.9, 0.1)
    assert chip.alert()
    chip.was_read(6)
    assert not chip.alert()


@pytest.mark.parametrize("chip", ["ina226", "ina219"])
def test_errors_come_from_the_seed_and_have_the_sheets_size(chip: str) -> None:
    """Gain of 40 boards: the shunt's 1 % and little more; noise well below a per mille."""
    volts_unit, amps_unit = (1.25e-3, 2.5e-6) if chip == "ina226" else (0.5e-3, 10e-6)

    def reading(seed: int) -> tuple[float, float]:
        made = CHIPS[chip](0.1, seed)
        made.latch(10**6, 8.0, 0.4)
        return made.registers[2] * volts_unit / 8.0 - 1, made.registers[1] * amps_unit / 0.04 - 1

    assert reading(3) == reading(3)
    amps = [reading(seed)[1] for seed in range(40)]
    volts = [reading(seed)[0] for seed in range(40)]
    assert max(map(abs, amps)) < 0.02
    assert statistics.pstdev(amps) > 0.003
    assert max(map(abs, volts)) < 0.006
    made = CHIPS[chip](0.1, 1)
    seen = []
    for _ in range(200):
        made.latch(10**6, 8.0, 0.4)
        seen.append(made.registers[1] * amps_unit / 0.04)
    assert 0 < statistics.pstdev(seen) < 0.001
