"""Every single stage that can be made, as arrays: what the search of trains looks at.

Lengths in modules. The rule for shifts is that of `pairs`; formulas those of `teeth`.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from math import cos, gcd, pi, sin

import numpy as np
from numpy.typing import NDArray

from steadyturn.gears import lewis
from steadyturn.gears.pairs import LEAST_CONTACT_RATIO, shifts
from steadyturn.gears.teeth import Gear, rack_depth, working_pressure

Floats = NDArray[np.float64]
Whole = NDArray[np.int64]

SMALLEST_PINION, LARGEST_PINION, LARGEST_WHEEL = 8, 32, 110
LEAST_RATIO, MOST_RATIO = 1.25, 8.0  # of one printed mesh; common practice, no source


@dataclass(frozen=True)
class Stages:
    """driver, driven: teeth; centre: distance of the axes; driver_tip, driven_tip, driven_root:
    radii; sliding: what friction is multiplied with for the loss; form: the weaker wheel's form
    factor; hunting: every tooth meets every other (no common divisor)."""

    driver: Whole
    driven: Whole
    ratio: Floats
    centre: Floats
    driver_tip: Floats
    driven_tip: Floats
    driven_root: Floats
    contact: Floats
    sliding: Floats
    form: Floats
    hunting: NDArray[np.bool_]

    def only(self, keep: NDArray[np.bool_] | Whole) -> Stages:
        return Stages(*(getattr(self, name)[keep] for name in self.__dataclass_fields__))


@lru_cache(maxsize=8)
def stages(pressure_rad: float, most_teeth: int = LARGEST_WHEEL) -> Stages:
    """All stages that speed up, without undercut, with enough teeth in contact.

    >>> found = stages(20 * pi / 180, 60)
    >>> where = np.flatnonzero((found.driver == 60) & (found.driven == 12))
    >>> found.centre[where].tolist(), found.ratio[where].tolist()
    ([36.0], [5.0])
    """
    driver, driven = (side.ravel() for side in np.meshgrid(
        np.arange(10, most_teeth + 1), np.arange(SMALLEST_PINION, LARGEST_PINION + 1),
        indexing="ij"))
    ratio = driver / driven
    fits = (ratio >= LEAST_RATIO) & (ratio <= MOST_RATIO)
    driver, driven, ratio = driver[fits], driven[fits], ratio[fits]
    shift = np.array([shifts(int(b), int(a), 1.0, pressure_rad)
                      for a, b in zip(driver, driven, strict=True)])
    small, large = shift.T
    a = pressure_rad
    total = small + large
    working = np.array([a if t == 0 else working_pressure(int(x), int(y), float(t), a)
                        for x, y, t in zip(driver, driven, total, strict=True)])
    centre = (driver + driven) / 2 * cos(a) / np.cos(working)
    cut = np.maximum(0.0, total - (centre - (driver + driven) / 2))
    driver_tip = driver / 2 + 1 + large - cut
    driven_tip = driven / 2 + 1 + small - cut
    ahead = []
    for teeth, tip in ((driver, driver_tip), (driven, driven_tip)):
        base = teeth / 2 * cos(a)
        ahead.append((np.sqrt(tip**2 - base**2) - base * np.tan(working)) / (pi * cos(a)))
    e1, e2 = ahead
    contact = e1 + e2
    sliding = pi * (ratio + 1) / driver * (1 - contact + e1**2 + e2**2)
    keep = contact >= LEAST_CONTACT_RATIO
    keep &= ~_deep(driver, driven, large, small, cut, centre, a)
    form = np.array([min(_form(int(x), float(p), a), _form(int(y), float(q), a))
                     for x, y, p, q in zip(driver, driven, large, small, strict=True)])
    hunting = np.array([gcd(int(x), int(y)) == 1 for x, y in zip(driver, driven, strict=True)])
    every = Stages(driver, driven, ratio, centre, driver_tip, driven_tip,
                   driven / 2 + small - 1.25, contact, sliding, form, hunting)
    return every.only(keep)


def _deep(driver: Whole, driven: Whole, large: Floats, small: Floats, cut: Floats,
          centre: Floats, a: float) -> NDArray[np.bool_]:
    """Where a tip would reach below the mate's involute."""
    depth = rack_depth(Gear(teeth=20, module_mm=1.0, pressure_rad=a))
    bad = np.zeros(driver.shape, dtype=bool)
    line = np.sqrt(centre**2 - ((driver + driven) / 2 * cos(a)) ** 2)
    for teeth, shift, mate, mate_shift in ((driver, large, driven, small),
                                           (driven, small, driver, large)):
        tip, base = mate / 2 + 1 + mate_shift - cut, mate / 2 * cos(a)
        left = line - np.sqrt(tip**2 - base**2)
        ends = teeth / 2 * sin(a) - (depth - shift) / sin(a)
        bad |= (left < 0) | (left < np.maximum(ends, 0.0) - 1e-9)
    return bad


@lru_cache(maxsize=8192)
def _form(teeth: int, shift: float, a: float) -> float:
    return lewis.form_factor(Gear(teeth=teeth, module_mm=1.0, shift=shift, pressure_rad=a))


def thinned(form: Floats, backlash: Floats) -> Floats:
    """Form factors of teeth that are thinner by half of a backlash [modules]: the root, about
    two modules wide, loses as much and bends with its square."""
    return form * (1 - backlash / 4) ** 2
