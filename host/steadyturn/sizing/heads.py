"""Motors and converter without the gears: a head. What it does at a speed of the motors' shafts
does not depend on the ratio, so it is computed once and every ratio shares it.

All of it is the model's: the edges are those of `batch.bands` for an arm without limits, on
a train of one, and the torques are those of the same operating points.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from steadyturn.model.batch import LIMIT_NAMES, bands
from steadyturn.model.batch_ends import ends
from steadyturn.model.batch_frame import build, spread
from steadyturn.model.batch_look import look
from steadyturn.model.batch_open import most_v
from steadyturn.model.motor import PEAK_OVER_MEAN, emf_constant, magnets, ohm_at
from steadyturn.rig.types import RPM, Motor, Rig, specs
from steadyturn.sizing.drawer import Build, Drawer, banks, rig_of

Floats = NDArray[np.float64]
Whole = NDArray[np.int64]

POINTS = 25  # of each torque curve
FAN = 48  # operating points that a curve is drawn through
TOP_TPM = 100.0  # pace at which the motors of a head reach their highest speed
MILD_C = 20.0
BLOCK = 1024  # heads looked at together

# an arm that bears anything: what is left are the limits of the machine itself
_NO_ARM: dict[str, float] = {
    "train.efficiency": 1.0, "crank.friction_nm": 0.0, "arm.force_n": 1e9, "arm.power_w": 1e9,
    "arm.comfort_low_tpm": 1e-3, "arm.comfort_high_tpm": 1e9,
}
CLAMP = "clamp_power"  # as model.hazards names it
_ONE_PAIR = ((12, 12),)


@dataclass(frozen=True)
class Heads:
    """motor, converter, series, parallel: one number a head, the first two indices into the
    drawer. low_rad_s, high_rad_s: speeds of the motors' shafts between which every limit
    but the arm's holds, hot and cold (NaN: none), low_name, high_name the limits there (where
    none: the two that clash), indices into LIMIT_NAMES.

    nm, most_nm [head, point]: torque of all motors together at POINTS equal steps from
    low_rad_s to high_rad_s, at 20 degC and the larger of hot and cold; out_w: at the device.
    open_v: open-circuit volts of the cold machine by the motors' rad/s, peaks counted;
    bears_v [head, rating]: open-circuit volts up to which each rating in `ratings` holds;
    the last may be CLAMP, which no slower band saves.
    """

    motor: Whole
    converter: Whole
    series: Whole
    parallel: Whole
    low_rad_s: Floats
    high_rad_s: Floats
    low_name: Whole
    high_name: Whole
    nm: Floats
    most_nm: Floats
    out_w: Floats
    open_v: Floats
    ratings: tuple[str, ...]
    bears_v: Floats

    def __len__(self) -> int:
        return len(self.motor)


def heads(drawer: Drawer) -> list[Heads]:
    """All heads of the drawer, a group for each converter and at most BLOCK heads."""
    rows = [(i, s, p) for i, motor in enumerate(drawer.motors) for s, p in banks(drawer, motor)]
    found = []
    for j, converter in enumerate(drawer.converters):
        for start in range(0, len(rows) if converter.count else 0, BLOCK):
            found.append(_group(drawer, j, np.array(rows[start : start + BLOCK])))
    return found


def head_values(drawer: Drawer, motor: Whole, series: Whole, parallel: Whole) -> dict[str, Floats]:
    """Key -> one value a head, for `bands`: all numbers of the motor, its EMF constant in
    place of a nameplate, and the bank."""
    values = {}
    for field, spec in specs(Motor).items():
        if spec.type == "number" and field not in ("rated_v", "no_load_rad_s", "emf_v_s"):
            each = np.array([getattr(item.part, field) for item in drawer.motors])
            values[f"motor.{spec.key}"] = each[motor]
    constants = np.array([emf_constant(item.part) for item in drawer.motors])
    values["motor.emf_v_per_krpm"] = constants[motor]
    values["bank.series"] = series.astype(float)
    values["bank.parallel"] = parallel.astype(float)
    return values


def _group(drawer: Drawer, converter: int, rows: Whole) -> Heads:
    motor, series, parallel = rows.T
    rig = rig_of(drawer, Build(int(motor[0]), converter, 1, 1, _ONE_PAIR))
    values: dict[str, Any] = head_values(drawer, motor, series, parallel)
    ratio = values["motor.max_rpm"] / (TOP_TPM * RPM)
    values |= {"train.ratio": ratio, **_NO_ARM}
    found = bands(rig, values, target=False)
    per_tpm = ratio * RPM
    works = np.isfinite(found.low_tpm)
    nm = np.full((2, len(rows), POINTS), np.nan)
    out_w = np.full(len(rows), np.nan)
    if works.any():
        nm[:, works], out_w[works] = _torques(
            rig, {k: v[works] if np.ndim(v) else v for k, v in values.items()},
            found.low_tpm[works], found.high_tpm[works])
    wide = spread(rig, values)
    bears = [*most_v(wide), *_clamp(wide)]
    open_v = PEAK_OVER_MEAN * values["bank.series"] * values["motor.emf_v_per_krpm"] * float(
        magnets(rig.air.cold_c))
    return Heads(
        motor, np.full(len(rows), converter), series, parallel, found.low_tpm * per_tpm,
        found.high_tpm * per_tpm, found.low_limit, found.high_limit, nm[0], nm[1], out_w, open_v,
        tuple(name for name, _ in bears),
        np.stack([np.broadcast_to(v, (len(rows),)) for _, v in bears], axis=1))


def _clamp(rig: Rig) -> list[tuple[str, Any]]:
    """The bus clamp's power as open-circuit volts that it bears (`hazards.clamp_w`)."""
    clamp, watts = rig.protection.bus_clamp_v, rig.protection.bus_clamp_w
    if clamp is None:
        return []
    if watts is None:  # not stated: not counted on
        return [(CLAMP, -np.inf)]
    ohm = rig.bank.series * ohm_at(rig.motor, rig.air.cold_c) / rig.bank.parallel
    return [(CLAMP, clamp + watts * ohm / clamp)]


def _torques(rig: Rig, values: dict[str, Any], low_tpm: Floats,
             high_tpm: Floats) -> tuple[Floats, Floats]:
    """([20 degC, the larger of hot and cold] torque of all motors, [head, point]; out_w)."""
    n = len(low_tpm)
    with np.errstate(all="ignore"):
        frame = build(spread(rig, values), LIMIT_NAMES)
        between = ends(replace(frame, fast_tpm=np.full(n, 10 * TOP_TPM)), n, LIMIT_NAMES)
        in_v = between.low_v * (between.high_v / between.low_v) ** np.linspace(
            0.0, 1.0, FAN)[:, None]
        states = [look(frame, in_v, MILD_C, heated=False),
                  look(frame, in_v, frame.cold_c, heated=False),
                  look(frame, in_v, frame.hot_c, heated=True)]
    pace = low_tpm[:, None] + (high_tpm - low_tpm)[:, None] * np.linspace(0, 1, POINTS)
    curves = np.empty((3, n, POINTS))
    for state, at in enumerate(states):
        lowest = np.argmin(np.where(np.isnan(at.pace), np.inf, at.pace), axis=0)
        for head in range(n):  # above the fold, where pace rises with the volts
            tail = slice(lowest[head], None)
            curves[state, head] = np.interp(pace[head], at.pace[tail, head],
                                            at.arm_nm[tail, head])
    ratio = values["train.ratio"][:, None]
    shaft = np.stack([curves[0], np.maximum(curves[1], curves[2])]) / ratio
    return shaft, np.array(np.broadcast_to(frame.out_w, (n,)))
