"""What the board's ADC pins read: dividers to the bus and the reservoir, an amplifier over
the shunt where the ADC is the only sensor, and a thermistor where one is fitted."""

from __future__ import annotations

import random
from collections.abc import Mapping
from math import exp

from steadyturn.model.dynamics_account import State
from steadyturn.rig.types import Protection, Rig
from steadyturn.twin.noise import noise
from steadyturn.twin.stand_ins import _ops

REFERENCE_V = 3.3
NOISE = 24.0  # of 65535, standard deviation: 1.5 of the converter's 4096 steps
RESISTORS = 0.01  # tolerance of the dividers, and of an amplifier's gain
AMPLIFIER_OFFSET_V = 0.3e-3  # at the shunt, largest; from memory
AMPLIFIER_END = 63500  # of 65535: fed with 3.3 V it ends at 3.2 V
_REST = (0,) * (_ops.ADC_CHANNELS - 4)  # channels that nothing is wired to
ZERO_K = 273.15


class Analog:
    """pins: by name; seed: of errors and noise; ideal: there are none. `adc_pins` are those
    of the channels in order. The thermistor has thermistor_c [degC], the middle of the rig's
    air unless that is changed; thermistor_wire: "", "broken" or "shorted"."""

    def __init__(self, rig: Rig, pins: Mapping[str, int], seed: int, ideal: bool) -> None:
        chance = random.Random(f"plant {seed}")
        self._deviate = noise(f"analog {seed}")
        self._noise = 0.0 if ideal else NOISE
        off = 0.0 if ideal else RESISTORS
        unit = 65535 / REFERENCE_V
        self._bus_scale = unit * (1 + chance.uniform(-off, off)) / rig.sensor.divider
        self._supply_scale = (
            unit * (1 + chance.uniform(-off, off)) * 1000 / pins["supply_permille"]
        )
        self.adc_pins = [pins["bus_adc_pin"], pins["supply_adc_pin"], -1, -1]
        self.thermistor_c = (rig.air.cold_c + rig.air.hot_c) / 2
        self.thermistor_wire = ""
        self._guard = rig.protection if rig.protection.ntc_at != "none" else None
        if self._guard is not None:
            self.adc_pins[3] = pins["heat_adc_pin"]
        self._amps_scale = self._amps_zero = 0.0
        self._measures = rig.sensor.chip == "adc"
        if self._measures:
            self.adc_pins[2] = pins["amps_adc_pin"]
            gain = (rig.sensor.amplifier or 1.0) * (1 + chance.uniform(-off, off))
            self._amps_scale = unit * rig.sensor.shunt_ohm * gain
            offset_v = 0.0 if ideal else AMPLIFIER_OFFSET_V * chance.uniform(-1, 1)
            self._amps_zero = unit * ((rig.sensor.amplifier_zero_v or 0.0) + gain * offset_v)

    def channels(self, state: State, second_s: float = 0.0) -> tuple[int, ...]:
        """What the ADC pins read now, 0 to 65535. second_s: conductance of a second load."""
        measures = self._measures
        # as the only sensor its divider stands behind the shunt
        bus = (state.in_v if measures else state.bus_v) * self._bus_scale
        supply = state.reservoir_v * self._supply_scale
        amps = (state.in_a + second_s * state.in_v) * self._amps_scale + self._amps_zero
        if self._noise:
            if measures:
                amps += self._noise * self._deviate()
            bus += self._noise * self._deviate()
            supply += self._noise * self._deviate()
        return (
            0 if bus < 0.0 else 65535 if bus > 65535.0 else int(bus),
            0 if supply < 0.0 else 65535 if supply > 65535.0 else int(supply),
            0 if amps < 0.0 else AMPLIFIER_END if amps > AMPLIFIER_END else int(amps),
            0 if self._guard is None else self._thermistor(self._guard), *_REST,
        )

    def _thermistor(self, guard: Protection) -> int:
        """To ground, below a resistor from 3.3 V; R = R25 * exp(B * (1/T - 1/298.15 K))."""
        if self.thermistor_wire:
            return 65535 if self.thermistor_wire == "broken" else 0
        ohm = guard.ntc_ohm * exp(guard.ntc_beta_k * (
            1 / (self.thermistor_c + ZERO_K) - 1 / (25.0 + ZERO_K)))
        off = self._noise * self._deviate() if self._noise else 0.0
        return max(0, min(65535, int(65535 * ohm / (ohm + guard.ntc_series_ohm) + off)))
