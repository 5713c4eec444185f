"""What a train needs that is not printed: bolts, screws, rings, bearings, by common sizes."""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil

from steadyturn.gears import frame, wheels
from steadyturn.gears.crank import ARM_MM, FLOOR_MM, SLEEVE_MM
from steadyturn.gears.given import BEARINGS, Given
from steadyturn.gears.trains import COVER_MM, TOP_MM, Train

STEP_MM = 5  # bolts are made in such steps


@dataclass(frozen=True)
class Bought:
    """count pieces of `name`; what: where they go."""

    count: int
    name: str
    what: str


def bought(train: Train, given: Given) -> tuple[Bought, ...]:
    """Everything to buy or find, for one machine."""
    size = f"M{given.axle_mm:g}"
    nut = 0.8 * given.axle_mm + 1.5 + 2  # nut, washer, two threads: ISO 4032, from memory
    inner = _length(train.depth_mm + 1.6 + nut)
    beyond = 0.3 + ARM_MM + FLOOR_MM + 1.6 + nut  # of the cover: hexagon, arm, washer, nut
    if given.reverted:
        inside = train.stages[0].width_mm - wheels.head_mm(given)[1] + TOP_MM + COVER_MM
        rows = [Bought(1, f"bolt {size} x {_length(inside + beyond)}", "through the handle's "
                       "wheel and the arm, its head in the wheel's back")]
    else:
        rows = [Bought(1, f"bolt {size} x {_length(train.depth_mm + beyond)}", "the handle's "
                       "axle, from the plate's back, its shank plain as far as the wheel "
                       "reaches")]
    if len(train.stages) > 1:
        rows.append(Bought(len(train.stages) - 1, f"bolt {size} x {inner}", "further axles"))
    rows += [
        Bought(len(train.stages), f"locknut {size}", "on the axles: tight, then back until "
               "all turns freely"),
        Bought(2 * len(train.stages), f"washer {size}", "under heads and nuts"),
        Bought(2 * len(frame.columns(train)), "screw M3 x 12", "into the columns, from the cover "
               "and (two longer: 20) through the holder"),
        Bought(2 * given.motors, "screw M3 x 6", "motors to the plate (or M2.5, as the motor is)"),
        Bought(1, f"bolt M6 x {_length(SLEEVE_MM + 3.6 + ARM_MM + FLOOR_MM + 2)}, 8.8",
               "the knob's axle, with nut and washer; a softer one bends when the crank sticks"),
    ]
    if wheels.boss_fits(train, given):
        rows.append(Bought(given.motors, "grub screw M3 x 4", "in the pinions' collars"))
    if given.bearing is not None:
        name = next(n for n, b in BEARINGS.items() if b == given.bearing)
        rows.append(Bought(2 * len(train.stages), f"ball bearing {name}", "in the wheels: one or "
                           "two in each, as there are seats"))
    return tuple(rows)


def shaft_grip_mm(given: Given, width_mm: float) -> float:
    """How much of a motor's shaft is inside its pinion: it begins behind the mount's face."""
    free = given.shaft_length_mm - frame.MOUNT_MM - 1.0
    return max(0.0, min(free, width_mm))


def _length(least_mm: float) -> int:
    return ceil(least_mm / STEP_MM) * STEP_MM
