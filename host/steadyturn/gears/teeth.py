"""Teeth of involute spur gears in exact formulas; equations and sources in README.md.

Lengths in mm, angles in rad, profile shifts in modules. What a tooth is made by is its
generating rack (ISO 53 profile A unless said otherwise), so that the fillet, the undercut and
the limits below are all of one shape.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import acos, atan, cos, hypot, pi, radians, sin, sqrt, tan

DEG20 = radians(20.0)


@dataclass(frozen=True, kw_only=True)
class Gear:
    """One wheel. shift, addendum, dedendum, fillet, tip_cut in modules.

    shift: of the rack's datum line, outwards; fillet: radius of the rack's tip corner, less
    where the rack is too narrow for it; tip_cut: what the tip is shorter than the rack would
    leave it; thinning_mm: how much less than without backlash a tooth is wide on the pitch
    circle.
    """

    teeth: int
    module_mm: float
    shift: float = 0.0
    pressure_rad: float = DEG20
    addendum: float = 1.0
    dedendum: float = 1.25
    fillet: float = 0.38
    tip_cut: float = 0.0
    thinning_mm: float = 0.0

    @property
    def pitch_mm(self) -> float:
        """Radius of the pitch circle.

        >>> Gear(teeth=24, module_mm=3).pitch_mm
        36.0
        """
        return self.module_mm * self.teeth / 2

    @property
    def base_mm(self) -> float:
        """Radius of the base circle.

        >>> round(2 * Gear(teeth=24, module_mm=3).base_mm, 3)
        67.658
        """
        return self.pitch_mm * cos(self.pressure_rad)

    @property
    def tip_mm(self) -> float:
        """Radius of the tip circle.

        >>> Gear(teeth=12, module_mm=3).tip_mm
        21.0
        """
        return self.pitch_mm + self.module_mm * (self.addendum + self.shift - self.tip_cut)

    @property
    def root_mm(self) -> float:
        """Radius of the root circle.

        >>> Gear(teeth=12, module_mm=3).root_mm
        14.25
        """
        return self.pitch_mm + self.module_mm * (self.shift - self.dedendum)

    @property
    def rack_fillet_mm(self) -> float:
        """Radius of the rack's tip corner: as asked for, or a full round where that is less."""
        a = self.pressure_rad
        half = pi * self.module_mm / 4 + self.thinning_mm / 2
        full = (half - self.dedendum * self.module_mm * tan(a)) / (1 / cos(a) - tan(a))
        return max(0.0, min(self.fillet * self.module_mm, full))


# ------------------------------------------------------------------------ the involute


def involute(angle_rad: float) -> float:
    """inv a = tan a - a.

    >>> round(involute(radians(26.0886)), 6)
    0.034316
    """
    return tan(angle_rad) - angle_rad


def involute_angle(value: float) -> float:
    """The angle [rad] whose involute function is `value` (>= 0), by Newton's rule.

    >>> from math import degrees
    >>> round(degrees(involute_angle(0.034316)), 3)
    26.089
    >>> involute_angle(0.0)
    0.0
    """
    if value <= 0:
        return 0.0
    # small angles: inv a = a^3 / 3; large ones: tan a is nearly all of it
    angle = min((3 * value) ** (1 / 3), atan(value + pi / 2))
    for _ in range(50):
        step = (involute(angle) - value) / tan(angle) ** 2
        angle -= step
        if abs(step) < 1e-15:
            break
    return angle


def pressure_at(gear: Gear, radius_mm: float) -> float:
    """Pressure angle [rad] of the flank at a radius; nothing at the base circle or below.

    >>> round(pressure_at(Gear(teeth=24, module_mm=3), 36.0) / DEG20, 9)
    1.0
    """
    return acos(min(1.0, gear.base_mm / radius_mm))


def thickness_mm(gear: Gear, radius_mm: float | None = None) -> float:
    """Arc thickness of a tooth at a radius (left out: on the pitch circle).

    >>> round(thickness_mm(Gear(teeth=24, module_mm=3)), 4) == round(3 * pi / 2, 4)
    True
    """
    return 2 * half_angle(gear, gear.pitch_mm if radius_mm is None else radius_mm) * (
        gear.pitch_mm if radius_mm is None else radius_mm)


def half_angle(gear: Gear, radius_mm: float) -> float:
    """Half the angle [rad] that a tooth takes up at a radius."""
    return base_half_angle(gear) - involute(pressure_at(gear, radius_mm))


def base_half_angle(gear: Gear) -> float:
    """Half the angle [rad] of a tooth on the base circle."""
    a = gear.pressure_rad
    pitch = (pi / 2 + 2 * gear.shift * tan(a)) * gear.module_mm - gear.thinning_mm
    return pitch / (2 * gear.pitch_mm) + involute(a)


def span_teeth(gear: Gear) -> int:
    """How many teeth a base tangent is best measured over: it then touches near the pitch
    circle (DIN 3960's rule, from memory).

    >>> span_teeth(Gear(teeth=24, module_mm=3))
    3
    """
    a, z = gear.pressure_rad, gear.teeth
    reach = sqrt(max(((z + 2 * gear.shift) / (z * cos(a))) ** 2 - 1, 0.0))
    k = z / pi * (reach - 2 * gear.shift * tan(a) / z - involute(a)) + 0.5
    return max(2, min(round(k), z - 1))


def span_mm(gear: Gear, over: int | None = None) -> float:
    """Base tangent length over so many teeth (left out: `span_teeth`), as calipers read it.

    >>> round(span_mm(Gear(teeth=24, module_mm=3, shift=0.4), 4), 4)
    32.8266
    """
    k = span_teeth(gear) if over is None else over
    return ((k - 1) * pi * gear.module_mm * cos(gear.pressure_rad)
            + 2 * gear.base_mm * base_half_angle(gear))


# --------------------------------------------------------------------------- the limits


def rack_depth(gear: Gear) -> float:
    """How far below its datum line the rack's straight flank reaches, in modules."""
    corner = gear.rack_fillet_mm / gear.module_mm
    return gear.dedendum - corner * (1 - sin(gear.pressure_rad))


def least_shift(teeth: int, pressure_rad: float = DEG20, depth: float = 1.0) -> float:
    """The shift below which the rack undercuts the flank. depth: of its straight flank.

    >>> round(least_shift(12), 3), round(least_shift(10), 3)
    (0.298, 0.415)
    """
    return depth - teeth * sin(pressure_rad) ** 2 / 2


def least_teeth(pressure_rad: float = DEG20, depth: float = 1.0) -> float:
    """Teeth below which a rack undercuts without shift.

    >>> round(least_teeth(), 2), round(least_teeth(radians(14.5)), 2)
    (17.1, 31.9)
    """
    return 2 * depth / sin(pressure_rad) ** 2


def is_undercut(gear: Gear) -> bool:
    """Whether the generating rack cuts into the involute.

    >>> is_undercut(Gear(teeth=12, module_mm=1)), is_undercut(
    ...     Gear(teeth=12, module_mm=1, shift=0.3))
    (True, False)
    """
    return gear.shift < least_shift(gear.teeth, gear.pressure_rad, rack_depth(gear)) - 1e-9


def least_pinion(ratio: float, pressure_rad: float = DEG20, addendum: float = 1.0) -> float:
    """Teeth of the smallest unshifted pinion that meshes with an unshifted wheel of `ratio`
    times its teeth without interference.

    >>> round(least_pinion(1), 2), round(least_pinion(3), 2)
    (12.32, 14.98)
    """
    s, m = sin(pressure_rad) ** 2, ratio
    return 2 * addendum / ((1 + 2 * m) * s) * (m + sqrt(m * m + (1 + 2 * m) * s))


def largest_wheel(pinion: int, pressure_rad: float = DEG20, addendum: float = 1.0) -> float:
    """Teeth of the largest unshifted wheel that an unshifted pinion takes; without end from
    `least_teeth` on.

    >>> round(largest_wheel(13), 2), round(largest_wheel(17), 1)
    (16.45, 1309.9)
    """
    s = sin(pressure_rad) ** 2
    below = 4 * addendum - 2 * pinion * s
    if below <= 0:
        return float("inf")
    return (pinion**2 * s - 4 * addendum**2) / below


def form_mm(gear: Gear) -> float:
    """Radius at which the involute ends and the fillet begins (not undercut).

    >>> g = Gear(teeth=30, module_mm=2)
    >>> g.root_mm < form_mm(g) < g.pitch_mm
    True
    """
    a, m = gear.pressure_rad, gear.module_mm
    above = (rack_depth(gear) - gear.shift) * m  # of the pitch point over the flank's end
    along = gear.pitch_mm * sin(a) - above / sin(a)
    return hypot(gear.base_mm, max(along, 0.0))


# ----------------------------------------------------------------------------- the mesh


@dataclass(frozen=True, kw_only=True)
class Mesh:
    """Two wheels that work together. pressure_rad: the working pressure angle; backlash_mm:
    circumferential, on the working pitch circles."""

    first: Gear
    second: Gear
    centre_mm: float
    pressure_rad: float
    contact_ratio: float
    backlash_mm: float


def working_pressure(z1: int, z2: int, shifts: float, pressure_rad: float = DEG20) -> float:
    """Pressure angle [rad] at which two wheels with the sum `shifts` run without backlash.

    >>> from math import degrees
    >>> round(degrees(working_pressure(12, 24, 0.96)), 4)
    26.0886
    """
    value = involute(pressure_rad) + 2 * tan(pressure_rad) * shifts / (z1 + z2)
    return involute_angle(value)


def centre_mm(z1: int, z2: int, module_mm: float, shifts: float = 0.0,
              pressure_rad: float = DEG20) -> float:
    """Centre distance without backlash.

    >>> round(centre_mm(12, 24, 3, 0.96), 4)
    56.4999
    """
    standard = module_mm * (z1 + z2) / 2
    return standard * cos(pressure_rad) / cos(working_pressure(z1, z2, shifts, pressure_rad))


def shifts_for(z1: int, z2: int, module_mm: float, centre: float,
               pressure_rad: float = DEG20) -> float:
    """Sum of shifts that gives a centre distance [mm]; ValueError where none does.

    >>> round(shifts_for(12, 24, 3, 56.4999), 3)
    0.96
    """
    standard = module_mm * (z1 + z2) / 2
    ratio = standard * cos(pressure_rad) / centre
    if not 0 < ratio < 1:
        raise ValueError(f"no involute pair of {z1} and {z2} teeth stands {centre} mm apart")
    return (z1 + z2) * (involute(acos(ratio)) - involute(pressure_rad)) / (2 * tan(pressure_rad))


def path_mm(first: Gear, second: Gear, centre: float) -> float:
    """Length of the path of contact at a centre distance: between the tip circles.

    >>> a = Gear(teeth=30, module_mm=12, addendum=10 / 12)
    >>> b = Gear(teeth=80, module_mm=12, addendum=10 / 12)
    >>> round(path_mm(a, b, 660.0), 2)
    52.26
    """
    bases = first.base_mm + second.base_mm
    line = sqrt(max(centre**2 - bases**2, 0.0))
    return sum(sqrt(max(g.tip_mm**2 - g.base_mm**2, 0.0)) for g in (first, second)) - line


def contact_ratio(first: Gear, second: Gear, centre: float) -> float:
    """Teeth in contact on average: the path of contact over the base pitch.

    >>> round(contact_ratio(Gear(teeth=12, module_mm=3), Gear(teeth=24, module_mm=3), 54), 3)
    1.511
    """
    return path_mm(first, second, centre) / (
        pi * first.module_mm * cos(first.pressure_rad))


def lowest_contact_mm(gear: Gear, mate: Gear, centre: float) -> float:
    """Radius of `gear` where the mate's tip first touches its flank."""
    line = sqrt(max(centre**2 - (gear.base_mm + mate.base_mm) ** 2, 0.0))
    left = line - sqrt(max(mate.tip_mm**2 - mate.base_mm**2, 0.0))
    return hypot(gear.base_mm, max(left, 0.0))


def interferes(gear: Gear, mate: Gear, centre: float) -> bool:
    """Whether the mate's tip reaches below the involute of `gear`.

    >>> a, b = Gear(teeth=12, module_mm=1), Gear(teeth=60, module_mm=1)
    >>> interferes(a, b, 36.0)
    True
    """
    line = sqrt(max(centre**2 - (gear.base_mm + mate.base_mm) ** 2, 0.0))
    beyond = sqrt(max(mate.tip_mm**2 - mate.base_mm**2, 0.0)) > line
    return beyond or lowest_contact_mm(gear, mate, centre) < form_mm(gear) - 1e-9


def backlash_mm(first: Gear, second: Gear, centre: float) -> float:
    """Circumferential play on the working pitch circles at a centre distance.

    >>> thin = Gear(teeth=12, module_mm=2, thinning_mm=0.1)
    >>> round(backlash_mm(thin, Gear(teeth=24, module_mm=2), 36.0), 6)
    0.1
    """
    share = centre / (first.teeth + second.teeth)
    radii = first.teeth * share, second.teeth * share
    taken = sum(thickness_mm(g, r) for g, r in zip((first, second), radii, strict=True))
    return 2 * pi * share - taken


def mesh(first: Gear, second: Gear, centre: float) -> Mesh:
    """Two wheels at a centre distance [mm].

    >>> pair = mesh(Gear(teeth=16, module_mm=2), Gear(teeth=40, module_mm=2), 57.0)
    >>> round(pair.pressure_rad * 180 / pi, 2), round(pair.backlash_mm > 0)
    (22.6, 1)
    """
    angle = acos(min(1.0, (first.base_mm + second.base_mm) / centre))
    return Mesh(first=first, second=second, centre_mm=centre, pressure_rad=angle,
                contact_ratio=contact_ratio(first, second, centre),
                backlash_mm=backlash_mm(first, second, centre))
