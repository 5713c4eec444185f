"""The handle's neck and arm: as wide as the overload asks for. Sources in README.md."""

from __future__ import annotations

from math import sqrt

import numpy as np

from steadyturn.gears.materials import heat_share
from steadyturn.gears.search import Task
from steadyturn.gears.strength import OVERLOAD_SAFETY, blade_mpa, hexagon_mpa, layers_mpa

WIDEST_MM = 40.0  # of the hexagon
ARM_MM, FLOOR_MM = 10.0, 3.0  # height of the hexagon in the arm, and of the arm's floor over it
SLEEVE_MM, GRIP_MM = 72.0, 14.0  # length of the sleeve, radius where it is thickest
END_MM = 9.0  # half the width of the arm at the knob, at least


def hexagon_mm(task: Task) -> float:
    """Across the flats of the hexagon that the arm sits on: wide enough not to be twisted off
    its wheel between two layers, and for the bore or a bearing in it."""
    given = task.given
    bearing = given.bearing
    across = max(given.axle_mm + 10.0, (bearing[1] + 5.0) if bearing else 0.0)
    most = layers_mpa(given.material, task.warm_c[0]) / OVERLOAD_SAFETY
    bore = bearing[1] if bearing else given.axle_mm + 1
    while across < WIDEST_MM and hexagon_mpa(task.loads.overload_nm, across, bore) > most:
        across += 1.0
    return across


def arm_half_mm(task: Task, hexagon: float) -> float:
    """Half the width of the arm where it meets the knob: the hand pushes the grip's middle, well
    above the arm, and so bends and twists it. At most the knob's own radius."""
    given = task.given
    force = task.loads.overload_nm * 1000 / given.arm_mm
    thick = ARM_MM + FLOOR_MM
    lever = SLEEVE_MM / 2 + thick / 2
    warm = task.warm_c[0]
    most = given.material.tensile_mpa.value * heat_share(given.material, warm) / OVERLOAD_SAFETY
    most_between = layers_mpa(given.material, warm) / OVERLOAD_SAFETY
    hub, end = hub_half_mm(hexagon), END_MM
    along = np.linspace(0.2, 1.0, 9)  # from the hub's edge to the knob
    while end < GRIP_MM:
        worst = [blade_mpa(force, (1 - share) * given.arm_mm, lever,
                           2 * float(hub + (end - hub) * share), thick) for share in along]
        if all(bent <= most and between <= most_between for bent, between in worst):
            break
        end += 0.5
    return min(end, GRIP_MM)


def hub_half_mm(hexagon: float) -> float:
    """Half the width of the arm at its hub: about the hexagon's corners."""
    return hexagon / sqrt(3) + 1
