"""How far each axle of a train is turned while the handle turns, teeth in mesh."""

from __future__ import annotations

from dataclasses import dataclass
from math import atan2

from steadyturn.gears.layout import Point
from steadyturn.gears.pairs import angle_of_driven
from steadyturn.gears.trains import Train


@dataclass(frozen=True)
class Axle:
    """at: its middle; ratio: turns for one of the handle (negative: the other way round);
    start_rad: how far it is turned when the handle's wheel has a tooth on the x axis."""

    at: Point
    ratio: float
    start_rad: float


def axles(train: Train) -> tuple[Axle, ...]:
    """The wheels' axles, handle's first, then the motors'."""
    found = [Axle(train.layout.axles[0], 1.0, 0.0)]
    driven: list[tuple[Point, ...]] = [(p,) for p in train.layout.axles[1:]]
    for number, (stage, spots) in enumerate(zip(
            train.stages, [*driven, train.layout.motors], strict=True)):
        before = found[number]
        for x, y in spots:
            way = atan2(y - before.at[1], x - before.at[0])
            found.append(Axle(
                (x, y), -before.ratio * stage.driver_teeth / stage.driven_teeth,
                angle_of_driven(before.start_rad, stage.pair, way)))
    return tuple(found)
