"""The machine's constants as its outings have taught them, and whether they change.

From each outing's lessons (`lessons.py`) over readings at 20 degC (`readings.py`) to the
constants with 95 % intervals, to the odds that one has changed, and to those that it never was
what the rig file says (`drift.py`, `rig_values.py`). A pure function of outings and rig: it can
be made again at any time. Equations, sources and error rates are on the page drift.md.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from math import exp
from typing import Any

import numpy as np

from steadyturn.rig.types import Rig
from steadyturn.sessions.drift import WINDOW, Reading, Trend, trend
from steadyturn.sessions.lesson import Lesson
from steadyturn.sessions.readings import Row, at_20, slope_lessons, weather_sd
from steadyturn.sessions.rig_values import KEYS, measured, of_rig

Three = tuple[float | None, float | None, float | None]
NONE: Three = (None, None, None)

ODDS_REAL = 15.0  # with it both error rates of drift.md hold, with margin
LEAST_READINGS = 8  # before that the scatter itself is hardly known
ANOTHER = 0.02  # EMF, resistance or drop in the settings by so much: another machine, or one that
# was measured anew: what is learned begins there
WORN = {"source_ohm": "up", "emf_v_per_tpm": "down", "losses": "up", "slope": "up"}
UNITS = {"source_ohm": "ohm", "emf_v_per_tpm": "V per turn/min", "losses": "times the settings'",
         "slope": "ohm/s"}
LEAST_DIFFERS = 3  # outings: of two nobody knows which is usual
OPEN = 2.0  # times: a range that is wider from end to end says little; engineering judgement


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
    which that key's value would change. odds_other: that what the rig file has as measured is not
    this machine's, to one, by the readings alone; None where it has nothing measured. differs:
    the two ranges have nothing in common. open: what is learned is too wide to say much.

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
    odds_other: float | None
    differs: bool
    open: bool
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
        found = [Row(n, one.outing, one.day, one.correction, lesson)
                 for n, one in enumerate(taught)
                 for lesson in (*one.lessons, *slope_lessons(one.lessons)) if lesson.name == name]
        # of one outing the surest way; a turn sensor needs no arm's law
        best: dict[int, Row] = {}
        for row in sorted(found, key=lambda row: min(row.lesson.sd)):
            best.setdefault(row.at, row)
        rows = [best[n] for n in sorted(best)][-WINDOW:]
        if rows:
            out.append(_one(name, rows, rig, shunt_ohm))
    return tuple(out)


def _one(name: str, rows: Sequence[Row], rig: Rig | None, shunt_ohm: float) -> Learned:
    readings = at_20(name, rows, rig, shunt_ohm)
    told = trend(readings, prior=measured(name, rig), weather_sd=weather_sd(name, rig))
    value, low, high = exp(told.now), exp(told.low), exp(told.high)
    rigs = of_rig(name, rig)
    shares = _three(x / rigs[0] for x in (value, low, high)) if rigs else NONE
    differs = (rigs is not None and told.odds_other is not None and len(rows) >= LEAST_DIFFERS
               and (low > rigs[2] or high < rigs[1]))
    up = told.odds_up >= told.odds_down
    odds = max(told.odds_up, told.odds_down)
    reach = 1.96 * told.change_sd
    real = len(rows) >= LEAST_READINGS and odds >= ODDS_REAL and abs(told.change) > reach
    if len(rows) < LEAST_READINGS:
        direction = "too few"
    else:
        direction = ("rising" if up else "falling") if real else "steady"
    moved = in_ten = NONE
    if real:
        moved = _three(100 * (exp(told.change + x) - 1) for x in (0, -reach, reach))
        in_ten = _three(100 * (exp(10 * x) - 1)
                        for x in (told.rate, told.rate_low, told.rate_high))
    return Learned(
        name, UNITS[name], value, low, high, KEYS[name], *(rigs or NONE), *shares,
        told.odds_other, differs, high > OPEN * low, len(rows), direction, odds, real,
        real and (WORN[name] == "up") == up,
        rows[told.began].outing if real and told.began is not None else None,
        *moved, *in_ten, tuple(sorted({row.lesson.way for row in rows})), _warmth_known(rows),
        _points(rows, readings, told))


def _three(values: Iterable[float]) -> Three:
    one, low, high = values
    return one, low, high


def _points(rows: Sequence[Row], readings: Sequence[Reading], told: Trend) -> tuple[Point, ...]:
    off = np.array([reading.log for reading in readings]) - told.level
    wrong = {way: float(np.median([o for o, r in zip(off, readings, strict=True) if r.way == way]))
             for way in {reading.way for reading in readings}}
    out = []
    for row, reading, level, low, high, odd in zip(
            rows, readings, told.level.tolist(), told.level_low.tolist(),
            told.level_high.tolist(), told.odd.tolist(), strict=True):
        at, reach = reading.log - wrong[reading.way], 1.96 * reading.sd
        out.append(Point(row.outing, exp(at), exp(at - reach), exp(at + reach),
                         exp(level), exp(low), exp(high), odd))
    return tuple(out)


def _warmth_known(rows: Sequence[Row]) -> str:
    known = {row.lesson.rise_k is not None for row in rows}
    return "mixed" if len(known) > 1 else "followed" if True in known else "reckoned"
