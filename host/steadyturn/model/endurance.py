"""How long an arm keeps a power, and the breaks it needs; equations in endurance.md.

A rough guide, not medical advice: people differ by more than the band says.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import inf

import numpy as np
from numpy.typing import ArrayLike, NDArray

from steadyturn.rig.person import age_share
from steadyturn.rig.types import Arm, Rig

Floats = NDArray[np.float64]
Band = tuple[float, float, float]  # low, middle, high

HP_W = 745.7  # mechanical horsepower
TOP_HP, DECADE_HP = 0.35, 0.092  # Krendel: P = 0.35 - 0.092 log10 t
FIRST_MIN, LAST_MIN = 4.0, 480.0  # the formula's range, 4 min to 8 h
KEPT_MIN = 10.0  # how long arm.power_w is kept

SPREAD: Band = (0.5, 1.0, 1.5)  # 10-20-30 W: engineering judgement, from memory
DAILY = 0.2  # even a measured arm: from day to day, common practice, no source
FALL = np.array([0.2, 0.1, 0.0])  # of the power in each tenfold of time, beyond the legs' fall
PEAK = np.array([2.5, 3.0, 3.5])  # of power_w for a minute: 50-70 W of 20 W, from memory
SPRINT = 0.35  # below a minute P ~ t**-SPRINT: 2 hp for 0.1 min, 0.5 for 5 (Wilkie, athletes)

MUSCLE: Band = (0.15, 0.20, 0.25)  # work out over food in, see endurance.md
KCAL_J = 4184.0

MOST_WORK = 5 / 6  # 50 minutes of an hour at most: OCRA's 5 to 1, from memory
MOST_STRETCH_MIN = 15.0  # short and often rather than long: common practice, no source
LEAST_STRETCH_MIN = 1.0


def krendel_w(minutes: ArrayLike, age_years: float = 35.0) -> Floats:
    """Power [W] that a healthy labourer keeps with the whole body for so many minutes, shaped
    alike; times beyond 4 min to 8 h are taken as those ends.

    P[hp] = 0.35 - 0.092 log10 t[min]: Krendel, in Marks' Handbook sec. 9 (from memory);
    formula, range and ages as quoted on scribd.com/document/631122890 and
    progressivegardening.com, "Man as a power source".

    >>> (krendel_w([12, 240]) / 745.7).round(2).tolist()
    [0.25, 0.13]
    """
    decades = np.log10(np.clip(np.asarray(minutes, dtype=float), FIRST_MIN, LAST_MIN))
    return (TOP_HP - DECADE_HP * decades) * HP_W * age_share(age_years)


def minutes(arm: Arm, arm_w: ArrayLike, spread: Band = SPREAD) -> tuple[Floats, Floats, Floats]:
    """Minutes that this arm keeps arm_w [W] without a break: (low, middle, high), each shaped
    like arm_w. 480 means eight hours or more; below a minute is "not really".

    spread: what power_w is known to, as shares of it (see `spread_of`). Rough guide, not
    medical advice. Raises ValueError for a negative power.

    >>> low, middle, high = minutes(Arm(power_w=20), 20)
    >>> float(low.round(1)), float(middle.round(1)), float(high.round(1))
    (2.5, 10.0, 86.1)
    """
    watts = np.asarray(arm_w, dtype=float)
    if (watts < 0).any():
        raise ValueError("arm_w must not be negative")
    ratio = np.maximum(watts / arm.power_w, 1e-12)
    low, middle, high = (_inverse(ratio, which, spread[which]) for which in range(3))
    return low, middle, high


def power_w(arm: Arm, minutes: ArrayLike, spread: Band = SPREAD) -> tuple[Floats, Floats, Floats]:
    """Power [W] that this arm keeps for so many minutes (above 0; beyond 480 as 480):
    (low, middle, high), each shaped like minutes. The inverse of `minutes`.

    >>> [float(watts.round(1)) for watts in power_w(Arm(power_w=20), 60)]
    [6.1, 13.3, 21.7]
    """
    time = np.minimum(np.asarray(minutes, dtype=float), LAST_MIN)
    if not (time > 0).all():
        raise ValueError("minutes must be above 0")
    low, middle, high = (arm.power_w * _share(time, which, spread[which]) for which in range(3))
    return low, middle, high


def spread_of(rig: Rig) -> Band:
    """Shares of power_w that bound it: the range its origin has, and never less than what an
    arm differs from day to day.

    >>> from steadyturn.rig.examples import example_path
    >>> from steadyturn.rig.file import read_rig
    >>> spread_of(read_rig(example_path("lakeside-hut")))
    (0.5, 1.0, 1.5)
    """
    origin = rig.origins.get("arm.power_w")
    if origin is None:
        return SPREAD
    low, high = origin.low / origin.value, origin.high / origin.value
    return min(low, 1 - DAILY), 1.0, max(high, 1 + DAILY)


def _long(decades: Floats, which: int, spread: float) -> Floats:
    """Share of power_w kept for 10**decades minutes, within the formula's range."""
    legs = (TOP_HP - DECADE_HP * decades) / (TOP_HP - DECADE_HP * np.log10(KEPT_MIN))
    return spread * legs * (1 - FALL[which] * (decades - np.log10(KEPT_MIN)))


def _short(which: int, spread: float) -> tuple[float, float, float]:
    """From 1 to 4 min the logarithm of the share falls straight with that of time:
    (decades at 4 min, ln share at a minute, ln share at 4 min)."""
    end = float(np.log10(FIRST_MIN))
    at_end = float(_long(np.array(end), which, spread))
    return end, float(np.log(max(PEAK[which], 1.2 * at_end))), float(np.log(at_end))


def _share(time: Floats, which: int, spread: float) -> Floats:
    decades = np.log10(time)
    end, top, bottom = _short(which, spread)
    short = np.exp(top + (bottom - top) * np.clip(decades, 0.0, end) / end
                   - SPRINT * np.log(10) * np.minimum(decades, 0.0))
    return np.where(decades < end, short, _long(np.maximum(decades, end), which, spread))


def _inverse(ratio: Floats, which: int, spread: float) -> Floats:
    """Minutes for a share of power_w: the smaller root of a quadratic in decades."""
    end, top, bottom = _short(which, spread)
    fall = FALL[which]
    kept = ratio / spread * (TOP_HP - DECADE_HP * np.log10(KEPT_MIN))
    a = DECADE_HP * fall
    b = TOP_HP * fall + DECADE_HP * (1 + fall)
    c = TOP_HP * (1 + fall) - kept
    long = 2 * c / (b + np.sqrt(np.maximum(b * b - 4 * a * c, 0.0)))
    height = np.log(ratio)
    short = end * (top - np.minimum(height, top)) / (top - bottom)
    short -= np.maximum(height - top, 0.0) / (SPRINT * np.log(10))
    decades = np.where(height > bottom, short, np.maximum(long, end))
    found = 10 ** np.clip(decades, -9.0, None)
    return np.where(decades < np.log10(LAST_MIN), found, LAST_MIN)


@dataclass(frozen=True)
class Breaks:
    """Work and rest, by the middle arm: work_min and rest_min [min] of each round (rest 0: none
    needed); elapsed_min, breaks counted: (low, middle, high), inf where it is more than one
    day's work; day_min: cranking [min] that fits into eight hours."""

    work_min: float
    rest_min: float
    elapsed_min: Band
    day_min: Band


def breaks(arm: Arm, arm_w: float, crank_min: float, spread: Band = SPREAD) -> Breaks:
    """Breaks for crank_min [min] of cranking at arm_w [W].

    The mean power over work and rest is at most what the arm keeps for that whole time, work at
    most 50 minutes of an hour, in stretches of at most 15 min and half of what the arm keeps.

    >>> plan = breaks(Arm(power_w=20), 12.0, 60.0)
    >>> round(plan.work_min), round(plan.rest_min), [round(x) for x in plan.elapsed_min]
    (15, 3, [69, 69, 166])
    """
    kept = [float(x) for x in minutes(arm, arm_w, spread)]
    plans = [_plan(arm, arm_w, crank_min, which, spread[which], kept[which])
             for which in (2, 1, 0)]  # a strong arm is done first
    return Breaks(work_min=plans[1][0], rest_min=plans[1][1],
                  elapsed_min=(plans[0][2], plans[1][2], plans[2][2]),
                  day_min=(plans[2][3], plans[1][3], plans[0][3]))


def _plan(arm: Arm, arm_w: float, crank_min: float, which: int, spread: float,
          kept_min: float) -> tuple[float, float, float, float]:
    """(stretch, rest, elapsed, most in a day), all [min], of one arm."""

    def work_share(elapsed: float) -> float:
        kept_w = arm.power_w * float(_share(np.array(max(elapsed, 1.0)), which, spread))
        return min(MOST_WORK, kept_w / arm_w) if arm_w > 0 else MOST_WORK

    stretch = min(MOST_STRETCH_MIN, max(0.5 * kept_min, min(LEAST_STRETCH_MIN, kept_min)))
    day = LAST_MIN * work_share(LAST_MIN)
    if crank_min <= stretch:
        return crank_min, 0.0, crank_min, day
    low, high = crank_min, LAST_MIN
    if crank_min > day:
        share = work_share(LAST_MIN)
        return stretch, stretch * (1 / share - 1), inf, day
    for _ in range(60):  # elapsed times its share of work grows with elapsed
        middle = 0.5 * (low + high)
        low, high = (low, middle) if middle * work_share(middle) >= crank_min else (middle, high)
    idle = 1 / work_share(high) - 1
    # after the last stretch there is none; a last one that is short has a short one before it
    return stretch, stretch * idle, crank_min + (crank_min - stretch) * idle, day


def food_kcal(arm_j: float) -> Band:
    """Food energy [kcal] burnt for arm_j [J] of work, resting not counted: (low, middle, high).

    >>> [round(kcal, 1) for kcal in food_kcal(25_000)]
    [23.9, 29.9, 39.8]
    """
    worst, usual, best = (arm_j / KCAL_J / share for share in MUSCLE)
    return best, usual, worst
