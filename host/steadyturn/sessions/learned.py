"""The machine's constants as its outings have taught them, and whether they change.

From each outing's lessons (`lessons.py`) to the constants at 20 degC with 95 % intervals, and to
the odds that one of them has changed (`drift.py`). A pure function of outings and rig: it can be
made again at any time. Equations, sources and error rates are on the page drift.md.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from math import exp, hypot, log
from typing import Any

import numpy as np

from steadyturn.model import bank, gears
from steadyturn.model.motor import COPPER_PER_K, FERRITE_PER_K
from steadyturn.rig.types import RPM, Rig
from steadyturn.sessions.burst_pool import SLOPES, known_slopes, sd_of, slope_of
from steadyturn.sessions.drift import WINDOW, Reading, Trend, trend
from steadyturn.sessions.lesson import Lesson
from steadyturn.sessions.ranges import ends

Three = tuple[float | None, float | None, float | None]

ODDS_REAL = 15.0  # with it both error rates of drift.md hold, with margin
LEAST_READINGS = 8  # before that the scatter itself is hardly known
# Air within the rig's range from outing to outing: its ends are met once in a machine's life,
# three deviations from the middle; assumption
AIR_DEVIATIONS = 6.0
RISE_SHARE = 0.25  # of a rise that the board follows; of one reckoned here twice as much
MOVES = 0.04  # of a burst's model: pauses of the sensor, a converter that answers; assumption
ANOTHER = 0.02  # EMF, resistance or drop in the settings by so much: another machine, or one that
# was measured anew: what is learned begins there
LEAST_FACTOR = 1.5  # of the slope by the rig's inertia: a hand adds its own; assumption
WORN = {"source_ohm": "up", "emf_v_per_tpm": "down", "losses": "up", "slope": "up"}
UNITS = {"source_ohm": "ohm", "emf_v_per_tpm": "V per turn/min", "losses": "times the settings'",
         "slope": "ohm/s"}
KEYS = {"source_ohm": "motor.terminal_ohm", "emf_v_per_tpm": "motor.emf_v_per_krpm",
        "losses": "", "slope": ""}
# of the slope's logarithm: an outing's beside what it tells itself (by simulated arms), and in all
# of them; above the last it teaches nothing
SLOPE_SD, SLOPE_OFF, SLOPE_WIDE = 0.12, 0.15, 0.5
LONG_S = 600.0  # of the winding's warming where no rig tells
RISE_K_PER_W = 15.0


@dataclass(frozen=True, slots=True)
class Taught:
    """An outing's lessons. outing: its number; day: when, in days (of its end, else of the
    meeting that ended it; None: not known); correction: of the sensor, any word that changes
    with it."""

    outing: int
    day: float | None
    correction: str
    lessons: tuple[Lesson, ...]


@dataclass(frozen=True, slots=True)
class Point:
    """One outing on a constant's curve: what it read (with its 95 % range; less what is wrong in
    every reading of its way), and what all outings tell of that time. odd: it counts for
    little."""

    outing: int
    value: float
    low: float
    high: float
    level: float
    level_low: float
    level_high: float
    odd: bool


@dataclass(frozen=True, slots=True)
class Learned:
    """A constant of the machine, windings at 20 degC.

    name: "source_ohm" (from EMF to bus: windings, brushes' ohms, leads; without the sensor's
    shunt), "emf_v_per_tpm" (at the handle), "losses" (of the converter, times what the settings
    say), "slope" (k^2 / (gears' efficiency inertia), by which the volts sag after a step: the one
    figure here that knows the gears' loss). value, low, high: today, 95 %, in `unit`. rig_key:
    the key of the rig file that tells it, "" where several do; rig_value, rig_low, rig_high: what
    that makes of it, None without a rig; share, share_low, share_high: learned over rig's, by
    which that key's value would change.

    outings: that taught it. trend: "rising", "falling", "steady" or "too few". odds: that this
    is real, to one (the readings' alone: even before). real: they suffice, and the change's
    range leaves no zero; worn: real, and in the direction in which machines wear.
    change_percent ... since `began` (an outing's number); rate_percent ... in ten outings. Without
    a trend None. warmth: how the temperature was known: "followed" by the board, "reckoned" from
    the current, "mixed".
    """

    name: str
    unit: str
    value: float
    low: float
    high: float
    rig_key: str
    rig_value: float | None
    rig_low: float | None
    rig_high: float | None
    share: float | None
    share_low: float | None
    share_high: float | None
    outings: int
    trend: str
    odds: float
    real: bool
    worn: bool
    began: int | None
    change_percent: float | None
    change_low_percent: float | None
    change_high_percent: float | None
    rate_percent: float | None
    rate_low_percent: float | None
    rate_high_percent: float | None
    ways: tuple[str, ...]
    warmth: str
    points: tuple[Point, ...]


def same_machine(one: Mapping[str, Any], other: Mapping[str, Any]) -> bool:
    """By two boards' settings: the constants that are learned are still those, and so is what
    they are learned with."""
    for name in ("emf_uv_per_tpm", "source_mohm", "drop_mv", "loss_uw", "loss_mv", "loss_mohm"):
        a, b = one.get(name), other.get(name)
        if a is None or b is None or abs(a - b) > ANOTHER * max(abs(a), abs(b)):
            return False
    return True


def correction(settings: Mapping[str, Any]) -> str:
    """What of the settings says how the sensor's readings were corrected."""
    return "/".join(str(settings.get(name, "")) for name in (
        "chip", "bus_gain_ppm", "bus_offset_mv", "amps_gain_ppm", "amps_offset_ma", "shunt_uohm"))


def learn(
    taught: Sequence[Taught], rig: Rig | None, shunt_ohm: float = 0.0,
) -> tuple[Learned, ...]:
    """What outings of one machine have taught, those of WORN that are known. taught: the oldest
    first. shunt_ohm: of the settings."""
    out = []
    for name in WORN:
        found = [(n, one, lesson) for n, one in enumerate(taught)
                 for lesson in (*one.lessons, *_slope_lessons(one.lessons)) if lesson.name == name]
        # of one outing the surest way; a turn sensor needs no arm's law
        best: dict[int, tuple[int, Taught, Lesson]] = {}
        for row in sorted(found, key=lambda row: min(row[2].sd)):
            best.setdefault(row[0], row)
        rows = [best[n] for n in sorted(best)][-WINDOW:]
        if rows:
            out.append(_one(name, rows, rig, shunt_ohm))
    return tuple(out)


def _one(name: str, rows: Sequence[tuple[int, Taught, Lesson]], rig: Rig | None,
         shunt_ohm: float) -> Learned:
    readings = _readings(name, rows, rig, shunt_ohm)
    told = trend(readings, prior=_prior(name, rig), weather_sd=abs(_per_k(name)) * _air_k(rig))
    of_rig = _of_rig(name, rig)
    value, low, high = exp(told.now), exp(told.low), exp(told.high)
    up = told.odds_up >= told.odds_down
    odds = max(told.odds_up, told.odds_down)
    reach = 1.96 * told.change_sd
    change = (told.change, told.change - reach, told.change + reach)
    real = (len(readings) >= LEAST_READINGS and odds >= ODDS_REAL
            and change[1] * change[2] > 0)
    if len(readings) < LEAST_READINGS:
        direction = "too few"
    else:
        direction = ("rising" if up else "falling") if real else "steady"
    none: Three = (None, None, None)
    rate = (told.rate, told.rate_low, told.rate_high)
    moved = _three(100 * (exp(x) - 1) for x in change) if real else none
    in_ten = _three(100 * (exp(10 * x) - 1) for x in rate) if real else none
    shares = _three(x / of_rig[0] for x in (value, low, high)) if of_rig else none
    return Learned(
        name, UNITS[name], value, low, high, KEYS[name], *(of_rig or none), *shares,
        len(readings), direction, odds, real, real and (WORN[name] == "up") == up,
        rows[told.began][1].outing if real and told.began is not None else None,
        *moved, *in_ten, tuple(sorted({row[2].way for row in rows})), _warmth_known(rows),
        _points(rows, readings, told))


def _three(values: Iterable[float]) -> Three:
    one, low, high = values
    return one, low, high


def _slope_lessons(lessons: Sequence[Lesson]) -> list[Lesson]:
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


def _points(rows: Sequence[tuple[int, Taught, Lesson]], readings: Sequence[Reading],
            told: Trend) -> tuple[Point, ...]:
    off = np.array([reading.log for reading in readings]) - told.level
    wrong = {way: float(np.median([o for o, r in zip(off, readings, strict=True) if r.way == way]))
             for way in {reading.way for reading in readings}}
    out = []
    for (_, one, _), reading, level, low, high, odd in zip(
            rows, readings, told.level.tolist(), told.level_low.tolist(),
            told.level_high.tolist(), told.odd.tolist(), strict=True):
        at, reach = reading.log - wrong[reading.way], 1.96 * reading.sd
        out.append(Point(one.outing, exp(at), exp(at - reach), exp(at + reach),
                         exp(level), exp(low), exp(high), odd))
    return tuple(out)


def _warmth_known(rows: Sequence[tuple[int, Taught, Lesson]]) -> str:
    known = {lesson.rise_k is not None for _, _, lesson in rows}
    return "mixed" if len(known) > 1 else "followed" if True in known else "reckoned"


# ---- to 20 degC


def _readings(name: str, rows: Sequence[tuple[int, Taught, Lesson]], rig: Rig | None,
              shunt_ohm: float) -> list[Reading]:
    bursts = [lesson for _, _, lesson in rows if lesson.way == "second_load"]
    weights = _slopes(bursts, rig) if bursts else None
    out, day = [], 0.0
    for n, one, lesson in rows:
        day = one.day if one.day is not None else day + 1.0
        at, sd, common = lesson.log[0], lesson.sd[0], lesson.common_sd
        if lesson.way == "second_load":
            assert weights is not None
            at, sd, common = _weighed(lesson, weights)
        if name == "source_ohm":
            left = max(exp(at) - shunt_ohm, 0.05 * exp(at))
            sd, common = sd * exp(at) / left, common * exp(at) / left
            at = log(left)
        rise, rise_sd = _rise(lesson, rig, exp(at) if name == "source_ohm" else 0.0)
        per_k = _per_k(name)
        warm = _middle_c(rig) + rise - 20
        at -= log(max(1 + per_k * warm, 0.3))
        sd = hypot(sd, per_k * rise_sd, per_k * _air_k(rig) / 2)
        out.append(Reading(float(n), day, at, sd, f"{lesson.way} {one.correction}",
                           hypot(common, 0.01, per_k * rise_sd)))
    return _alike(out)


def _alike(readings: Sequence[Reading]) -> list[Reading]:
    """What is wrong in every reading of a way is one figure: were it larger here and smaller
    there, it would pass for a change."""
    usual = {way: float(np.median([r.common_sd for r in readings if r.way == way]))
             for way in {r.way for r in readings}}
    return [replace(r, common_sd=usual[r.way]) for r in readings]


def _slopes(bursts: Sequence[Lesson], rig: Rig | None) -> np.ndarray:
    """How likely each of burst_pool.SLOPES is, by the rig's inertia and by all bursts."""
    slope, factor = (None, LEAST_FACTOR) if rig is None else _rig_slope(rig)
    return known_slopes(slope, factor, [lesson.evidence for lesson in bursts])


def _rig_slope(rig: Rig) -> tuple[float, float]:
    """As the rig's EMF, gears and inertia have it, and within which factor."""
    factor = LEAST_FACTOR
    for key in ("motor.inertia_gcm2", "crank.inertia_gm2"):
        low, high = ends(rig, key)
        factor = max(factor, high, 1 / max(low, 1e-3))
    return slope_of(bank.emf_v_per_tpm(rig) / RPM, gears.efficiency(rig.stages),
                    _inertia(rig)), factor


def _inertia(rig: Rig) -> float:
    motors = rig.bank.series * rig.bank.parallel
    return float(rig.crank.inertia_kg_m2
                 + motors * rig.motor.inertia_kg_m2 * gears.ratio(rig.stages) ** 2)


def _weighed(lesson: Lesson, weights: np.ndarray) -> tuple[float, float, float]:
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
    rise = min(lesson.amps2 * ohm / motors * per_w, 80.0) * (1 - exp(-lesson.after_s / lag_s))
    return rise, 2 * RISE_SHARE * rise + 2.0


def _per_k(name: str) -> float:
    return {"source_ohm": COPPER_PER_K, "emf_v_per_tpm": FERRITE_PER_K,
            "slope": 2 * FERRITE_PER_K}.get(name, 0.0)


def _middle_c(rig: Rig | None) -> float:
    return 17.5 if rig is None else (rig.air.cold_c + rig.air.hot_c) / 2


def _air_k(rig: Rig | None) -> float:
    """Deviation of the air's temperature, K."""
    return (25.0 if rig is None else rig.air.hot_c - rig.air.cold_c) / AIR_DEVIATIONS


# ---- the rig's own values


def _of_rig(name: str, rig: Rig | None) -> tuple[float, float, float] | None:
    """(value, low, high) as the rig file has them."""
    if rig is None:
        return None
    if name == "losses":
        return 1.0, *ends(rig, "converter.loss_ohm")
    if name == "slope":
        value, factor = _rig_slope(rig)
        low, high = 1 / factor, factor
    elif name == "source_ohm":
        value = bank.source_ohm(rig)
        low, high = ends(rig, KEYS[name])
    else:
        value = bank.emf_v_per_tpm(rig)
        key = KEYS[name] if KEYS[name] in rig.origins else "motor.no_load_rpm"
        low, high = ends(rig, key)
    return value, value * low, value * high


def _prior(name: str, rig: Rig | None) -> tuple[float, float] | None:
    """What was measured on the bench: with that interval, and as much again for another way of
    measuring. A guess or a data sheet is none: the outings know better at once."""
    if rig is None or not KEYS[name]:
        return None
    origin = rig.origins.get(KEYS[name])
    of_rig = _of_rig(name, rig)
    if origin is None or origin.kind != "measured" or of_rig is None:
        return None
    return log(of_rig[0]), hypot(sd_of(of_rig[1], of_rig[2]), 0.05)
