"""The handle: arm, knob with a turning sleeve; and the coupon that tells what a printer adds."""

from __future__ import annotations

from math import sqrt
from typing import Any

import numpy as np

from steadyturn.gears import shapes
from steadyturn.gears.crank import ARM_MM, FLOOR_MM, GRIP_MM, SLEEVE_MM, hub_half_mm
from steadyturn.gears.given import Given
from steadyturn.gears.layers import Slab
from steadyturn.gears.shapes import Printer, circle, rectangle
from steadyturn.gears.trains import Train

TIGHT_MM = 0.15  # between hexagon and arm, each side
WALL_MM = 5.0
KNOB_BOLT_MM = 3.2  # radius of the hole for an M6 bolt
SPINDLE_MM = 6.0  # radius of what the sleeve turns on
NUT_MM, NUT_FROM_MM = 10.2, 8.0  # across the flats of an M6 nut: 10; the floor under it


def arm(train: Train, given: Given, printer: Printer) -> Any:
    """The crank arm, floor up: a hexagon at one end, the knob's bolt at the other."""
    across = train.hexagon_mm + 2 * TIGHT_MM
    hub = circle(across / sqrt(3) + WALL_MM)
    end = circle(GRIP_MM, given.arm_mm, 0.0)
    blade = shapes.hull([circle(hub_half_mm(across)),
                         circle(train.arm_half_mm, given.arm_mm, 0.0)])
    bolt = circle(KNOB_BOLT_MM, given.arm_mm, 0.0, 32)
    nut = shapes.hexagon(NUT_MM).translate((given.arm_mm, 0.0))
    top = ARM_MM + FLOOR_MM
    whole = shapes.union([hub, blade, end]) - bolt
    floor = circle(given.axle_mm / 2 + 0.3)
    slabs = [Slab(0.0, FLOOR_MM, whole - floor),
             Slab(FLOOR_MM, NUT_FROM_MM, whole - shapes.hexagon(across)),
             Slab(NUT_FROM_MM, top, whole - shapes.hexagon(across) - nut)]
    return shapes.solid(slabs, printer)


def spindle(printer: Printer) -> Any:
    """What the sleeve turns on, a flange below that keeps it from slipping off."""
    bore = circle(KNOB_BOLT_MM, corners=32)
    slabs = [Slab(0.0, 3.0, circle(GRIP_MM - 2) - bore),
             Slab(3.0, 3.0 + SLEEVE_MM + 0.6, circle(SPINDLE_MM) - bore)]
    return shapes.solid(slabs, printer)


def sleeve(printer: Printer) -> Any:
    """The rounded grip."""
    grow = printer.grows_mm
    way = np.linspace(0.0, 1.0, 25)
    # thickest a little above the middle, thinner and rounded at both ends
    radius = 9.5 + (GRIP_MM - 9.5) * np.sin(np.pi * way) ** 0.6 - 1.5 * np.sin(2 * np.pi * way)
    radius = np.maximum(radius, 9.0) - grow
    inner = SPINDLE_MM + 0.35 + grow
    profile = np.concatenate([[[inner, 0.0]], np.stack([radius, way * SLEEVE_MM], axis=1),
                              [[inner, SLEEVE_MM]]])
    return shapes.turned(profile)


OUTSIDE_MM, INSIDE_MM, COUPON_MM = 30.0, 15.0, 8.0
STEPS_MM = (-0.10, -0.05, 0.0, 0.05, 0.10)  # of the trial bores, added to the diameter


def coupon(given: Given) -> Any:
    """A square with a square hole, and a row of bores for the motor's shaft; printed without
    any making up. Walls stand (outside - 30) / 2 and (15 - inside) / 2 too far out."""
    frame = rectangle(OUTSIDE_MM, OUTSIDE_MM) - rectangle(INSIDE_MM, INSIDE_MM)
    pitch = given.shaft_mm + 5.0
    length = pitch * len(STEPS_MM) + 3.0
    bar = rectangle(OUTSIDE_MM / 2 + length, given.shaft_mm + 8.0,
                    (OUTSIDE_MM / 2 + length) / 2, OUTSIDE_MM / 2 + given.shaft_mm / 2 + 3.0)
    whole = frame + bar
    y = OUTSIDE_MM / 2 + given.shaft_mm / 2 + 3.5
    for n, step in enumerate(STEPS_MM):
        x = OUTSIDE_MM / 2 + pitch * (n + 0.5) - 2.0
        bore = circle((given.shaft_mm + step) / 2) if given.hex_mm is None else \
            shapes.hexagon(given.hex_mm + step)
        whole = whole - bore.translate((x, y))
    # a notch beside the tightest one says where the row begins
    whole = whole - rectangle(2.0, 2.0, OUTSIDE_MM / 2 + pitch * 0.5 - 2.0,
                              OUTSIDE_MM / 2 + given.shaft_mm + 7.0)
    return shapes.solid([Slab(0.0, COUPON_MM, whole)], Printer())
