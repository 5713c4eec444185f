"""What each mesh bears: bending, contact, heat, bending of the teeth against the backlash.

Equations and sources in README.md; forces in N, lengths in mm, stresses in MPa.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import cos, pi, sin, sqrt
from typing import Any

from steadyturn.gears import lewis
from steadyturn.gears.materials import REPEATED, Material, heat_share
from steadyturn.gears.pairs import Pair
from steadyturn.gears.teeth import Gear
from steadyturn.rig.spec import RPM

# What is asked for against the strength in a rare overload, whose load is itself that of a
# cross hand (for a load that lasts: three times; common practice, no source)
OVERLOAD_SAFETY = 1.5
RUNNING_SAFETY = 1.0  # against a sixth of the strength
STEEL_STIFFNESS = 14.0  # N per mm of width and um: ISO 6336-1, of steel teeth; from memory
STEEL_GPA = 206.0
# Heat that a surface gives to air [W/(m2 K)], still and by the root of its speed in m/s: about as
# the wind chill of Siple and Passel, from memory
AIR_STILL, AIR_MOVED = 10.0, 10.0


@dataclass(frozen=True, kw_only=True)
class Judged:
    """One mesh under its loads.

    force_n: on the teeth, running (of one of the driven wheels) and overload_n (all of it on one
    wheel: the one that is stuck), overload "blocked" or "short": which of the two asks for more.
    bending_mpa of the weaker wheel's root, overload_mpa of the overload, a short's with its
    dynamic factor; running_safety against a sixth of the strength, overload_safety against the
    strength, both as it is at warm_c and what the mesh warms itself by. contact_mpa: Hertz,
    running; contact_share of the strength. friction_share: of the power, lost by sliding teeth
    alone; warms_k: of the smaller wheel over its surroundings by that. deflection_share: how far
    teeth bend under the running load, of the backlash.
    """

    speed_m_s: float
    force_n: float
    overload_n: float
    overload: str
    bending_mpa: float
    overload_mpa: float
    running_safety: float
    overload_safety: float
    contact_mpa: float
    contact_share: float
    friction_share: float
    warms_k: float
    deflection_share: float
    weaker: str


def friction_loss(driver: Gear, driven: Gear, centre_mm: float, friction: float) -> float:
    """Share of the power that sliding takes: mu Hv (Ohlendorf; Niemann, from memory).

    >>> pair = Gear(teeth=20, module_mm=1), Gear(teeth=40, module_mm=1)
    >>> round(1 - friction_loss(*pair, 30.0, 0.05), 4)
    0.9917
    """
    pitch = pi * driver.module_mm * cos(driver.pressure_rad)
    working = (driver.base_mm + driven.base_mm) / centre_mm
    angle_sin = sqrt(max(1 - working**2, 0.0))
    ahead = []
    for gear in (driver, driven):
        rolling = gear.base_mm / working * angle_sin
        ahead.append((sqrt(gear.tip_mm**2 - gear.base_mm**2) - rolling) / pitch)
    e1, e2 = ahead
    small, large = sorted((driver.teeth, driven.teeth))
    ratio = large / small
    factor = pi * (ratio + 1) / (small * ratio) * (1 - (e1 + e2) + e1**2 + e2**2)
    return friction * factor


def hertz_mpa(force_n: float, pair: Pair, width_mm: float, material: Material) -> float:
    """Contact pressure at the pitch point, both wheels of one plastic (ISO 6336-2: Z_E, Z_H)."""
    e, nu = material.modulus_gpa.value * 1000, material.poisson.value
    elastic = sqrt(1 / (pi * 2 * (1 - nu**2) / e))
    working = pair.mesh.pressure_rad
    small, large = sorted((pair.driver.teeth, pair.driven.teeth))
    ratio = large / small
    diameter = 2 * pair.centre_mm * small / (small + large)
    zone = sqrt(2 / (cos(working) * sin(working)))
    return elastic * zone * sqrt(force_n / (diameter * width_mm) * (ratio + 1) / ratio)


def judge(pair: Pair, width_mm: float, material: Material, *, running_nm: float,
          blocked_nm: float, driver_rad_s: float, warm_c: float, short_nm: float = 0.0,
          short_rad_s: float = 0.0) -> Judged:
    """One mesh; torques at its driver, running_nm the part of one driven wheel. short_nm: of a
    short circuit while the driver turns at short_rad_s, so that its teeth also hammer; a blocked
    handle stands still."""
    radius = pair.centre_mm * pair.driver.teeth / (pair.driver.teeth + pair.driven.teeth) / 1000
    force = running_nm / radius
    speed = driver_rad_s * radius
    dynamic = lewis.barth(speed)
    short_dynamic = lewis.barth(short_rad_s * radius)
    over, over_dynamic, name = blocked_nm / radius, 1.0, "blocked"
    if short_nm * short_dynamic > blocked_nm:
        over, over_dynamic, name = short_nm / radius, short_dynamic, "short"
    of_one_n = {side: lewis.bending_mpa(1.0, gear, width_mm)
                for side, gear in (("driver", pair.driver), ("driven", pair.driven))}
    weaker = max(of_one_n, key=lambda side: of_one_n[side])
    bending = of_one_n[weaker] * force * dynamic
    overload = of_one_n[weaker] * over * over_dynamic
    lost = friction_loss(pair.driver, pair.driven, pair.centre_mm, material.friction.value)
    warms = warming_k(force * speed * lost, min(pair.driver.tip_mm, pair.driven.tip_mm), width_mm,
                      speed)
    strength = material.tensile_mpa.value * heat_share(material, warm_c + warms)
    contact = hertz_mpa(force, pair, width_mm, material)
    stiffness = STEEL_STIFFNESS * material.modulus_gpa.value / STEEL_GPA
    bends = force / width_mm / stiffness / 1000
    return Judged(
        speed_m_s=speed, force_n=force, overload_n=over, overload=name, bending_mpa=bending,
        overload_mpa=overload, running_safety=_over(strength / REPEATED, bending),
        overload_safety=_over(strength, overload), contact_mpa=contact,
        contact_share=_over(contact, strength), friction_share=lost, warms_k=warms,
        deflection_share=_over(bends, pair.mesh.backlash_mm), weaker=weaker)


def warming_k(lost_w: Any, tip_mm: Any, width_mm: Any, speed_m_s: Any) -> Any:
    """What a mesh that loses so much power warms its smaller wheel by: half of the heat into
    each wheel, given off to air by its two faces and its rim. Numbers or arrays.

    >>> round(warming_k(0.1, 10.0, 20.0, 0.0), 2), round(warming_k(0.1, 10.0, 20.0, 1.0), 2)
    (2.65, 1.33)
    """
    skin = (2 * pi * tip_mm**2 + 2 * pi * tip_mm * width_mm) * 1e-6
    return lost_w / 2 / ((AIR_STILL + AIR_MOVED * speed_m_s**0.5) * skin)


# ------------------------------------------------------------- twisted between layers

SHEAR = 0.577  # shear strength over tensile strength: von Mises
HEXAGON = 0.188  # torsion modulus of a hexagon over the cube across its flats, from memory


def layers_mpa(material: Material, at_c: float) -> float:
    """Shear stress at which layers are twisted off each other."""
    return (material.tensile_mpa.value * material.layers_share.value * SHEAR
            * heat_share(material, at_c))


def twist_mpa(torque_nm: float, outer_mm: float, bore_mm: float) -> float:
    """Shear stress of a round neck with a bore: 16 T / (pi d^3 (1 - (b / d)^4)).

    >>> round(twist_mpa(10.0, 20.0, 0.0), 2)
    6.37
    """
    share = min(bore_mm / outer_mm, 0.999)
    return 16 * torque_nm * 1000 / (pi * outer_mm**3 * (1 - share**4))


def hexagon_mpa(torque_nm: float, across_mm: float, bore_mm: float) -> float:
    """Shear stress of a hexagonal neck with a bore (that of the disc in it taken off).

    >>> round(hexagon_mpa(10.0, 20.0, 0.0), 2)
    6.65
    """
    share = min(bore_mm / across_mm, 0.999)
    return torque_nm * 1000 / (HEXAGON * across_mm**3 * (1 - share**4))


def blade_mpa(force_n: float, reach_mm: float, lever_mm: float, width_mm: float,
              thick_mm: float) -> tuple[float, float]:
    """Stress in a flat arm, reach_mm from a force across it that acts lever_mm above its middle:
    bending and twisting together (von Mises), and what shears layer from layer. Twisting of a
    rectangle: T (3 + 1.8 t / b) / (b t^2), Shigley 3-40 (from memory); its short sides bear about
    nine tenths of that.

    >>> bent, between = blade_mpa(150.0, 100.0, 0.0, 27.0, 8.0)
    >>> round(bent, 2), between
    (15.43, 0.0)
    >>> round(blade_mpa(150.0, 0.0, 40.0, 20.0, 10.0)[0] / 3**0.5, 2)
    11.7
    """
    bent = 6 * force_n * reach_mm / (thick_mm * width_mm**2)
    broad, thin = max(width_mm, thick_mm), min(width_mm, thick_mm)
    twisted = force_n * lever_mm * (3 + 1.8 * thin / broad) / (broad * thin**2)
    return sqrt(bent**2 + 3 * twisted**2), 0.9 * twisted


def _over(a: float, b: float) -> float:
    return a / b if b > 0 else float("inf")


def rad_s(pace_tpm: float, ratio: float) -> float:
    """Speed of an axle that turns `ratio` times a turn of the handle."""
    return pace_tpm * ratio * RPM
