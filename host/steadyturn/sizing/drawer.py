"""What is at hand: motors, converters, what is the same for every machine, and the limits.

The fields' ranges, typical values and ways to measure are those of a rig file; nothing is
repeated here. `parts_file` reads a drawer, parts.md describes the file.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from steadyturn.rig.frozen import FrozenMap
from steadyturn.rig.nearmiss import RIG_KEYS
from steadyturn.rig.spec import PRACTICE, number, text, whole
from steadyturn.rig.types import (
    PARTS,
    Bank,
    Converter,
    EfficiencyPoint,
    Motor,
    Origin,
    Rig,
    Stage,
    specs,
)

MOST_MOTORS = 24  # turned by one handle


def _same(part: type[Any], name: str) -> Any:
    """A field with the spec of another part's."""
    of = {f.name: f for f in dataclasses.fields(part)}[name]
    return field(default=of.default, metadata=of.metadata)


@dataclass(frozen=True, kw_only=True)
class DrawerMotor(Motor):
    """count: how many of them there are; 0 leaves the entry out of the search."""

    count: int = whole("count", 0, 1000, default=1)


@dataclass(frozen=True, kw_only=True)
class DrawerConverter(Converter):
    """One is enough for a machine; count = 0 leaves the entry out of the search."""

    name: str = text("name", 48, default="")
    count: int = whole("count", 0, 1000, default=1)


@dataclass(frozen=True, kw_only=True)
class Mesh:
    """What is known of every gear stage alike."""

    efficiency: float = _same(Stage, "efficiency")


@dataclass(frozen=True, kw_only=True)
class Rows:
    """What is known of the motors' bank before their number is."""

    spread: float = _same(Bank, "spread")
    diode_each: bool = _same(Bank, "diode_each")
    mount_max_c: float = _same(Bank, "mount_max_c")


@dataclass(frozen=True, kw_only=True)
class Limits:
    """What may be built. Teeth and ratio: what the printer or the shop makes well.
    min_width: of the band, by its middle; a narrower one no hand keeps."""

    max_stages: int = whole("max_stages", 1, 6, default=3)
    min_teeth: int = whole("min_teeth", 6, 400, default=12)
    max_teeth: int = whole("max_teeth", 6, 400, default=60)
    max_stage_ratio: float = number("max_stage_ratio", "", 1, 20, typical=(4, 6, 8),
                                    source=PRACTICE)
    max_motors: int = whole("max_motors", 1, MOST_MOTORS, default=4)
    max_series: int = whole("max_series", 1, 12, default=12)
    max_parallel: int = whole("max_parallel", 1, 12, default=12)
    min_width: float = number("min_width_percent", "%", 0, 100, scale=0.01,
                              typical=(10, 15, 25), source=PRACTICE)


# section of a parts file -> class; the first two in double brackets
DRAWER_PARTS: dict[str, type[Any]] = {
    "motor": DrawerMotor, "converter": DrawerConverter, "limits": Limits, "stage": Mesh,
    "bank": Rows,
    **{name: cls for name, cls in PARTS.items() if name not in ("motor", "converter", "bank",
                                                                  "band")},
}
ARRAYS = ("motor", "converter", "converter.points")
SECTIONS = {
    "rig": RIG_KEYS,
    **{name: {s.key: s for s in specs(cls).values()} for name, cls in DRAWER_PARTS.items()},
    "converter.points": {s.key: s for s in specs(EfficiencyPoint).values()},
}


@dataclass(frozen=True)
class Item:
    """A motor or a converter of the drawer.

    part: as in a rig; origins: key as in a rig ("motor.max_a") -> origin; raw: the table as
    the file has it, without what only a parts file has; typical: from the list of typical
    classes, so to be bought."""

    name: str
    part: Any
    count: int
    origins: Mapping[str, Origin]
    raw: Mapping[str, Any]
    typical: bool = False


@dataclass(frozen=True)
class Drawer:
    """parts: section -> part for the sections that are the same in every machine (bank: of
    one motor); stage: of each gear stage; origins and raw: theirs, like an Item's."""

    name: str
    note: str
    motors: tuple[Item, ...]
    converters: tuple[Item, ...]
    limits: Limits
    stage: Stage
    parts: Mapping[str, Any]
    origins: Mapping[str, Origin]
    raw: Mapping[str, Any]

    def counted(self, motor: Item) -> int:
        """How many of this motor one machine may have."""
        return min(motor.count, self.limits.max_motors)


@dataclass(frozen=True)
class Build:
    """One machine that could be made: indices into the drawer, and the teeth of each stage,
    handle side first."""

    motor: int
    converter: int
    series: int
    parallel: int
    teeth: tuple[tuple[int, int], ...]


def stripped(part: Any, cls: type[Any]) -> Any:
    """The fields of `part` that `cls` has, as a `cls`."""
    return cls(**{f.name: getattr(part, f.name) for f in dataclasses.fields(cls)})


def banks(drawer: Drawer, motor: Item) -> list[tuple[int, int]]:
    """Every (series, parallel) that can be made of this motor, fewest motors first."""
    most, limits = drawer.counted(motor), drawer.limits
    found = [(s, p) for s in range(1, min(most, limits.max_series) + 1)
             for p in range(1, min(most // s, limits.max_parallel) + 1)]
    return sorted(found, key=lambda sp: (sp[0] * sp[1], -sp[0]))


def rig_of(drawer: Drawer, build: Build, name: str = "") -> Rig:
    """The rig of one machine; every number keeps where it comes from."""
    motor, converter = drawer.motors[build.motor], drawer.converters[build.converter]
    origins = {**motor.origins, **converter.origins}
    for key, origin in drawer.origins.items():
        if key == "stage.efficiency":
            origins.update({f"stage[{n}].efficiency": origin
                            for n in range(1, len(build.teeth) + 1)})
        else:
            origins[key] = origin
    stages = tuple(dataclasses.replace(drawer.stage, driver_teeth=driver, driven_teeth=driven)
                   for driver, driven in build.teeth)
    parts = dict(drawer.parts)
    parts["bank"] = dataclasses.replace(parts["bank"], series=build.series,
                                        parallel=build.parallel)
    return Rig(name=name or drawer.name, motor=motor.part, converter=converter.part,
               stages=stages, note="", origins=FrozenMap(origins), **parts)


