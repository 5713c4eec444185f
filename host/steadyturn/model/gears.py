"""Ratio and efficiency of the gear train; equations in gears.md."""

from __future__ import annotations

from math import prod

from steadyturn.rig.types import Stage


def stage_ratio(stage: Stage) -> float:
    """Turns of the driven wheel for one turn of the driver (handle side).

    >>> stage_ratio(Stage(driver_teeth=60, driven_teeth=12)), stage_ratio(Stage(ratio=2.5))
    (5.0, 2.5)
    """
    if stage.driver_teeth and stage.driven_teeth:
        return stage.driver_teeth / stage.driven_teeth
    return 1.0 if stage.ratio is None else stage.ratio


def ratio(stages: tuple[Stage, ...]) -> float:
    """Motor turns for one turn of the handle: stages multiply.

    >>> ratio((Stage(ratio=4), Stage(driver_teeth=60, driven_teeth=10)))
    24.0
    """
    return prod((stage_ratio(s) for s in stages), start=1.0)


def efficiency(stages: tuple[Stage, ...]) -> float:
    """Power out over power in of the whole train: losses multiply.

    >>> round(efficiency((Stage(ratio=4, efficiency=0.85),) * 3), 3)
    0.614
    """
    return prod((s.efficiency for s in stages), start=1.0)
