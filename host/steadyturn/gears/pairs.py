"""Two wheels made for each other: shifts without undercut, tip clearance, backlash.

The rule for shifts: the smaller wheel gets what keeps the rack from undercutting it, the
larger one as much less, so that the centre distance stays that of unshifted wheels; where
the larger would then be undercut itself, it gets what it needs and the distance grows. A
distance that is asked for decides the sum instead.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil, cos, pi

from steadyturn.gears import teeth
from steadyturn.gears.outline import cut_to_width, tip_width_mm
from steadyturn.gears.teeth import DEG20, Gear

LEAST_CONTACT_RATIO = 1.2  # common practice, no source
LEAST_TIP_MM = 0.4  # width of a tip: a nozzle's line; common practice, no source
MOST_SHIFT = 1.0  # beyond that teeth are pointed; common practice, no source
STEP = 0.01  # shifts are rounded up to it, so that they can be written down


class NoPair(ValueError):
    """These two wheels cannot be made to mesh; the text says why."""


@dataclass(frozen=True, kw_only=True)
class Pair:
    """driver, driven: in the order of the power; centre_mm: between their axes."""

    driver: Gear
    driven: Gear
    centre_mm: float

    @property
    def mesh(self) -> teeth.Mesh:
        return teeth.mesh(self.driver, self.driven, self.centre_mm)


def pair(driver_teeth: int, driven_teeth: int, module_mm: float, *, backlash_mm: float = 0.0,
         pressure_rad: float = DEG20, centre_mm: float | None = None) -> Pair:
    """Wheels of so many teeth; NoPair where there are none.

    centre_mm: left out, that of the rule above.

    >>> p = pair(60, 12, 2.0, backlash_mm=0.2)
    >>> p.centre_mm, p.driven.shift, round(p.mesh.backlash_mm, 9)
    (72.0, 0.3, 0.2)
    """
    small, large = sorted((driver_teeth, driven_teeth))
    x_small, x_large = shifts(small, large, module_mm, pressure_rad, centre_mm)
    centre = teeth.centre_mm(small, large, module_mm, x_small + x_large, pressure_rad)
    if centre_mm is not None:
        centre = centre_mm
    # tips are cut so that the clearance in the roots is the rack's again (ISO 21771: k)
    cut = max(0.0, x_small + x_large - (centre / module_mm - (small + large) / 2))
    working = teeth.working_pressure(small, large, x_small + x_large, pressure_rad)
    thin = backlash_mm / 2 * cos(working) / cos(pressure_rad)
    made = [cut_to_width(Gear(teeth=z, module_mm=module_mm, shift=x, pressure_rad=pressure_rad,
                              tip_cut=cut, thinning_mm=thin), LEAST_TIP_MM)
            for z, x in ((small, x_small), (large, x_large))]
    if driver_teeth > driven_teeth:
        made.reverse()
    found = Pair(driver=made[0], driven=made[1], centre_mm=centre)
    _check(found)
    return found


def shifts(small: int, large: int, module_mm: float, pressure_rad: float = DEG20,
           centre_mm: float | None = None) -> tuple[float, float]:
    """Shifts of the smaller and the larger wheel.

    >>> shifts(12, 60, 2.0), shifts(10, 14, 1.0), shifts(20, 60, 1.0)
    ((0.3, -0.3), (0.42, 0.19), (0.0, 0.0))
    """
    least_small, least_large = (_least(z, pressure_rad) for z in (small, large))
    x_small = max(0.0, least_small)
    if centre_mm is None:
        x_large = 0.0 - x_small if -x_small >= least_large else max(0.0, least_large)
        return x_small, x_large
    try:
        total = teeth.shifts_for(small, large, module_mm, centre_mm, pressure_rad)
    except ValueError as wrong:
        raise NoPair(str(wrong)) from None
    x_small = max(x_small, total / 2 if total > 0 else 0.0)
    x_large = total - x_small
    if x_large < least_large - STEP:
        raise NoPair(f"{large} teeth would be undercut at a centre distance of "
                     f"{centre_mm:.2f} mm")
    if max(abs(x_small), abs(x_large)) > MOST_SHIFT:
        raise NoPair(f"a centre distance of {centre_mm:.2f} mm asks for shifts beyond "
                     f"{MOST_SHIFT}")
    return x_small, x_large


def _least(z: int, pressure_rad: float) -> float:
    depth = teeth.rack_depth(Gear(teeth=z, module_mm=1.0, pressure_rad=pressure_rad))
    exact = teeth.least_shift(z, pressure_rad, depth)
    return ceil(exact / STEP - 1e-9) * STEP if exact > 0 else exact


def _check(found: Pair) -> None:
    one, two = found.driver, found.driven
    names = f"{one.teeth} and {two.teeth} teeth"
    for gear in (one, two):
        if teeth.is_undercut(gear):
            raise NoPair(f"{gear.teeth} teeth would be undercut")
        if tip_width_mm(gear) < LEAST_TIP_MM - 1e-6:
            raise NoPair(f"{gear.teeth} teeth of module {gear.module_mm:g} would be pointed")
    if teeth.interferes(one, two, found.centre_mm) or teeth.interferes(
            two, one, found.centre_mm):
        raise NoPair(f"{names}: a tip would reach the other's fillet")
    if found.mesh.contact_ratio < LEAST_CONTACT_RATIO:
        raise NoPair(f"{names}: {found.mesh.contact_ratio:.2f} teeth in contact, less than "
                     f"{LEAST_CONTACT_RATIO}")


def angle_of_driven(driver_rad: float, found: Pair, towards_rad: float = 0.0) -> float:
    """Where the driven wheel stands when the driver is turned by driver_rad [rad] from having
    a tooth's middle on the x axis: a space's middle then faces a tooth's middle. The driven
    wheel's axis lies in the direction towards_rad from the driver's.

    >>> p = pair(20, 20, 1.0)
    >>> round(angle_of_driven(0.0, p) * 20 / pi % 2, 6)
    1.0
    """
    ratio = found.driver.teeth / found.driven.teeth
    return (towards_rad + pi + pi / found.driven.teeth
            - (driver_rad - towards_rad) * ratio)
