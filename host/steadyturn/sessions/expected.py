"""What the model of the rig expects of an outing, beside what was measured.

Compared over the samples in which the phone took something and things had settled, each at the
pace that was held just then: the volts at the converter's input, the energy that went in,
and, where the board measures its output, what the converter kept. Where the pace itself is
inferred from the volts (by the same constants), the volts cannot tell whether these are
right: then the comparison tells of the phone's draw and the converter alone.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import isfinite, nan

import numpy as np
from numpy.typing import NDArray

from steadyturn.model.point import Points, operate
from steadyturn.rig.types import Rig
from steadyturn.sessions.accuracy import Accuracy
from steadyturn.sessions.arm import winding_of
from steadyturn.sessions.estimates import Estimate, spread
from steadyturn.sessions.flow import SAMPLE_S, Flow, drawing
from steadyturn.sessions.hand import NOT_FOLLOWED, WARMTH
from steadyturn.sessions.ranges import moved

Floats = NDArray[np.float64]

LEAST_S = 20.0  # of settled samples; below that a single swing of the hand decides
POINTS = 80  # operating points over the paces held; between them straight lines
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
    which = drawing(flow)
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

    # a pace is stored in steps of half a turn a minute: each one once, by how often it was held
    held, times = np.unique(pace[there], return_counts=True)

    def means(some: Rig, off: float = 1.0) -> tuple[float, float, float]:
        """(bus [V], power in [W], share kept [%]) of a rig at these paces, times `off`."""
        found = at_pace(some, held * off, winding_c)
        bus_v, out_w = found("bus_v"), found("out_w")
        in_w = bus_v * found("bus_a")
        good = np.isfinite(in_w)
        count = times[good]
        if not good.any():
            return nan, nan, nan
        fed = float(in_w[good] @ count)
        kept = 100 * (1 - float(out_w[good] @ count) / fed) if fed > 0 else nan
        return float(bus_v[good] @ count) / count.sum(), fed / count.sum(), kept

    here = means(rig)
    moves = [moved(rig, key, means) for key in keys]
    if not pace_measured:  # the windings' warmth, which a pace from volts does not know
        share = NOT_FOLLOWED if isfinite(flow.warm_ohm) else WARMTH
        moves.append((means(rig, 1 - share), means(rig, 1 + share)))
    volts_v = sensor.volts_v(float(volts.mean()))
    power_w = sensor.energy_j(float(watts.mean()), float(flow.amps[which][there].mean()),
                              float(volts.mean()))
    mean_v = float(volts.mean())
    found = [_one("loaded_volts", mean_v, volts_v, 0, here, moves, "V", seconds, note),
             _one("power_in", float(watts.mean()), power_w, 1, here, moves, "W", seconds, note)]
    energy_j = float(flow.watts[flow.connected].sum()) * SAMPLE_S
    if out is not None and out.kind == "measured" and energy_j > 0:
        share = 100 / energy_j * 3600
        found.append(_one("losses_share", 100 - share * out.value,
                          share * (out.high - out.low) / 2, 2, here, moves, "%", seconds, ""))
    return tuple(found)


def _one(name: str, measured: float, reach: float, which: int, here: tuple[float, ...],
         moves: Sequence[tuple[tuple[float, ...], tuple[float, ...]]], unit: str, seconds: float,
         note: str) -> Comparison:
    """One comparison: of what the model says here, and with each value moved to both ends."""
    value = here[which]
    pairs = [(low[which], high[which]) for low, high in moves
             if isfinite(low[which]) and isfinite(high[which])]
    low, high = spread(value, pairs)
    reach = reach if isfinite(reach) else 0.0
    if measured - reach > high:
        verdict = "more"
    elif measured + reach < low:
        verdict = "less"
    else:
        verdict = "as expected"
    return Comparison(name, measured, measured - reach, measured + reach, value, low, high, unit,
                      verdict, seconds, note)
