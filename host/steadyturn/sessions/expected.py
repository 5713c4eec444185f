"""What the model of the rig expects of an outing, beside what was measured.

Compared over the samples in which the load was connected and things had settled, each at the
pace that was held just then: the volts at the converter's input, the energy that went in,
and, where the board measures its output, what the converter kept. Where the pace itself is
inferred from the volts (by the same constants), the volts cannot tell whether these are
right: then the comparison tells of the phone's draw and the converter alone.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from steadyturn.model.point import Points, operate
from steadyturn.rig.types import Rig
from steadyturn.sessions.accuracy import Accuracy
from steadyturn.sessions.arm import winding_of
from steadyturn.sessions.estimates import Estimate, spread
from steadyturn.sessions.flow import SAMPLE_S, Flow
from steadyturn.sessions.ranges import moved

Floats = NDArray[np.float64]

LEAST_S = 20.0  # of settled samples; below that a single swing of the hand decides
POINTS = 120  # operating points over the paces held; between them straight lines
# what the loaded bus depends on at a given pace; emf only where the pace is measured
KEYS = ("load.draw_a", "load.resistance_ohm", "converter.out_v", "converter.loss_w",
        "converter.loss_v", "converter.loss_ohm", "motor.terminal_ohm", "motor.brush_drop_v",
        "rectifier.drop_v", "supply.power_mw", "load.cable_m", "load.sag_v")
EMF = ("motor.emf_v_per_krpm", "motor.no_load_rpm")


@dataclass(frozen=True, slots=True)
class Comparison:
    """One figure of the outing against the model's, both in `unit`, with their 95 % ranges.

    verdict: "as expected" (the ranges overlap), "more" or "less" than expected. note: a code
    whose words are in the report. seconds: over which both were taken.
    """

    name: str
    measured: float
    measured_low: float
    measured_high: float
    expected: float
    low: float
    high: float
    unit: str
    verdict: str
    seconds: float
    note: str = ""


def at_pace(rig: Rig, pace_tpm: Floats, winding_c: float) -> Callable[[str], Floats]:
    """A look-up of the model's running machine at these paces: a field of Points gives its
    values, NaN where there is no steady state."""
    low, high = float(pace_tpm.min()), float(pace_tpm.max())
    grid = np.linspace(max(1.0, 0.98 * low), max(1.02 * high, 2.0), POINTS)
    points: Points = operate(rig, grid, winding_c=winding_c)
    return lambda name: np.interp(pace_tpm, grid, getattr(points, name))


def expected(
    rig: Rig, flow: Flow, sensor: Accuracy, *, pace_measured: bool = False,
    out: Estimate | None = None,
) -> tuple[Comparison, ...]:
    """Comparisons loaded_volts [V] and power_in [W] (means over settled samples), and
    losses_share [%] of what went in where `out` is a measured output; empty where too little
    was settled, or the model has no state there."""
    which = flow.settled
    if flow.seconds(which) < LEAST_S:
        return ()
    pace = flow.pace_tpm[which]
    winding_c = float(winding_of(rig, flow)[which].mean())
    look = at_pace(rig, pace, winding_c)
    there = np.isfinite(look("bus_v"))
    if np.count_nonzero(there) * SAMPLE_S < LEAST_S:
        return ()
    volts, watts = flow.volts[which][there], flow.watts[which][there]
    seconds = len(volts) * SAMPLE_S
    keys = [key for key in (*KEYS, *(EMF if pace_measured else ())) if key in rig.origins]
    note = "" if pace_measured else "pace_from_volts"

    def mean(field: str) -> Callable[[Rig], float]:
        def of(some: Rig) -> float:
            found = at_pace(some, pace[there], winding_c)
            values = found("bus_v") * found("bus_a") if field == "power" else found(field)
            return float(np.nanmean(values)) if np.isfinite(values).any() else float("nan")
        return of

    volts_v = sensor.volts_v(float(volts.mean()))
    charge = float(flow.amps[which][there].mean())
    power_w = sensor.energy_j(float(watts.mean()), charge, float(volts.mean()))
    out_of = [
        _one("loaded_volts", float(volts.mean()), volts_v, mean("bus_v"), rig, keys, "V", seconds,
             note),
        _one("power_in", float(watts.mean()), power_w, mean("power"), rig, keys, "W", seconds,
             note),
    ]
    if out is not None and out.kind == "measured":
        energy_j = float(flow.watts[flow.connected].sum()) * SAMPLE_S
        measured = 100 * (1 - out.value * 3600 / energy_j) if energy_j else float("nan")
        reach = 100 * (out.high - out.low) / 2 * 3600 / energy_j if energy_j else float("nan")

        def kept(some: Rig) -> float:
            found = at_pace(some, pace[there], winding_c)
            return float(100 * (1 - np.nansum(found("out_w"))
                                / np.nansum(found("bus_v") * found("bus_a"))))

        out_of.append(_one("losses_share", measured, reach, kept, rig, keys, "%", seconds, ""))
    return tuple(out_of)


def _one(name: str, measured: float, reach: float, of: Callable[[Rig], float], rig: Rig,
         keys: list[str], unit: str, seconds: float, note: str) -> Comparison:
    value = of(rig)
    pairs = [(low, high) for low, high in (moved(rig, key, of) for key in keys)
             if np.isfinite(low) and np.isfinite(high)]
    low, high = spread(value, pairs)
    reach = reach if np.isfinite(reach) else 0.0
    if measured - reach > high:
        verdict = "more"
    elif measured + reach < low:
        verdict = "less"
    else:
        verdict = "as expected"
    return Comparison(name, measured, measured - reach, measured + reach, value, low, high, unit,
                      verdict, seconds, note)
