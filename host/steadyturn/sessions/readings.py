"""Lessons of one constant as readings of it with the windings at 20 degC.

Here comes in what an outing's lesson cannot know: the air, the warmth of windings that the board
does not follow, the sensor's shunt, and for bursts the machine's slope. Source: drift.md.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import exp, hypot, log

import numpy as np
from numpy.typing import NDArray

from steadyturn.model import bank
from steadyturn.model.motor import COPPER_PER_K, FERRITE_PER_K
from steadyturn.rig.types import Rig
from steadyturn.sessions.burst_pool import SLOPES, known_slopes
from steadyturn.sessions.drift import Reading
from steadyturn.sessions.lesson import Lesson
from steadyturn.sessions.rig_values import LEAST_FACTOR, slope

Floats = NDArray[np.float64]

PER_K = {"source_ohm": COPPER_PER_K, "emf_v_per_tpm": FERRITE_PER_K,
         "slope": 2 * FERRITE_PER_K}  # it goes with k^2
# Air within the rig's range from outing to outing: its ends are met once in a machine's life,
# three deviations from the middle; assumption
AIR_DEVIATIONS = 6.0
COLD_C, HOT_C = 5.0, 30.0  # of the air where no rig tells; assumption
RISE_SHARE = 0.25  # of a rise that the board follows; of one reckoned here twice as much
MOVES = 0.04  # of a burst's model: pauses of the sensor, a converter that answers; assumption
LEAST_COMMON = 0.01  # no way of reading is right to better than that in all outings; assumption
LEAST_LEFT = 0.05  # of a reading, when the shunt is taken off it
# the winding's warming where no rig tells: a small motor's, engineering judgement
LONG_S = 600.0
RISE_K_PER_W = 15.0
MOST_RISE_K = 80.0  # more melts what holds it
# of the slope's logarithm: an outing's beside what it tells itself (by simulated arms), and in all
# of them; above the last it teaches nothing
SLOPE_SD, SLOPE_OFF, SLOPE_WIDE = 0.12, 0.15, 0.5


@dataclass(frozen=True, slots=True)
class Row:
    """One outing's lesson of a constant. at: which of the machine's outings it is, counted;
    outing: its number; day, correction: as in learned.Taught."""

    at: int
    outing: int
    day: float | None
    correction: str
    lesson: Lesson


def at_20(
    name: str, rows: Sequence[Row], rig: Rig | None, shunt_ohm: float,
) -> list[Reading]:
    """A reading a row. name: of the constant; shunt_ohm: of the sensor, not the motors'."""
    bursts = [row.lesson for row in rows if row.lesson.way == "second_load"]
    weights = _slopes(bursts, rig)
    per_k = PER_K.get(name, 0.0)
    out, day = [], 0.0
    for row in rows:
        lesson = row.lesson
        day = row.day if row.day is not None else day + 1.0
        value, sd, common = lesson.log[0], lesson.sd[0], lesson.common_sd
        if lesson.way == "second_load":
            value, sd, common = _weighed(lesson, weights)
        if name == "source_ohm":
            ohm = exp(value)
            left = max(ohm - shunt_ohm, LEAST_LEFT * ohm)
            value, sd, common = log(left), sd * ohm / left, common * ohm / left
        rise, rise_sd = _rise(lesson, rig, exp(value) if name == "source_ohm" else 0.0)
        warm = _middle_c(rig) + rise - 20
        value -= log(max(1 + per_k * warm, 0.3))
        # the air: half from outing to outing here, all of it from season to season in `weather_sd`
        sd = hypot(sd, per_k * rise_sd, per_k * air_k(rig) / 2)
        out.append(Reading(float(row.at), day, value, sd, f"{lesson.way} {row.correction}",
                           hypot(common, LEAST_COMMON, per_k * rise_sd)))
    return _alike(out)


def weather_sd(name: str, rig: Rig | None) -> float:
    """What a season does to the logarithm of a reading at 20 degC."""
    return abs(PER_K.get(name, 0.0)) * air_k(rig)


def slope_lessons(lessons: Sequence[Lesson]) -> list[Lesson]:
    """The slope as an outing's bursts alone tell it."""
    out = []
    for one in lessons:
        if one.way == "second_load":
            share = np.exp(np.array(one.evidence) - max(one.evidence))
            share /= share.sum()
            at = float(share @ np.log(SLOPES))
            wide = float(np.sqrt(share @ (np.log(SLOPES) - at) ** 2))
            if wide < SLOPE_WIDE:
                out.append(replace(one, name="slope", way="second_load_sag", log=(at,),
                                   sd=(hypot(wide, SLOPE_SD),), evidence=(),
                                   common_sd=SLOPE_OFF))
    return out


def _alike(readings: Sequence[Reading]) -> list[Reading]:
    """What is wrong in every reading of a way is one figure: were it larger here and smaller
    there, it would pass for a change."""
    usual = {way: float(np.median([r.common_sd for r in readings if r.way == way]))
             for way in {r.way for r in readings}}
    return [replace(r, common_sd=usual[r.way]) for r in readings]


def _slopes(bursts: Sequence[Lesson], rig: Rig | None) -> Floats:
    """How likely each of burst_pool.SLOPES is, by the rig's inertia and by all bursts."""
    c, factor = (None, LEAST_FACTOR) if rig is None else slope(rig)
    return known_slopes(c, factor, [lesson.evidence for lesson in bursts])


def _weighed(lesson: Lesson, weights: Floats) -> tuple[float, float, float]:
    """A burst lesson over all slopes: its logarithm, its own deviation, and that which all
    outings share because the slope is not known."""
    logs, sds = np.array(lesson.log), np.array(lesson.sd)
    at = float(weights @ logs)
    own = float(np.sqrt(weights @ sds**2))
    shared = float(np.sqrt(max(weights @ logs**2 - at**2, 0.0)))
    return at, own, hypot(shared, MOVES)


def _rise(lesson: Lesson, rig: Rig | None, ohm: float) -> tuple[float, float]:
    """The windings' rise over a machine at rest [K], and its deviation: as the board followed
    it, else reckoned from the mean square of the current and how long was turned before."""
    if lesson.rise_k is not None:
        return lesson.rise_k, RISE_SHARE * lesson.rise_k + 1.0
    ohm = ohm or (bank.source_ohm(rig) if rig is not None else 0.0)
    motors = rig.bank.series * rig.bank.parallel if rig is not None else 1
    per_w, lag_s = RISE_K_PER_W, LONG_S
    if rig is not None:
        per_w = rig.motor.case_air_k_w + rig.motor.winding_case_k_w
        lag_s = per_w * rig.motor.winding_j_k
    rise = min(lesson.amps2 * ohm / motors * per_w, MOST_RISE_K)
    rise *= 1 - exp(-lesson.after_s / lag_s)
    return rise, 2 * RISE_SHARE * rise + 2.0


def _middle_c(rig: Rig | None) -> float:
    return (COLD_C + HOT_C) / 2 if rig is None else (rig.air.cold_c + rig.air.hot_c) / 2


def air_k(rig: Rig | None) -> float:
    """Deviation of the air's temperature, K."""
    return (HOT_C - COLD_C if rig is None else rig.air.hot_c - rig.air.cold_c) / AIR_DEVIATIONS
