"""What the readings were taken at: a bare motor, or motors, gears and diodes of a rig."""

from __future__ import annotations

import math
from dataclasses import dataclass

from steadyturn.model import gears, rectifier
from steadyturn.rig.types import Rig


@dataclass(frozen=True)
class Setup:
    """series, parallel: motors. ratio: motor turns for one of the counted shaft. diodes, drop_v,
    knee_a: between motors and bus. radius_m, crank_nm: of the handle, where a force is read.
    shunt_ohm, bleed_ohm: of the board's sensor and before it; unseen_w: what the board may take
    before it. inertia_kg_m2: at the handle, with one sigma of its log."""

    series: int = 1
    parallel: int = 1
    ratio: float = 1.0
    diodes: int = 0
    drop_v: float = 0.35
    knee_a: float = 0.02
    radius_m: float | None = None
    crank_nm: float = 0.0
    shunt_ohm: float = 0.0
    bleed_ohm: float = math.inf
    unseen_w: float = 0.0
    inertia_kg_m2: float = 0.0
    inertia_log: float = 1.0
    efficiency: tuple[float, float] = (0.85, 0.1)  # of the train; second: one sigma of its log


def of_rig(rig: Rig) -> Setup:
    """The set-up of a rig, whose gears, diodes and handle are taken as written.

    >>> from steadyturn.rig.examples import example_path
    >>> from steadyturn.rig.file import read_rig
    >>> hut = of_rig(read_rig(example_path("lakeside-hut")))
    >>> hut.series, hut.diodes, hut.ratio
    (2, 1, 20.0)
    """
    spread = sum(math.log(s_high / s_low) ** 2 for s_low, s_high in _stage_bounds(rig))
    return Setup(
        rig.bank.series, rig.bank.parallel, gears.ratio(rig.stages),
        rectifier.DIODES[rig.rectifier.kind], rig.rectifier.drop_v, rig.rectifier.knee_a,
        rig.crank.radius_m, rig.crank.friction_nm, rig.sensor.shunt_ohm, rig.bus.bleed_ohm,
        rig.supply.power_w if rig.supply.feed == "crank" else 0.0, *_inertia(rig),
        (gears.efficiency(rig.stages), math.sqrt(spread) / (2 * 1.96)))


def _stage_bounds(rig: Rig) -> list[tuple[float, float]]:
    found = []
    for n, stage in enumerate(rig.stages, 1):
        origin = rig.origins.get(f"stage[{n}].efficiency")
        low, high = (origin.low, origin.high) if origin else (0.0, 0.0)
        if not low < high:  # a plain number: 5 % either way, rig.tolerances
            low, high = stage.efficiency * 0.95, min(1.0, stage.efficiency * 1.05)
        found.append((low, high))
    return found


def _inertia(rig: Rig) -> tuple[float, float]:
    """At the handle [kg m2], and one sigma of its log: the parts' own, by their shares."""
    squared = gears.ratio(rig.stages) ** 2 * rig.bank.series * rig.bank.parallel
    parts = (("crank.inertia_gm2", rig.crank.inertia_kg_m2, 1.0),
             ("motor.inertia_gcm2", rig.motor.inertia_kg_m2, squared))
    total = sum(value * times for _, value, times in parts)
    spread = 0.0
    for key, value, times in parts:
        origin = rig.origins.get(key)
        low, high = (origin.low, origin.high) if origin else (0.0, 0.0)
        own = math.log(high / low) / (2 * 1.96) if 0 < low < high else math.log(1.1) / 1.96
        spread += (own * value * times / total) ** 2
    return total, math.sqrt(spread)


def peak_over_mean(slots: int) -> tuple[float, float]:
    """Peak of the EMF over its mean, and the standard error of that factor.

    The commutator takes the crest of sines that stand `2 slots` a turn (odd slots) or `slots`
    (even): mean of the crest of a p-pulse rectifier (p / pi) sin(pi / p); Mohan, Undeland,
    Robbins, Power Electronics, from memory. Not known: 3 to 12 slots.

    >>> [round(peak_over_mean(n)[0], 4) for n in (3, 5, 12)]
    [1.0472, 1.0166, 1.0115]
    """
    if not slots:
        return 1.025, 0.012
    pulses = 2 * slots if slots % 2 else slots
    angle = math.pi / pulses
    factor = angle / math.sin(angle)
    return factor, 0.2 * (factor - 1)  # skew, gaps and brush width smooth it; practice
