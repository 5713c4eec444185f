"""How far specimens of one part differ from a given value, by key of the rig file.

Relative, two-sided: 95 % of specimens lie within. What is measured or assumed has its own
interval instead, and a file may say `tolerance_percent` for one value. Ratings, limits that a
person sets and counts are not here: they do not vary.
"""

from __future__ import annotations

import re
from typing import NamedTuple

from steadyturn.rig.spec import MEMORY, PRACTICE

_MOTOR = "small motors of one type: 5-10 % in magnet and winding, " + PRACTICE
_CHIP = "data sheets of such converters, " + MEMORY
_RESISTOR = "resistors of 1-5 %"


class Tolerance(NamedTuple):
    """share: 0.1 is 10 % either way. common: part of the variance that motors of one batch
    share (1: the same for all, or there is only one)."""

    share: float
    why: str
    common: float = 1.0


TOLERANCES: dict[str, Tolerance] = {
    # what two motors of one bank differ by is bank.spread_percent for these two
    "motor.emf_v_per_krpm": Tolerance(0.075, _MOTOR),
    "motor.no_load_rpm": Tolerance(0.075, _MOTOR),
    "motor.terminal_ohm": Tolerance(
        0.15, "10-20 %: wire, brushes, commutator; " + PRACTICE, common=0.5),
    "motor.no_load_a": Tolerance(
        0.30, "friction of brushes and bearings, running in; " + PRACTICE, common=0.5),
    "motor.brush_drop_v": Tolerance(0.30, PRACTICE, common=0.5),
    "motor.brush_knee_a": Tolerance(0.50, PRACTICE, common=0.5),
    "motor.drag_unm_per_rad_s": Tolerance(0.30, PRACTICE, common=0.5),
    "motor.inductance_mh": Tolerance(0.20, PRACTICE, common=0.5),
    "motor.inertia_gcm2": Tolerance(0.10, PRACTICE, common=0.5),
    "motor.winding_to_case_k_per_w": Tolerance(0.25, PRACTICE, common=0.5),
    "motor.case_to_air_k_per_w": Tolerance(0.25, "how it is mounted; " + PRACTICE),
    "motor.winding_j_per_k": Tolerance(0.20, PRACTICE, common=0.5),
    "stage.efficiency": Tolerance(0.05, "fit, grease and print; " + PRACTICE),
    "crank.radius_mm": Tolerance(0.01, "as built"),
    "crank.friction_nm": Tolerance(0.30, PRACTICE),
    "crank.inertia_gm2": Tolerance(0.20, PRACTICE),
    "rectifier.drop_v": Tolerance(0.10, "Schottky data sheets, " + MEMORY),
    "rectifier.knee_a": Tolerance(0.50, PRACTICE),
    "bus.capacitor_uf": Tolerance(0.20, "electrolytic capacitors: 20 %"),
    "bus.bleed_kohm": Tolerance(0.05, _RESISTOR),
    "bus.second_load_ohm": Tolerance(0.05, _RESISTOR),
    "converter.out_v": Tolerance(0.02, "reference 1 %, divider 1 % each, " + MEMORY),
    "converter.loss_w": Tolerance(0.20, _CHIP),
    "converter.loss_v": Tolerance(0.20, _CHIP),
    "converter.loss_ohm": Tolerance(0.20, "switch and coil over temperature, " + MEMORY),
    "converter.start_v": Tolerance(0.03, _CHIP),
    "converter.stop_v": Tolerance(0.03, _CHIP),
    "converter.input_limit_a": Tolerance(0.15, _CHIP),
    "converter.output_limit_a": Tolerance(0.15, _CHIP),
    "converter.headroom_v": Tolerance(0.20, _CHIP),
    "converter.pass_drop_v": Tolerance(0.20, "coil and diode, " + PRACTICE),
    "converter.soft_start_ms": Tolerance(0.30, _CHIP),
    "converter.output_capacitor_uf": Tolerance(0.20, "capacitors: 20 %"),
    "switch.on_ohm": Tolerance(0.20, "transistor data sheets, " + MEMORY),
    "switch.hold_ms": Tolerance(0.15, "resistor and capacitor that time it"),
    "protection.bus_clamp_v": Tolerance(0.05, "Zener and TVS diodes of 5 %"),
    "protection.bus_cut_v": Tolerance(0.03, "reference and divider"),
    "protection.output_cut_v": Tolerance(0.02, "reference and divider"),
    "supply.power_mw": Tolerance(0.15, PRACTICE),
    "supply.wake_v": Tolerance(0.03, _CHIP),
    "supply.drop_v": Tolerance(0.10, "diode data sheets, " + MEMORY),
    "supply.reservoir_uf": Tolerance(0.20, "capacitors: 20 %"),
    "supply.reservoir_max_v": Tolerance(0.02, "reference and divider"),
    "supply.fade_v": Tolerance(0.02, "the board's ADC and its divider"),
    "supply.forbid_v": Tolerance(0.02, "the board's ADC and its divider"),
    "supply.off_v": Tolerance(0.03, _CHIP),
    "load.draw_a": Tolerance(0.10, "devices of one kind, " + PRACTICE),
    "load.sag_v": Tolerance(0.02, PRACTICE),
    "load.min_v": Tolerance(0.02, PRACTICE),
    "load.resistance_ohm": Tolerance(0.05, _RESISTOR),
    "load.capacity_wh": Tolerance(0.05, "a new cell"),
    "load.charge_efficiency": Tolerance(0.05, PRACTICE),
    "load.self_use_w": Tolerance(0.20, PRACTICE),
    "load.cable_m": Tolerance(0.05, "as cut"),
    "sensor.shunt_mohm": Tolerance(0.01, "shunts of 1 %"),
    "sensor.out_shunt_mohm": Tolerance(0.01, "shunts of 1 %"),
}
NONE = Tolerance(0.0, "")


def tolerance_of(key: str) -> Tolerance:
    """Of a key as in `Rig.origins` ("motor.no_load_a", "stage[2].efficiency").

    >>> tolerance_of("stage[2].efficiency").share
    0.05
    >>> tolerance_of("arm.power_w").share
    0.0
    """
    return TOLERANCES.get(re.sub(r"^stage\[\d+\]", "stage", key), NONE)
