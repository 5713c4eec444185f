"""The winding's warmth in the board's settings; the equations are those of model/thermal.md."""

from __future__ import annotations

from steadyturn.model import gears, motor
from steadyturn.model.point import operate
from steadyturn.rig.types import RPM, Rig

KEYS = ("motor.winding_to_case_k_per_w", "motor.case_to_air_k_per_w", "motor.winding_j_per_k")
NONE: dict[str, int | str] = {
    "warm_s": 0, "warm_ck_per_w": 0, "warm_case_ck_per_w": 0, "warm_rest_uw_per_tpm": 0}


def begin_c(rig: Rig) -> float:
    """Temperature [degC] of a winding that has stood for long: the middle of the rig's air."""
    return (rig.air.cold_c + rig.air.hot_c) / 2


def known(rig: Rig) -> bool:
    """Does the rig file give the motor's thermal figures, all three?"""
    return all(key in rig.origins and rig.origins[key].kind != "assumed" for key in KEYS)


def settings(rig: Rig, target_tpm: float) -> dict[str, int | str]:
    """The fields by which the board follows the winding's temperature, all 0 where the rig
    does not give the figures. Losses that are not copper's are those at target_tpm, in
    proportion to the pace: brushes and bearings drag with a nearly constant torque."""
    if not known(rig):
        return dict(NONE)
    part, motors = rig.motor, rig.bank.series * rig.bank.parallel
    amps = operate(rig, target_tpm, winding_c=begin_c(rig)).motor_a
    rad_s = gears.ratio(rig.stages) * target_tpm * RPM
    rest_w = float(amps * motor.brush_v(part, amps) + motor.friction_nm(part, rad_s) * rad_s)
    heat_k_w = part.winding_case_k_w + part.case_air_k_w
    return {
        "warm_s": min(max(round(heat_k_w * part.winding_j_k), 1), 30_000),
        "warm_ck_per_w": min(round(100 * heat_k_w / motors), 30_000),
        "warm_case_ck_per_w": min(round(100 * part.case_air_k_w / motors), 20_000),
        "warm_rest_uw_per_tpm": min(round(1e6 * motors * rest_w / target_tpm), 100_000),
    }
