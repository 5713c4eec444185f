"""Random pairs of wheels for the tests, as a maker could choose them."""

from __future__ import annotations

from math import radians
from random import Random

from steadyturn.gears.pairs import NoPair, Pair, pair


def draw(seed: int) -> Pair:
    """A pair that can be made; the same for the same seed."""
    dice = Random(seed)
    while True:
        small, large = sorted((dice.randint(8, 26), dice.randint(10, 90)))
        module = dice.choice((0.8, 1.0, 1.25, 1.5, 2.0, 2.5))
        pressure = radians(dice.choice((20.0, 20.0, 25.0)))
        teeth = (large, small) if dice.random() < 0.8 else (small, large)
        asked = None
        if dice.random() < 0.3:
            asked = module * (small + large) / 2 + module * dice.uniform(-0.2, 0.9)
        try:
            return pair(*teeth, module, backlash_mm=dice.uniform(0.1, 0.3) * module,
                        pressure_rad=pressure, centre_mm=asked)
        except NoPair:
            continue
