"""The most current that a machine gives a device at one pace; see charging.md."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from steadyturn.model.charging import with_draw
from steadyturn.model.limits import Sheet, constraints
from steadyturn.model.point import operate
from steadyturn.rig.types import Rig

STEP_A, MOST_A = 0.1, 5.0  # a USB-C cable carries 5 A at most
PORTS_A = (0.5, 0.9, 1.5, 3.0)  # USB 2.0, USB 3, BC 1.2, Type-C: what a port can advertise
# of model.limits those that a larger draw breaks; the others are no matter of the draw, or mended
BY_DRAW = frozenset({
    "board_fade", "start", "holding", "collapse_margin", "input_limit", "output_limit",
    "window_low", "output_low", "motor_current", "winding_temperature", "mount_temperature",
    "arm_force", "arm_power",
})


@dataclass(frozen=True)
class Reach:
    """gives_a: the largest draw that this pace bears, hot and cold; limit: what ends it, by the
    names of model.limits ("" where MOST_A is reached); arm_w there, winding at 20 degC; port_a:
    the most that the port may advertise of PORTS_A, None where even the least is too much."""

    gives_a: float
    limit: str
    arm_w: float
    port_a: float | None


def reach(rig: Rig, pace_tpm: float) -> Reach:
    """How much a device could draw at pace_tpm [turns/min] within the limits of the band, for a
    hot and a cold machine.

    >>> from steadyturn.rig.examples import example_path
    >>> from steadyturn.rig.file import read_rig
    >>> found = reach(read_rig(example_path("lakeside-hut")), 60)
    >>> round(found.gives_a, 2), found.limit, found.port_a
    (0.73, 'collapse_margin', 0.5)
    """
    good, bad, limit = 0.0, MOST_A, ""
    for number in range(1, round(MOST_A / STEP_A) + 1):
        if limit := _broken(rig, pace_tpm, number * STEP_A):
            bad = number * STEP_A
            break
        good = number * STEP_A
    for _ in range(8 if limit else 0):
        middle = 0.5 * (good + bad)
        found = _broken(rig, pace_tpm, middle)
        good, bad, limit = (good, middle, found) if found else (middle, bad, limit)
    arm_w = float(operate(with_draw(rig, good), pace_tpm).arm_w) if good else 0.0
    ports = [amps for amps in PORTS_A if amps <= good]
    return Reach(good, limit, arm_w, max(ports, default=None))


def _broken(rig: Rig, pace_tpm: float, draw_a: float) -> str:
    """The first limit that this draw breaks, "" for none."""
    changed = with_draw(rig, draw_a)
    listed = [one for one in constraints(changed) if one.name in BY_DRAW]
    margins = Sheet(changed, listed, np.array([pace_tpm])).margins[:, 0]
    return next((one.name for one, margin in zip(listed, margins, strict=True) if margin < 0), "")
