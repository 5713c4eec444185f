"""What an outing cost the arm, by the rig's model and the volts and amps that were measured.

Each motor's EMF is what the bus had, plus what current lost on its way there; EMF times current,
plus no-load current, is what its shaft took, and gears and crank add theirs (model/arm.md,
model/motor.md). So the work hardly depends on the EMF constant, which is the model's weakest
guess elsewhere, but on the gears' efficiency.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import isfinite

import numpy as np
from numpy.typing import NDArray

from steadyturn.model import bank, endurance, gears, motor, rectifier, supply
from steadyturn.rig.types import RPM, Rig
from steadyturn.sessions.estimates import Estimate, spread
from steadyturn.sessions.flow import SAMPLE_S, Flow, thinned
from steadyturn.sessions.ranges import moved

Floats = NDArray[np.float64]

# what the work depends on; a stage's efficiency beside them
KEYS = ("motor.terminal_ohm", "motor.no_load_a", "motor.brush_drop_v", "rectifier.drop_v",
        "crank.friction_nm", "supply.power_mw")
MOST = 20_000  # samples from which the range is made


@dataclass(frozen=True, slots=True)
class Effort:
    """estimates: arm_work [kJ], arm_power [W] (mean while turning), food [kcal]. keeps_w: the
    power that this arm keeps for as long, without a break (low, middle, high)."""

    estimates: tuple[Estimate, ...]
    keeps_w: tuple[float, float, float]


def power_w(rig: Rig, flow: Flow) -> Floats:
    """Of the arm [W] at each sample; 0 at rest."""
    part, own = rig.motor, rig.bank
    conducts = flow.known  # elsewhere the diodes keep the motors from the bus
    node_v = flow.volts + flow.amps * rig.sensor.shunt_ohm
    bank_a = flow.amps + supply.takes_a(rig.supply, node_v) + node_v / rig.bus.bleed_ohm
    motor_a = np.where(conducts, bank_a / own.parallel, 0.0)
    winding_c = winding_of(rig, flow)
    diode_a = motor_a if own.diode_each else motor_a * own.parallel
    drops = rectifier.drop_v(rig.rectifier, diode_a)
    emf_v = (node_v + drops) / own.series + motor_a * motor.ohm_at(part, winding_c) \
        + motor.brush_v(part, motor_a)
    rad_s = gears.ratio(rig.stages) * flow.pace_tpm * RPM
    emf_v = np.where(conducts, emf_v, motor.emf_constant_at(part, winding_c) * rad_s)
    shaft_w = emf_v * (motor_a + part.no_load_a) + part.drag_nm_s * rad_s**2
    motors = own.series * own.parallel
    arm_w = motors * shaft_w / gears.efficiency(rig.stages)
    arm_w = arm_w + rig.crank.friction_nm * flow.pace_tpm * RPM
    return np.where(flow.turning, arm_w, 0.0)


def winding_of(rig: Rig, flow: Flow) -> Floats:
    """Temperature of the windings [degC]: their rise, as the board takes it, over a machine that
    has stood in the middle of the rig's air. Where the board does not follow it: that of its
    settings' resistance, half-way to a warm machine."""
    air = (rig.air.cold_c + rig.air.hot_c) / 2
    if not isfinite(flow.warm_ohm):
        return np.asarray(air + flow.rise_k)
    more = (flow.warm_ohm - rig.sensor.shunt_ohm) / bank.source_ohm(rig) - 1
    warm = min(max(20 + more / motor.COPPER_PER_K, rig.air.cold_c), rig.motor.max_winding_c)
    return np.full(len(flow.volts), warm)


def effort(rig: Rig, flow: Flow, turning_s: float) -> Effort | None:
    """What it cost; None where nothing was turned. turning_s: of the whole outing, samples that
    are gone counted like those that are there."""
    seconds = flow.seconds(flow.turning)
    if not seconds or not turning_s:
        return None
    whole = max(1.0, turning_s / seconds)

    few = thinned(flow, MOST)

    def work(some: Rig) -> float:
        return float(power_w(some, few).sum())

    value = float(power_w(rig, flow).sum()) * SAMPLE_S * whole / 1000
    keys = [*KEYS, *(f"stage[{i + 1}].efficiency" for i in range(len(rig.stages)))]
    per = value / here if (here := work(rig)) > 0 else 0.0
    low, high = spread(value, [(per * one, per * other) for one, other in
                               (moved(rig, key, work) for key in keys)])
    per_w = 1000 / turning_s
    worst, usual, best = (value * 1000 / endurance.KCAL_J / share for share in endurance.MUSCLE)
    food_low, food_high = spread(
        usual, [(best, worst), (usual * low / value, usual * high / value)])
    minutes = max(turning_s / 60, 1e-3)
    keeps = endurance.power_w(rig.arm, minutes, endurance.spread_of(rig))
    return Effort((
        Estimate("arm_work", value, low, high, "kJ", "modelled"),
        Estimate("arm_power", value * per_w, low * per_w, high * per_w, "W", "modelled"),
        Estimate("food", usual, food_low, food_high, "kcal", "modelled"),
    ), (float(keeps[0]), float(keeps[1]), float(keeps[2])))
