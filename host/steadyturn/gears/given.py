"""What a rig says of printer, plastic and motor, in mm, with what is usual where it is silent."""

from __future__ import annotations

from dataclasses import dataclass
from math import radians, sqrt

from steadyturn.gears.materials import Material, materials
from steadyturn.model.gears import efficiency
from steadyturn.rig.types import Crank, Gears, Rig, Stage, specs

# Of brushed motors by the diameter of their can: shaft, distance of the screws, raised ring.
# Common sizes (130, 300, 370, 540 and larger), from memory.
_CANS = ((21.0, 2.0, 10.0, 6.0), (26.0, 2.0, 16.0, 10.0), (32.0, 2.3, 17.0, 10.0),
         (34.0, 3.0, 20.0, 11.0), (40.0, 3.17, 25.0, 13.0), (60.0, 5.0, 32.0, 18.0),
         (1e9, 8.0, 48.0, 30.0))
CAN_MM, CAN_LENGTH_MM, SHAFT_LENGTH_MM, AXLE_MM = 36.0, 50.0, 12.0, 8.0
NOZZLE_MM, FOOT_MM = 0.4, 0.2
ALONE = "Gears"  # the name of a train without a rig
LEAST_BACKLASH_MM, BACKLASH_SHARE = 0.15, 0.1  # printed: 0.1-0.2 m or 0.1-0.3 mm, from memory
RELIEF_SHARE = 0.02  # of the module: more than teeth bend; common practice, no source
# bore, outer diameter, width: ISO 15 (from memory)
BEARINGS = {"625": (5.0, 16.0, 5.0), "626": (6.0, 19.0, 6.0), "608": (8.0, 22.0, 7.0)}


@dataclass(frozen=True)
class Assumed:
    """One thing the rig file leaves out: key, what was taken, and how to know it."""

    key: str
    value: float
    unit: str
    how: str


@dataclass(frozen=True, kw_only=True)
class Given:
    """All lengths in mm. module_mm, width_mm: None where they are to be chosen; flat_mm: across
    a D shaft, hex_mm: across the flats of a hexagonal one, None where it is not; shaft_mm: of that
    one over its corners; stage_efficiency: of one stage, as the rig has it on
    average; assumed: what the rig file leaves out."""

    rig: str
    material: Material
    reverted: bool
    module_mm: float | None
    width_mm: float | None
    pressure_rad: float
    backlash_asked_mm: float | None
    tip_relief_asked_mm: float | None
    bed_mm: float
    nozzle_mm: float
    grows_mm: float
    foot_mm: float
    can_mm: float
    can_length_mm: float
    shaft_mm: float
    shaft_length_mm: float
    flat_mm: float | None
    hex_mm: float | None
    screws_mm: float
    boss_mm: float
    axle_mm: float
    bearing: tuple[float, float, float] | None
    motors: int
    stage_efficiency: float
    arm_mm: float
    assumed: tuple[Assumed, ...]

    def tip_relief_mm(self, module_mm: float) -> float:
        """Taken off the tips' flanks of wheels of this module."""
        asked = self.tip_relief_asked_mm
        return RELIEF_SHARE * module_mm if asked is None else asked

    def backlash_mm(self, module_mm: float) -> float:
        """Of a mesh of this module.

        >>> from steadyturn.rig.examples import example_path
        >>> from steadyturn.rig.file import read_rig
        >>> given_of(read_rig(example_path("lakeside-hut"))).backlash_mm(2.0)
        0.2
        """
        if self.backlash_asked_mm is not None:
            return self.backlash_asked_mm
        return max(LEAST_BACKLASH_MM, BACKLASH_SHARE * module_mm)


def given_alone(part: Gears) -> Given:
    """Without a rig: one motor, crank and stages as a rig file assumes them.

    >>> alone = given_alone(Gears())
    >>> alone.motors, alone.can_mm, alone.arm_mm
    (1, 36.0, 110.0)
    """
    usual = specs(Stage)["efficiency"].typical or (1.0, 1.0, 1.0)
    return _given(ALONE, part, 1, usual[1], Crank().radius_m * 1000)


def given_of(rig: Rig) -> Given:
    """From a rig.

    >>> from steadyturn.rig.examples import example_path
    >>> from steadyturn.rig.file import read_rig
    >>> hut = given_of(read_rig(example_path("lakeside-hut")))
    >>> hut.shaft_mm, hut.motors, [a.key for a in hut.assumed][:2]
    (3.17, 2, ['gears.can_mm', 'gears.can_length_mm'])
    """
    return _given(rig.name, rig.gears, rig.bank.series * rig.bank.parallel,
                  efficiency(rig.stages) ** (1 / max(1, len(rig.stages))),
                  rig.crank.radius_m * 1000)


def _given(name: str, part: Gears, motors: int, stage_efficiency: float, arm_mm: float) -> Given:
    assumed: list[Assumed] = []

    def taken(field: str, usual: float) -> float:
        value = getattr(part, field)
        if value is not None:
            return float(value) * 1000
        spec = specs(Gears)[field]
        assumed.append(Assumed(f"gears.{spec.key}", usual, spec.unit, spec.how))
        return usual

    def asked(value: float | None) -> float | None:
        return None if value is None else value * 1000

    can = taken("can_m", CAN_MM)
    length = taken("can_length_m", CAN_LENGTH_MM)
    _, shaft, screws, boss = next(row for row in _CANS if can < row[0])
    bearing = BEARINGS.get(part.bearing)
    axle = bearing[0] if bearing is not None and part.axle_m is None else None
    return Given(
        rig=name, material=materials()[part.material], reverted=part.layout == "reverted",
        module_mm=asked(part.module_m), width_mm=asked(part.width_m),
        pressure_rad=radians(part.pressure_deg), backlash_asked_mm=asked(part.backlash_m),
        tip_relief_asked_mm=asked(part.tip_relief_m),
        bed_mm=float(part.bed_mm), can_mm=can, can_length_mm=length,
        shaft_mm=part.shaft_hex_m * 2000 / sqrt(3) if part.shaft_hex_m is not None
        else taken("shaft_m", shaft), hex_mm=asked(part.shaft_hex_m),
        shaft_length_mm=taken("shaft_length_m", SHAFT_LENGTH_MM),
        flat_mm=asked(part.shaft_flat_m), screws_mm=taken("screw_circle_m", screws),
        boss_mm=taken("boss_m", boss),
        axle_mm=axle if axle is not None else taken("axle_m", AXLE_MM), bearing=bearing,
        nozzle_mm=taken("nozzle_m", NOZZLE_MM), grows_mm=taken("grows_m", 0.0),
        foot_mm=taken("foot_m", FOOT_MM), motors=motors,
        stage_efficiency=stage_efficiency, arm_mm=arm_mm, assumed=tuple(assumed),
    )
