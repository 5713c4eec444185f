"""Motors and converter without the gears: a head. What it does at a speed of the motors' shafts
does not depend on the ratio, so it is computed once and every ratio shares it.

All of it is the model's: the edges are those of `batch.bands` for an arm without limits, on
a train of one, and the torques are those of the same operating points.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from steadyturn.model.batch import bands
from steadyturn.model.batch_torque import CLAMP, bears_v, handle_nm
from steadyturn.model.motor import PEAK_OVER_MEAN, emf_constant, magnets
from steadyturn.rig.types import RPM, Motor, specs
from steadyturn.sizing.drawer import Build, Drawer, banks, rig_of

__all__ = ["CLAMP", "POINTS", "Heads", "Names", "head_values", "heads", "names"]

Floats = NDArray[np.float64]
Whole = NDArray[np.int64]
Small = NDArray[np.int16]

POINTS = 49  # of each torque curve
TOP_TPM = 100.0  # pace at which the motors of a head reach their highest speed
BLOCK = 1024  # heads looked at together

# an arm that bears anything: what is left are the limits of the machine itself
_NO_ARM: dict[str, float] = {
    "train.efficiency": 1.0, "crank.friction_nm": 0.0, "arm.force_n": 1e9, "arm.power_w": 1e9,
    "arm.comfort_low_tpm": 1e-3, "arm.comfort_high_tpm": 1e9,
}
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


@dataclass(frozen=True)
class Names:
    """Which heads a group has, without what they do; as in Heads."""

    motor: Small
    converter: Small
    series: Small
    parallel: Small
    ratings: tuple[str, ...]


def names(group: Heads) -> Names:
    """A group of heads once it is judged: a big drawer has millions of them."""
    motor, converter, series, parallel = (part.astype(np.int16) for part in (
        group.motor, group.converter, group.series, group.parallel))
    return Names(motor, converter, series, parallel, group.ratings)


def heads(drawer: Drawer) -> Iterator[Heads]:
    """All heads of the drawer one group after the other, each of one converter and at most
    BLOCK heads."""
    rows = [(i, s, p) for i, motor in enumerate(drawer.motors) for s, p in banks(drawer, motor)]
    for j, converter in enumerate(drawer.converters):
        for start in range(0, len(rows) if converter.count else 0, BLOCK):
            yield _group(drawer, j, np.array(rows[start : start + BLOCK]))


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
    mild, most = (np.full((len(rows), POINTS), np.nan) for _ in range(2))
    out_w = np.full(len(rows), np.nan)
    if works.any():
        some = {k: v[works] if np.ndim(v) else v for k, v in values.items()}
        mild[works], most[works], out_w[works] = handle_nm(
            rig, some, found.low_tpm[works], found.high_tpm[works], POINTS)
    bears = bears_v(rig, values)
    open_v = PEAK_OVER_MEAN * values["bank.series"] * values["motor.emf_v_per_krpm"] * float(
        magnets(rig.air.cold_c))
    return Heads(
        motor, np.full(len(rows), converter), series, parallel, found.low_tpm * per_tpm,
        found.high_tpm * per_tpm, found.low_limit, found.high_limit, mild / ratio[:, None],
        most / ratio[:, None], out_w, open_v, tuple(name for name, _ in bears),
        np.stack([volts for _, volts in bears], axis=1))
