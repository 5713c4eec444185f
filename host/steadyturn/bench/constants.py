"""The constants that a bench finds, what is believed of each before it, and the unknowns beside
them: the meter's gains, resistors, the warmth of the winding, the EMF's peak."""

from __future__ import annotations

import math
from dataclasses import dataclass

from steadyturn.rig.types import Motor, Origin, specs

WIDE = 4.0  # one sigma of a log where nothing is known: a factor of 50
WIDTH = 2 * 1.96  # of a 95 % interval, in sigmas


@dataclass(frozen=True)
class Constant:
    """name: field of `Motor`, or "efficiency"; key, unit: as in a rig file; scale: SI of one
    of that unit. start: typical, SI. sigma: of its log before any reading."""

    name: str
    key: str
    unit: str
    scale: float
    start: float
    sigma: float
    why: str = ""


def _of_class(name: str, *, low: float | None = None, known: bool = True) -> Constant:
    spec = specs(Motor)[name]
    if spec.typical is None or not known:
        return Constant(name, spec.key, spec.unit, spec.scale, 0.0, WIDE, "nothing known")
    bottom, middle, top = spec.typical
    bottom, middle = low or bottom, middle or math.sqrt((low or bottom) * top)
    return Constant(name, spec.key, spec.unit, spec.scale, middle * spec.scale,
                    math.log(top / bottom) / WIDTH, "typical of small motors: " + spec.source)


# what a reading can tell of one motor; typical ranges are read as what 95 of 100 keep
MOTOR = (_of_class("emf_v_s", known=False), _of_class("terminal_ohm", known=False),
         _of_class("brush_drop_v"), _of_class("brush_knee_a"), _of_class("no_load_a"),
         _of_class("drag_nm_s", low=0.05))
EFFICIENCY = "efficiency"


def with_nameplate(constants: tuple[Constant, ...], motor: Motor, emf_v_s: float,
                   origins: dict[str, Origin]) -> tuple[Constant, ...]:
    """The constants with a nameplate's or an earlier file's values as what is believed before.

    origins: field -> where it comes from; a value without an interval is believed to 15 % (95 of
    100; common practice for salvaged motors).
    """
    found = []
    for one in constants:
        value = emf_v_s if one.name == "emf_v_s" else getattr(motor, one.name)
        origin = origins.get(one.name)
        if not value or origin is None:
            found.append(one)
            continue
        sigma = 0.15 / 1.96
        if 0 < origin.low < origin.high:
            sigma = math.log(origin.high / origin.low) / WIDTH
        found.append(Constant(one.name, one.key, one.unit, one.scale, value, sigma,
                              f"{origin.kind} before"))
    return tuple(found)
