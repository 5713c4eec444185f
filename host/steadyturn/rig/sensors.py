"""What each sensor can read: largest shunt volts, steps and offsets; how well it reads.

Sources: data sheets of TI INA226 (SBOS547), INA219 (SBOS448, gain /8), INA3221 (SBOS576).
The ADC: 12 bits over 3.3 V, an amplifier that is fed with 3.3 V and ends at 3.1 V, and 0.5 mV
of offset at the shunt beside 10 mV at the ADC's pin: from memory of cheap current-sense
amplifiers and of common microcontrollers.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import hypot, sqrt

from steadyturn.rig.tolerances import tolerance_of
from steadyturn.rig.types import Sensor

_FULL_V = {"ina226": 0.08192, "ina219": 0.320, "ina3221": 0.1638}
_STEP_V = {"ina226": 2.5e-6, "ina219": 10e-6, "ina3221": 40e-6}
# largest at 25 degC; the INA219 of grade A, the commoner one
_OFFSET_V = {"ina226": 10e-6, "ina219": 200e-6, "ina3221": 80e-6}
ADC_FULL_V, ADC_STEPS, ADC_OFFSET_V = 3.3, 4096, 0.010
AMPLIFIER_END_V, AMPLIFIER_OFFSET_V = 3.1, 0.5e-3


def _gain(sensor: Sensor) -> float:
    return 1.0 if sensor.amplifier is None else sensor.amplifier


def full_scale_v(sensor: Sensor) -> float:
    """Largest volts over the shunt that are read.

    >>> full_scale_v(Sensor())
    0.08192
    >>> round(full_scale_v(Sensor(chip="adc", amplifier=20.0, amplifier_zero_v=0.1)), 3)
    0.15
    """
    if sensor.chip != "adc":
        return _FULL_V[sensor.chip]
    return max(AMPLIFIER_END_V - (sensor.amplifier_zero_v or 0.0), 0.001) / _gain(sensor)


def step_v(sensor: Sensor) -> float:
    """One step of the reading, in volts over the shunt."""
    if sensor.chip != "adc":
        return _STEP_V[sensor.chip]
    return ADC_FULL_V / ADC_STEPS / _gain(sensor)


def offset_v(sensor: Sensor) -> float:
    """The largest offset of a sensor that nobody has calibrated, in volts over the shunt."""
    if sensor.chip != "adc":
        return _OFFSET_V[sensor.chip]
    return AMPLIFIER_OFFSET_V + ADC_OFFSET_V / _gain(sensor)


def name(sensor: Sensor) -> str:
    """As printed on the chip, or what stands for it."""
    return "board's ADC" if sensor.chip == "adc" else sensor.chip.upper()


# ---- how well

WIDE = 1.96  # standard deviations that hold 95 % of a normal distribution
EVEN = sqrt(3)
WARM_K = 20.0  # how far a box in the sun or the cold is from 25 degC; common practice, no source
# (share, V): largest gain error and offset. Texas Instruments, over 25 +/- WARM_K where the
# sheet gives a drift: INA226 SBOS547B (seen: 0.1 % and 50 ppm/K; 10 uV and 0.1 uV/K; 7.5 mV and
# 40 uV/K), INA219 SBOS448F (seen: 1 % over temperature; grade A, gain /8: 200 uV and 0.1 uV/K),
# INA3221 SBOS576 (0.25 %, 80 uV, 16 mV; from memory); the board's ADC: as in firmware/sensors.md.
SHUNT = {"ina226": (0.001 + 50e-6 * WARM_K, 10e-6 + 0.1e-6 * WARM_K),
         "ina219": (0.01, 200e-6 + 0.1e-6 * WARM_K),
         "ina3221": (0.0025, 80e-6), "adc": (0.03, 1e-3)}
BUS = {"ina226": (0.001 + 50e-6 * WARM_K, 7.5e-3 + 40e-6 * WARM_K),
       "ina219": (0.01, 4e-3), "ina3221": (0.0025, 16e-3), "adc": (0.04, 0.0)}
BUS_STEP_V = {"ina226": 1.25e-3, "ina219": 4e-3, "ina3221": 8e-3}


@dataclass(frozen=True, slots=True)
class Sheet:
    """Largest errors by the data sheet (and the shunt's tolerance), in V or A: a share of the
    reading, an offset, and the step of a reading."""

    share: float
    offset: float
    step: float

    def most(self, value: float) -> float:
        """The most that a reading of `value` may be off: all at once, and all one way."""
        return self.share * abs(value) + self.offset + self.step / 2

    def half_width(self, value: float) -> float:
        """The 95 % half-width, limits read as those of even distributions.

        >>> round(volts_sheet("ina226").half_width(6.0), 4)
        0.0165
        """
        return WIDE / EVEN * hypot(self.share * value, self.offset, self.step / 2)


def volts_sheet(chip: str, divider: float = 1.0) -> Sheet:
    """Of the bus. divider: of the board's own ADC."""
    share, offset = BUS[chip]
    return Sheet(share, offset, BUS_STEP_V.get(chip, ADC_FULL_V / ADC_STEPS * divider))


def amps_sheet(chip: str, ohm: float, amplifier: float | None = None,
               shunt_share: float | None = None) -> Sheet:
    """Of the current through a shunt of `ohm`; shunt_share: its tolerance (None: its kind's)."""
    share, offset_v = SHUNT[chip]
    if shunt_share is None:
        shunt_share = tolerance_of("sensor.shunt_mohm").share
    sensor = Sensor(chip=chip, shunt_ohm=ohm, amplifier=amplifier if chip == "adc" else None)
    return Sheet(hypot(share, shunt_share), offset_v / ohm, step_v(sensor) / ohm)
