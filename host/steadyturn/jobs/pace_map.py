"""What the map of a rig shows: volts, effort and the source's lines over handle speed."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from steadyturn.model.band import Band
from steadyturn.model.pair import Pair
from steadyturn.model.point import operate
from steadyturn.model.states import PASS_THROUGH, REGIMES
from steadyturn.model.view import View
from steadyturn.rig.types import RPM, Rig

Floats = NDArray[np.float64]

POINTS = 241  # over pace
ALONG = 41  # points of a source line; it is straight but for brushes and diodes
FOLD_ALONG = 41  # currents tried in each look for the edge of collapse


@dataclass(frozen=True)
class SourceLine:
    """What the motors give at one pace, as the converter's input sees it, 20 degC:
    `bus_v` [V] with `bus_a` [A] drawn. meets_v, meets_a: where the converter stands on it,
    None where it does not run. role: "low", "target", "high" of the band, or "comfort"."""

    pace_tpm: float
    role: str
    bus_a: tuple[float, ...]
    bus_v: tuple[float, ...]
    meets_a: float | None
    meets_v: float | None


@dataclass(frozen=True)
class Map:
    """Arrays over pace_tpm, None (NaN) where the converter does not run; 20 degC but for
    hot_v and cold_v, the loaded volts of the hot and the cold machine.

    open_v: nothing but the board on the bus. loaded_v, loaded_a: at the converter's input.
    collapse_v: what a running converter that holds its output must stay above, since with
    fewer volts the source would give less power, not more; from the pace on at which a
    converter can be on at all. effort: joules of the arm for
    one joule at the device. arm_limit_w: the arm's limit of power, or of force where that
    comes first. passes_above_v: a boost's input above which it limits nothing.
    lines: see SourceLine.
    """

    pace_tpm: tuple[float, ...]
    open_v: tuple[float, ...]
    loaded_v: tuple[float, ...]
    loaded_a: tuple[float, ...]
    hot_v: tuple[float, ...]
    cold_v: tuple[float, ...]
    collapse_v: tuple[float, ...]
    passing: tuple[bool, ...]
    arm_w: tuple[float, ...]
    arm_limit_w: tuple[float, ...]
    effort: tuple[float, ...]
    start_v: float
    stop_v: float
    passes_above_v: float | None
    lines: tuple[SourceLine, ...]


def furthest_tpm(rig: Rig, band: Band) -> float:
    """The fastest pace that a picture of this rig shows: a fifth beyond what may be kept."""
    return float(10 * np.ceil(1.2 * max(rig.arm.comfort_high_tpm, band.high_tpm or 0.0) / 10))


def pace_map(rig: Rig, band: Band) -> Map:
    """The map of `rig`, whose band is known."""
    pace = np.linspace(0.0, furthest_tpm(rig, band), POINTS)
    at = operate(rig, pace)
    runs = at.out_a > 0 if rig.load.kind != "none" else at.bus_a > 0
    gets = runs & (at.out_w > 0)
    force_w = rig.arm.force_n * rig.crank.radius_m * pace * RPM
    boost = rig.converter.kind == "boost"

    def running(values: Floats) -> tuple[float, ...]:
        return _listed(np.where(runs, values, np.nan))

    return Map(
        pace_tpm=_listed(pace), open_v=_listed(at.idle_v),
        loaded_v=running(at.bus_v), loaded_a=running(at.bus_a),
        hot_v=_loaded(rig, pace, hot=True), cold_v=_loaded(rig, pace, hot=False),
        collapse_v=_listed(np.where(_from_then_on(at.idle_v >= rig.converter.stop_v),
                                    _collapse_v(rig, pace), np.nan)),
        passing=_listed(at.regime == REGIMES[PASS_THROUGH]),
        arm_w=running(at.arm_w), arm_limit_w=_listed(np.minimum(rig.arm.power_w, force_w)),
        effort=_listed(np.where(gets, at.arm_w / np.where(gets, at.out_w, 1.0), np.nan)),
        start_v=rig.converter.start_v, stop_v=rig.converter.stop_v,
        passes_above_v=rig.converter.out_v + rig.converter.pass_drop_v if boost else None,
        lines=tuple(_line(rig, *one) for one in _chosen(rig, band)),
    )


def _from_then_on(flags: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Those after which no flag is down: a board that wakes pulls the volts down once more."""
    return np.logical_and.accumulate(flags[::-1])[::-1]


def _loaded(rig: Rig, pace: Floats, *, hot: bool) -> tuple[float, ...]:
    view = View(rig, pace, hot=hot)
    return _listed(np.where(view.runs & (view.on.bus_a > 0), view.on.bus_v, np.nan))


def _collapse_v(rig: Rig, pace: Floats) -> Floats:
    """Volts at the sensor where the source has most to spare for the converter: the fold."""
    column = np.arange(len(pace))
    if rig.converter.kind == "linear" or rig.load.kind == "none":
        return np.full(pace.shape, np.nan)
    pair = Pair(rig, pace, np.full(pace.shape, 20.0))
    low, high = np.zeros(pace.shape), pair.line.most()
    for _ in range(3):  # each look narrows it to the two steps beside the best
        some_a = np.linspace(low, high, FOLD_ALONG)
        at = pair.line.at(some_a)
        best = np.argmax(np.where(at.in_v > 0, pair.output.power(at)[0], -np.inf), axis=0)
        low = some_a[np.maximum(best - 1, 0), column]
        high = some_a[np.minimum(best + 1, FOLD_ALONG - 1), column]
    at = pair.line.at(0.5 * (low + high))
    return np.where(pace > 0, at.node_v - rig.sensor.shunt_ohm * at.in_a, np.nan)


def _chosen(rig: Rig, band: Band) -> list[tuple[float, str]]:
    if band.low_tpm is not None and band.target_tpm is not None and band.high_tpm is not None:
        return [(band.low_tpm, "low"), (band.target_tpm, "target"), (band.high_tpm, "high")]
    low, high = rig.arm.comfort_low_tpm, rig.arm.comfort_high_tpm
    return [(low, "comfort"), (0.5 * (low + high), "comfort"), (high, "comfort")]


def _line(rig: Rig, pace_tpm: float, role: str) -> SourceLine:
    pair = Pair(rig, np.array([pace_tpm]), np.array([20.0]))
    idle_a = pair.idle.motor_a
    share = np.linspace(0.0, 1.0, ALONG)[:, None] ** 3  # denser where the drops rise
    at = pair.line.at(idle_a + share * (pair.line.most() - idle_a))
    volts = (at.node_v - rig.sensor.shunt_ohm * at.in_a).ravel()
    seen = (at.in_a.ravel() >= 0) & (volts >= 0)
    on = operate(rig, pace_tpm)
    meets = bool(on.bus_a > 0)
    return SourceLine(pace_tpm, role, _listed(at.in_a.ravel()[seen]), _listed(volts[seen]),
                      float(on.bus_a) if meets else None, float(on.bus_v) if meets else None)


def _listed(values: Any) -> tuple[Any, ...]:
    return tuple(np.asarray(values).tolist())
