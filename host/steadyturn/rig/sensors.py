"""What each sensor can read: largest shunt volts, steps and offsets.

Sources: data sheets of TI INA226 (SBOS547), INA219 (SBOS448, gain /8), INA3221 (SBOS576).
The ADC: 12 bits over 3.3 V, an amplifier that is fed with 3.3 V and ends at 3.1 V, and 0.5 mV
of offset at the shunt beside 10 mV at the ADC's pin: from memory of cheap current-sense
amplifiers and of common microcontrollers.
"""

from __future__ import annotations

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
