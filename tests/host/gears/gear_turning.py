"""Two wheels as polygons that are turned through each other."""

from __future__ import annotations

from collections.abc import Callable
from math import cos, pi, sin

import numpy as np
import shapely
from steadyturn.gears.outline import outline
from steadyturn.gears.pairs import Pair, angle_of_driven
from steadyturn.gears.teeth import Gear


class Turned:
    """Both wheels as polygons near the mesh; the driver's axis at (0, 0), the driven one's
    on the x axis."""

    def __init__(self, of: Pair, drawn: Callable[[Gear], np.ndarray] = outline) -> None:
        self.of = of
        self.driver, self.driven = (self._near(g, drawn(g)) for g in (of.driver, of.driven))
        share = of.centre_mm / (of.driver.teeth + of.driven.teeth)
        self.driver_mm, self.driven_mm = (share * g.teeth for g in (of.driver, of.driven))

    @staticmethod
    def _near(gear, points: np.ndarray) -> np.ndarray:
        """Some teeth about the first one, as a fan from the middle."""
        each = len(points) // gear.teeth
        count = min(gear.teeth, 5)
        if count == gear.teeth:
            return points
        points = np.roll(points, (count // 2 + 1) * each, axis=0)[: (count + 1) * each]
        return np.concatenate([points, [[0.0, 0.0]]])

    def at(self, driver_rad: float, driven_off: float = 0.0):
        turn = driver_rad, angle_of_driven(driver_rad, self.of) + driven_off
        both = []
        for points, asked, x, gear in ((self.driver, turn[0], 0.0, self.of.driver),
                                       (self.driven, turn[1], self.of.centre_mm, self.of.driven)):
            pitch = 2 * pi / gear.teeth  # the fan faces the other wheel whatever the angle
            home = 0.0 if x == 0.0 else pi
            angle = home + (asked - home + pitch / 2) % pitch - pitch / 2
            c, s = cos(angle), sin(angle)
            turned = points @ np.array([[c, s], [-s, c]]) + (x, 0.0)
            both.append(shapely.Polygon(turned))
        return both

    def overlap(self, driver_rad: float, driven_off: float = 0.0) -> float:
        one, two = self.at(driver_rad, driven_off)
        return one.intersection(two).area if one.intersects(two) else 0.0

    def play(self, driver_rad: float, way: int) -> float:
        """How far [rad] the driven wheel can be turned that way before it touches."""
        free, stuck = 0.0, 4 * self.of.mesh.backlash_mm / self.driven_mm
        assert self.overlap(driver_rad, way * stuck) > 0
        for _ in range(22):
            middle = (free + stuck) / 2
            one, two = self.at(driver_rad, way * middle)
            if one.intersects(two):
                stuck = middle
            else:
                free = middle
        return free


def phases(of: Pair, count: int) -> np.ndarray:
    return np.linspace(0, 2 * pi / of.driver.teeth, count, endpoint=False)
