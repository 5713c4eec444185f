"""What `steadyturn gears` needs to know of printer, plastic and motor. See rig.types.

None of it has an effect on volts and torques, so that nothing here counts as assumed in other
answers; `gears` itself says what it took for a key that was left out.
"""

from __future__ import annotations

from dataclasses import dataclass

from steadyturn.rig.spec import choice, number, whole


@dataclass(frozen=True, kw_only=True)
class Gears:
    """How the gear train is printed. Left out: what is usual, and `gears` says so."""

    material: str = choice("material", ("pla", "petg", "nylon"), default="pla",
                           how="PLA softens near 55 degC, PETG near 75, nylon near 100.")
    layout: str = choice("layout", ("open", "reverted"), default="open",
                         how="reverted: the motor stands in line with the handle (two stages, one "
                         "motor).")
    module_m: float | None = number("module_mm", "mm", 0.5, 6, scale=1e-3, optional=True,
                                     how="Left out: the smallest of 1 to 3 that bears the load.")
    width_m: float | None = number("width_mm", "mm", 3, 60, scale=1e-3, optional=True,
                                    how="Of the teeth; left out: as the load asks for.")
    pressure_deg: int = whole("pressure_deg", 14, 30, default=20)
    backlash_m: float | None = number(
        "backlash_mm", "mm", 0.02, 2, scale=1e-3, optional=True,
        how="Play of a mesh on the pitch circle; left out: a tenth of the module, at least 0.15.")
    tip_relief_m: float | None = number(
        "tip_relief_mm", "mm", 0, 0.5, scale=1e-3, optional=True,
        how="Taken off the flanks at the tips, so that bent teeth enter softly; 0: none. Left "
        "out: a fiftieth of the module.")
    bed_mm: int = whole("bed_mm", 80, 1000, default=220, how="Shorter side of the printer's bed.")
    nozzle_m: float | None = number("nozzle_mm", "mm", 0.1, 1.5, scale=1e-3, optional=True,
                                     how="Left out: 0.4.")
    grows_m: float | None = number(
        "grows_mm", "mm", -0.5, 0.5, scale=1e-3, optional=True,
        how="How far a printed wall stands outside of where it should: print the coupon that "
        "'steadyturn gears' makes and measure. Left out: nothing.")
    foot_m: float | None = number(
        "foot_mm", "mm", 0, 1, scale=1e-3, optional=True,
        how="How far the first layer spreads beyond those above. Left out: 0.2.")
    can_m: float | None = number("can_mm", "mm", 6, 150, scale=1e-3, optional=True,
                                  how="Diameter of the motor's can. Left out: 36.")
    can_length_m: float | None = number("can_length_mm", "mm", 6, 250, scale=1e-3, optional=True,
                                         how="Length of the motor's can. Left out: 50.")
    shaft_m: float | None = number(
        "shaft_mm", "mm", 1, 12, scale=1e-3, optional=True,
        how="Calipers on the motor's shaft. Left out: 2 to 3.17, as usual for the can.")
    shaft_length_m: float | None = number(
        "shaft_length_mm", "mm", 4, 60, scale=1e-3, optional=True,
        how="From the motor's face. Left out: 12.")
    shaft_flat_m: float | None = number(
        "shaft_flat_mm", "mm", 0.7, 12, scale=1e-3, optional=True,
        how="Of a D shaft: across from the flat to the round side. Left out: a round shaft.")
    shaft_hex_m: float | None = number(
        "shaft_hex_mm", "mm", 1, 12, scale=1e-3, optional=True,
        how="Of a hexagonal shaft: across its flats. shaft_mm is then left out.")
    screw_circle_m: float | None = number(
        "screw_circle_mm", "mm", 4, 120, scale=1e-3, optional=True,
        how="Distance of the two screw holes in the motor's face. Left out: as usual for the can.")
    boss_m: float | None = number("boss_mm", "mm", 2, 60, scale=1e-3, optional=True,
                                   how="Diameter of the raised ring about the motor's shaft. "
                                   "Left out: as usual for the can.")
    axle_m: float | None = number("axle_mm", "mm", 3, 20, scale=1e-3, optional=True,
                                   how="Diameter of the steel bolts the wheels turn on. "
                                   "Left out: 8.")
    bearing: str = choice("bearing", ("none", "625", "626", "608"), default="none",
                          how="Ball bearings in the wheels: 625 for 5 mm axles, 626 for 6, 608 "
                          "for 8.")
