"""The outline of a spur gear: true involute flanks and the fillet that the generating rack
leaves (a trochoid's parallel curve), as points. Equations in README.md.

A gear stands with its middle at (0, 0) and the middle of a tooth on the x axis.
"""

from __future__ import annotations

from dataclasses import replace
from math import ceil, cos, pi, sqrt, tan

import numpy as np
from numpy.typing import NDArray

from steadyturn.gears.teeth import (
    Gear,
    form_mm,
    half_angle,
    is_undercut,
)

Points = NDArray[np.float64]  # [point, x or y]

FLANK_POINTS, FILLET_POINTS, TIP_POINTS = 16, 12, 3
RELIEVED = 0.7  # of a flank's roll, from the fillet, before tip relief begins: common practice


def outline(gear: Gear, *, grown_mm: float = 0.0, tip_relief_mm: float = 0.0,
            flank: int = FLANK_POINTS, fillet: int = FILLET_POINTS) -> Points:
    """Points of the whole outline, counter-clockwise, the last not equal to the first.

    grown_mm: how far the outline is to stand outside of the gear's (negative: inside), along
    its normal, to make up for what a printer puts on or takes off; tip_relief_mm: how much is
    taken off each flank at the tip, growing with the square of the way along its outer part
    (RELIEVED).

    >>> points = outline(Gear(teeth=20, module_mm=1))
    >>> bool(abs(np.hypot(*points.T).max() - 11.0) < 1e-9)
    True
    """
    if is_undercut(gear):
        raise ValueError(f"a rack undercuts {gear.teeth} teeth with a shift of {gear.shift:.3f}")
    half = half_tooth(moved_out(gear, grown_mm), tip_relief_mm=tip_relief_mm, flank=flank,
                      fillet=fillet)
    # half: radius and angle off the tooth's middle, from the root's middle to the tip's
    radius, angle = half
    radius = np.concatenate([radius, radius[-2::-1]])
    angle = np.concatenate([-angle, angle[-2::-1]])
    turn = 2 * pi / gear.teeth
    # the first point (middle of the space before) is the last of the tooth before
    radius, angle = radius[1:], angle[1:]
    angles = angle[None, :] + turn * np.arange(gear.teeth)[:, None]
    return np.stack([(radius * np.cos(angles)).ravel(), (radius * np.sin(angles)).ravel()], axis=1)


def moved_out(gear: Gear, by_mm: float) -> Gear:
    """The gear whose outline stands outside of this one's by so much along its normals (negative:
    inside). The curve beside an involute is one of the same base circle, turned; that beside the
    fillet comes of a rack that is smaller by as much. (A pinion at the limit of undercut is
    undercut by some um when moved in.)

    >>> from steadyturn.gears.teeth import base_half_angle
    >>> gear = Gear(teeth=24, module_mm=2)
    >>> less = moved_out(gear, -0.1)
    >>> round(gear.tip_mm - less.tip_mm, 9), round(gear.root_mm - less.root_mm, 9)
    (0.1, 0.1)
    >>> round((base_half_angle(gear) - base_half_angle(less)) * gear.base_mm, 9)
    0.1
    """
    m = gear.module_mm
    return replace(gear, thinning_mm=gear.thinning_mm - 2 * by_mm / cos(gear.pressure_rad),
                   dedendum=gear.dedendum - by_mm / m, tip_cut=gear.tip_cut - by_mm / m,
                   fillet=max(0.0, gear.rack_fillet_mm - by_mm) / m)


def flank_roll_mm(gear: Gear) -> tuple[float, float]:
    """Lengths of the base tangent to the flank's first and last point: its radii of curvature
    there."""
    return (sqrt(max(form_mm(gear)**2 - gear.base_mm**2, 0.0)),
            sqrt(gear.tip_mm**2 - gear.base_mm**2))


def flank_points(gear: Gear, within_mm: float) -> int:
    """How many points of a flank bring its chords so near to the curve.

    >>> gear = Gear(teeth=20, module_mm=3)
    >>> flank_points(gear, 0.003), flank_points(gear, 0.0003)
    (12, 35)
    """
    low, high = flank_roll_mm(gear)
    whole = (high**1.5 - low**1.5) / (1.5 * sqrt(8) * gear.base_mm)
    return max(4, ceil(whole / sqrt(within_mm)) + 1)


def half_tooth(gear: Gear, *, tip_relief_mm: float = 0.0, flank: int = FLANK_POINTS,
               fillet: int = FILLET_POINTS) -> tuple[Points, Points]:
    """Radii and angles off the tooth's middle (positive), from the middle of the space at the
    root to the middle of the tip."""
    root_r, root_a = fillet_curve(gear, fillet)
    low, high = flank_roll_mm(gear)
    # a chord of the roll dr is roll dr / base long and stands roll dr^2 / (8 base^2) inside of the
    # curve: as much everywhere along the roll to the power of 1.5
    roll = np.linspace(low**1.5, high**1.5, flank) ** (2 / 3)
    flank_r = np.hypot(gear.base_mm, roll)
    flank_a = np.array([half_angle(gear, float(r)) for r in flank_r])
    if tip_relief_mm:
        begins = low + RELIEVED * (high - low)
        way = np.clip((roll - begins) / (high - begins), 0, None)
        flank_a = flank_a - tip_relief_mm * way**2 / flank_r
    tip_a = np.linspace(flank_a[-1], 0.0, TIP_POINTS + 1)[1:]
    bottom = np.array([pi / gear.teeth])
    keep = root_a < pi / gear.teeth - 1e-9
    radius = np.concatenate([[gear.root_mm], root_r[keep], flank_r[1:],
                             np.full(len(tip_a), gear.tip_mm)])
    angle = np.concatenate([bottom, root_a[keep], flank_a[1:], tip_a])
    return radius, angle


def fillet_curve(gear: Gear, points: int = FILLET_POINTS) -> tuple[Points, Points]:
    """Radii and angles off the tooth's middle of the fillet, from the root circle to where
    the flank begins: what the round corner of the rack leaves while it rolls by."""
    a, m, rho = gear.pressure_rad, gear.module_mm, gear.rack_fillet_mm
    half = pi * m / 4 + gear.thinning_mm / 2  # of a rack's tooth on its datum line
    depth = gear.dedendum * m - rho  # of the corner's middle below the datum line
    across = half - depth * tan(a) - rho / cos(a)
    below = gear.shift * m - depth  # of the corner's middle over the rolling line (negative)
    fine = np.linspace(0.0, pi / 2 - a, 16 * points)

    def trace(theta: Points) -> tuple[Points, Points]:
        # the normal in the touching point goes through the pitch point
        travel = -below * np.tan(theta) - across
        x = across + travel + rho * np.sin(theta)
        y = gear.pitch_mm + below - rho * np.cos(theta)
        # the rack's tooth is over the space's middle; angles clockwise from there
        off_space = np.arctan2(x, y) - travel / gear.pitch_mm
        return np.hypot(x, y), pi / gear.teeth - off_space

    radius, angle = trace(fine)
    steps = np.hypot(np.diff(radius), radius[1:] * np.diff(angle))
    way = np.concatenate([[0.0], np.cumsum(steps)])
    even = np.interp(np.linspace(0.0, way[-1], points), way, fine)
    return trace(even)


def area_mm2(points: Points) -> float:
    """Area inside an outline.

    >>> area_mm2(np.array([[0, 0], [2, 0], [2, 1], [0, 1.0]]))
    2.0
    """
    x, y = points.T
    return float(abs(np.dot(x, np.roll(y, -1)) - np.dot(y, np.roll(x, -1))) / 2)


def tip_width_mm(gear: Gear) -> float:
    """Width of the tooth's tip land; negative where the tooth is pointed before it.

    >>> round(tip_width_mm(Gear(teeth=30, module_mm=2)), 2)
    1.47
    """
    return 2 * half_angle(gear, gear.tip_mm) * gear.tip_mm


def cut_to_width(gear: Gear, least_mm: float) -> Gear:
    """The gear with its tip cut where its teeth would be narrower than that there.

    >>> sharp = Gear(teeth=8, module_mm=2, shift=0.54)
    >>> tip_width_mm(sharp) < 0.4, round(tip_width_mm(cut_to_width(sharp, 0.4)), 3)
    (True, 0.4)
    """
    if tip_width_mm(gear) >= least_mm:
        return gear
    low, high = gear.tip_cut, gear.addendum + gear.shift
    for _ in range(60):
        middle = (low + high) / 2
        if tip_width_mm(replace(gear, tip_cut=middle)) < least_mm:
            low = middle
        else:
            high = middle
    return replace(gear, tip_cut=high)

