"""How well a board's sensor reads, by its data sheet, its shunt and the correction in force.

Limits of a data sheet are half-widths of an even distribution, whose standard deviation is
the half-width over the root of 3; all are combined as the root of their squares and 1.96 of
the sum's deviations hold 95 %. Source: JCGM 100:2008 (GUM) 4.3.7, 5.1.2 and G.6 (from memory).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from math import hypot, nan, sqrt
from typing import Any

from steadyturn.rig import sensors
from steadyturn.rig.tolerances import tolerance_of
from steadyturn.rig.types import Rig, Sensor

WIDE = 1.96  # standard deviations that hold 95 % of a normal distribution
EVEN = sqrt(3)
WARM_K = 20.0  # how far a box in the sun or the cold is from 25 degC; common practice, no source

# (share, V): largest gain error and offset. Texas Instruments, over 25 +/- WARM_K where the
# sheet gives a drift: INA226 SBOS547B (seen: 0.1 % and 50 ppm/K; 10 uV and 0.1 uV/K; 7.5 mV and
# 40 uV/K), INA219 SBOS448F (seen: 1 % over temperature; grade A, gain /8: 200 uV and 0.1 uV/K),
# INA3221 SBOS576 (0.25 %, 80 uV, 16 mV; from memory); the board's ADC: as in firmware/sensors.md.
_SHUNT = {"ina226": (0.001 + 50e-6 * WARM_K, 10e-6 + 0.1e-6 * WARM_K),
          "ina219": (0.01, 200e-6 + 0.1e-6 * WARM_K),
          "ina3221": (0.0025, 80e-6), "adc": (0.03, 1e-3)}
_BUS = {"ina226": (0.001 + 50e-6 * WARM_K, 7.5e-3 + 40e-6 * WARM_K),
        "ina219": (0.01, 4e-3), "ina3221": (0.0025, 16e-3), "adc": (0.04, 0.0)}
_BUS_STEP_V = {"ina226": 1.25e-3, "ina219": 4e-3, "ina3221": 8e-3}
SOURCES = {"ina226": "TI SBOS547B", "ina219": "TI SBOS448F, grade A", "ina3221": "TI SBOS576",
           "adc": "common parts, from memory"}
# a corrected sensor is as good as the hand meter it was compared with: share, V; share, A
METER_V, METER_A = (0.005, 0.010), (0.015, 0.005)  # 3 1/2 digits; common practice, no source
CLOCK = 100e-6  # twice the 50 ppm of an ordinary crystal; common practice, no source


@dataclass(frozen=True, slots=True)
class Accuracy:
    """95 % half-widths of what the sensor reads: of a reading (gain) in percent, and besides
    (offset and step) in mV and mA.

    corrected: a correction is in force; bus_gain_ppm ... amps_offset_ma: that correction.
    source: where the figures come from; "" where nothing is known.
    """

    chip: str
    volts_percent: float
    volts_mv: float
    amps_percent: float
    amps_ma: float
    corrected: bool
    bus_gain_ppm: int
    bus_offset_mv: int
    amps_gain_ppm: int
    amps_offset_ma: int
    source: str

    @property
    def known(self) -> bool:
        return bool(self.source)

    def energy_j(self, energy_j: float, charge_c: float, volt_seconds: float) -> float:
        """95 % half-width [J] of an energy measured by it: of all its readings at once, because
        an error of gain or offset is the same in each. volt_seconds: volts over the time [V s]."""
        return hypot(energy_j * self.volts_percent / 100, energy_j * self.amps_percent / 100,
                     energy_j * WIDE * CLOCK / EVEN, charge_c * self.volts_mv / 1000,
                     volt_seconds * self.amps_ma / 1000)

    def charge_c(self, charge_c: float, seconds: float) -> float:
        """95 % half-width [C] of a charge measured over so many seconds."""
        return hypot(charge_c * self.amps_percent / 100, charge_c * WIDE * CLOCK / EVEN,
                     seconds * self.amps_ma / 1000)

    def volts_v(self, volts: float) -> float:
        """95 % half-width [V] of a mean of many readings."""
        return hypot(volts * self.volts_percent / 100, self.volts_mv / 1000)


UNKNOWN = Accuracy("", nan, nan, nan, nan, False, 1_000_000, 0, 1_000_000, 0, "")


def accuracy(
    settings: Mapping[str, Any], rig: Rig | None = None, *, out: bool = False
) -> Accuracy:
    """Of the sensor in these settings (as the board's settings file names them); `UNKNOWN`
    without them. rig: tells the shunt's tolerance. out: the INA3221's second channel."""
    begin = "out_" if out else ""
    names = [f"{begin}{name}" for name in
             ("bus_gain_ppm", "bus_offset_mv", "amps_gain_ppm", "amps_offset_ma", "shunt_uohm")]
    chip = settings.get("chip")
    found = [int(settings.get(name) or 0) for name in names]
    bus_gain, bus_offset, amps_gain, amps_offset, shunt_uohm = found
    if chip not in _SHUNT or not (shunt_uohm and bus_gain and amps_gain):
        return UNKNOWN
    ohm = shunt_uohm * 1e-6
    corrected_v = (bus_gain, bus_offset) != (1_000_000, 0)
    corrected_a = (amps_gain, amps_offset) != (1_000_000, 0)
    volts = METER_V if corrected_v else _BUS[chip]
    share, offset_v = _SHUNT[chip]
    amps = METER_A if corrected_a else (hypot(share, _shunt_share(rig, out)), offset_v / ohm)
    step_a, step_v = _steps(settings, chip, ohm)
    source = SOURCES[chip]
    if not corrected_a:
        source += "; shunt"
    if corrected_v or corrected_a:
        source += "; the meter it was corrected with"
    wide = WIDE / EVEN
    return Accuracy(
        chip, 100 * wide * volts[0], 1000 * wide * hypot(volts[1], step_v / 2),
        100 * wide * amps[0], 1000 * wide * hypot(amps[1], step_a / 2),
        corrected_v or corrected_a, bus_gain, bus_offset, amps_gain, amps_offset, source)


def _shunt_share(rig: Rig | None, out: bool) -> float:
    """The shunt's tolerance: of the rig's own value where that says one, else of its kind."""
    key = "sensor.out_shunt_mohm" if out else "sensor.shunt_mohm"
    origin = rig.origins.get(key) if rig is not None else None
    if origin is not None and origin.tolerance is not None:
        return origin.tolerance
    if origin is not None and origin.kind == "measured":
        return (origin.high - origin.low) / 2 / origin.value
    return tolerance_of(key).share


def _steps(settings: Mapping[str, Any], chip: str, ohm: float) -> tuple[float, float]:
    """One step of the readings, A and V."""
    amplifier = settings.get("amplifier_permille", 1000) / 1000
    sensor = Sensor(chip=chip, shunt_ohm=ohm, amplifier=amplifier if chip == "adc" else None)
    step_v = _BUS_STEP_V.get(chip)
    if step_v is None:
        step_v = sensors.ADC_FULL_V / sensors.ADC_STEPS * settings.get("divider_permille",
                                                                       1000) / 1000
    return sensors.step_v(sensor) / ohm, step_v
