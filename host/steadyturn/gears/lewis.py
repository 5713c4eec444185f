"""Bending of a tooth by Lewis: form factor, stress, dynamic factor. Equations in README.md."""

from __future__ import annotations

from functools import lru_cache
from math import cos, tan
from typing import Any

import numpy as np

from steadyturn.gears.outline import fillet_curve
from steadyturn.gears.teeth import Gear, base_half_angle, pressure_at

# Form factors of unshifted 20 degree teeth, load at the tip: Shigley, Mechanical Engineering
# Design, table 14-2; 10 and 11 from the table of gearpy 1.3.1
TABLE = {
    10: .201, 11: .226, 12: .245, 13: .261, 14: .277, 15: .290, 16: .296, 17: .303, 18: .309,
    19: .314, 20: .322, 21: .328, 22: .331, 24: .337, 26: .346, 28: .353, 30: .359, 34: .371,
    38: .384, 43: .397, 50: .409, 60: .422, 75: .435, 100: .447, 150: .460, 300: .472, 400: .480,
}
RACK = .485
BARTH_M_S = 6.1  # cut or milled teeth, Barth: Shigley 14-2 (1200 ft/min)
POINTS = 20


def table_factor(teeth: float) -> float:
    """The table's form factor, between its rows by 1/teeth.

    >>> table_factor(20), round(table_factor(32), 3), table_factor(1e9) < RACK
    (0.322, 0.365, True)
    """
    counts = np.array([*TABLE, np.inf])
    values = np.array([*TABLE.values(), RACK])
    return float(np.interp(-1 / teeth, -1 / counts, values))


def drawn_factor(gear: Gear) -> float:
    """Form factor from the tooth's own shape: Y = t^2 / (6 h m) in the weakest section of the
    fillet, the load at the tip and h measured from where its line crosses the tooth's middle.

    >>> round(drawn_factor(Gear(teeth=30, module_mm=1)), 3)
    0.36
    """
    radius, angle = fillet_curve(gear, POINTS)
    along, thick = radius * np.cos(angle), 2 * radius * np.sin(angle)
    slope = tan(pressure_at(gear, gear.tip_mm)) - base_half_angle(gear)
    crossing = gear.base_mm / cos(slope)
    arm = crossing - along
    return float(np.min(thick**2 / (6 * np.maximum(arm, 1e-9) * gear.module_mm)))


@lru_cache(maxsize=4096)
def form_factor(gear: Gear) -> float:
    """Form factor of this tooth: the table's for its count, times what its shift, thinning and
    pressure angle change in the drawn one.

    >>> round(form_factor(Gear(teeth=20, module_mm=2)), 3)
    0.322
    >>> form_factor(Gear(teeth=12, module_mm=2, shift=0.3)) > 0.3
    True
    """
    plain = Gear(teeth=max(gear.teeth, min(TABLE)), module_mm=gear.module_mm)
    correction = table_factor(plain.teeth) / drawn_factor(plain)
    return drawn_factor(gear) * correction


def barth(speed_m_s: Any) -> Any:
    """Dynamic factor (>= 1) at a pitch line speed; a number or an array.

    >>> round(barth(628 * 0.00508), 2)
    1.52
    """
    return 1 + speed_m_s / BARTH_M_S


def bending_mpa(force_n: float, gear: Gear, width_mm: float, dynamic: float = 1.0) -> float:
    """Stress at the root [MPa] with the whole force [N] on one tooth.

    >>> round(bending_mpa(100.0, Gear(teeth=20, module_mm=2), 10.0), 2)
    15.53
    """
    return dynamic * force_n / (width_mm * gear.module_mm * form_factor(gear))
