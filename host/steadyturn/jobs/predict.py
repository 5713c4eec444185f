"""One operating point of a rig, and where the power goes."""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from steadyturn.errors import Problem, WrongInput
from steadyturn.jobs.hazards import Hazard, hazards_at
from steadyturn.model.limits import Sheet, constraints
from steadyturn.model.point import Points, operate
from steadyturn.model.view import View
from steadyturn.rig.file import read_rig
from steadyturn.rig.types import Rig

Floats = NDArray[np.float64]

FASTEST_TPM = 1000.0
UNLOADED = "open_circuit"


@dataclass(frozen=True)
class Broken:
    """A limit of the band that does not hold at this pace, for the hot or the cold machine."""

    name: str
    reason: str


@dataclass(frozen=True)
class Extreme:
    """The same pace in the rig's hottest air with windings that have settled, or in its
    coldest. starts: from rest; holds: once it runs. The figures are those of a converter
    that runs, None (NaN) where it does not; open_v: the bus with nothing connected."""

    air_c: float
    winding_c: float
    starts: bool
    holds: bool
    regime: str
    bus_v: float
    out_w: float
    arm_w: float
    open_v: float


@dataclass(frozen=True)
class Predict:
    """Fields as in model.point.Points, one number each; None (NaN) in collapse.

    from_state: "rest" or "running", which decides between a converter's start and stop
    thresholds. open_v: the bus with nothing but the board on it; force_n: at the grip.
    broken: limits of the band that do not hold here, none inside the band, but for those of
    the unloaded bus: they are in hazards, the ratings that would be broken if the load went
    at this pace. hot, cold: the machine in its hottest and its coldest air.
    """

    rig: str
    from_state: str
    pace_tpm: float
    regime: str
    motor_rpm: float
    emf_v: float
    bus_v: float
    bus_a: float
    motor_a: float
    out_v: float
    out_a: float
    out_w: float
    crank_nm: float
    arm_w: float
    losses_w: dict[str, float]
    open_v: float
    force_n: float
    broken: tuple[Broken, ...]
    hazards: tuple[Hazard, ...]
    hot: Extreme
    cold: Extreme


def check_pace(pace_tpm: float) -> None:
    """WrongInput for a pace [turns/min] outside 0 to 1000."""
    if not (math.isfinite(pace_tpm) and 0 <= pace_tpm <= FASTEST_TPM):
        raise WrongInput(Problem(
            "--pace", "", f"{pace_tpm:g}", f"turns a minute of the handle, 0 to "
            f"{FASTEST_TPM:.0f}.", "'steadyturn pace RIG' says which paces work."))


def predict(path: str | Path, pace_tpm: float, *, from_state: str = "running") -> Predict:
    """The operating point at pace_tpm [turns/min], winding at 20 degC.

    Raises WrongInput for a pace outside 0 to 1000, and for the file's problems.
    """
    check_pace(pace_tpm)
    if from_state not in ("rest", "running"):
        raise WrongInput(Problem("--from", "", from_state, "'rest' or 'running'."))
    rig = read_rig(path)
    at: Points = operate(rig, pace_tpm, running=from_state == "running")
    return Predict(
        rig=rig.name, from_state=from_state, pace_tpm=float(at.pace_tpm),
        regime=str(at.regime), motor_rpm=float(at.motor_rpm), emf_v=float(at.emf_v),
        bus_v=float(at.bus_v), bus_a=float(at.bus_a), motor_a=float(at.motor_a),
        out_v=float(at.out_v), out_a=float(at.out_a), out_w=float(at.out_w),
        crank_nm=float(at.crank_nm), arm_w=float(at.arm_w),
        losses_w={name: float(value) for name, value in at.losses_w.items()},
        open_v=float(at.idle_v), force_n=float(at.crank_nm) / rig.crank.radius_m,
        broken=broken_limits(rig, pace_tpm), hazards=hazards_at(rig, pace_tpm),
        hot=_extreme(rig, pace_tpm, hot=True), cold=_extreme(rig, pace_tpm, hot=False))


def _extreme(rig: Rig, pace_tpm: float, *, hot: bool) -> Extreme:
    view = View(rig, np.array([pace_tpm]), hot=hot)
    holds = bool(view.runs[0])
    idle_v = float(view.pair.idle.node_v[0])

    def running(values: Floats) -> float:
        return float(values[0]) if holds else math.nan

    return Extreme(
        air_c=rig.air.hot_c if hot else rig.air.cold_c, winding_c=float(view.winding_c[0]),
        starts=holds and idle_v >= rig.converter.start_v, holds=holds,
        regime=str(view.on.regime[0]), bus_v=running(view.on.bus_v),
        out_w=running(view.on.out_w), arm_w=running(view.on.arm_w), open_v=idle_v)


def broken_limits(rig: Rig, pace_tpm: float) -> tuple[Broken, ...]:
    """The limits of the band that do not hold at pace_tpm [turns/min], see `Predict`."""
    listed = constraints(rig)
    sheet = Sheet(rig, listed, np.array([pace_tpm]))
    return tuple(Broken(one.name, sheet.reason(row, 0)) for row, one in enumerate(listed)
                 if sheet.margins[row, 0] < 0 and not one.name.startswith(UNLOADED))
