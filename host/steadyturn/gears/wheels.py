"""Wheels and pinions as bodies: web or spokes, hub, bore, seats of bearings, grub screw."""

from __future__ import annotations

from math import cos, hypot, pi, sin, sqrt
from typing import Any

from steadyturn.gears import shapes
from steadyturn.gears.crank import ARM_MM
from steadyturn.gears.given import Given
from steadyturn.gears.layers import Slab, leaning
from steadyturn.gears.outline import Points, cut_to_width, flank_points, outline, tip_width_mm
from steadyturn.gears.shapes import FIRST_LAYER_MM, Printer, circle, polygon
from steadyturn.gears.solidity import HUB_MM, RIM_MODULES, SOLID_MM, web_mm
from steadyturn.gears.teeth import Gear
from steadyturn.gears.trains import COVER_MM, GAP_MM, TOP_MM, Train

RUNS_MM = 0.15  # a bore that turns on an axle is wider, radius; common practice, no source
SITS_MM = 0.05  # a seat of a ball bearing, radius
SEAT_FLOOR_MM = 2.5  # of plastic over it
PRESS_MM = -0.02  # a bore that is pressed on a motor's shaft, radius
BOSS_MM, BOSS_WALL_MM = 7.0, 3.5  # of the collar with the grub screw: height, wall
GRUB_MM = 2.5  # hole to cut an M3 thread into
LEAST_SPOKED_MM = 18.0  # of free web between hub and rim, below which it stays closed
NEAR_MM, FILLET = 0.003, 7  # of a printed flank to the curve; points of a fillet
TIP_TAKEN = 2.8  # widths of a tip over how far its flanks are drawn in on either side


def printed_outline(gear: Gear, given: Given, grown_mm: float = 0.0) -> Points:
    """A wheel's outline as it is printed and drawn: few points, its tips relieved."""
    return outline(gear, flank=flank_points(gear, NEAR_MM), fillet=FILLET, grown_mm=grown_mm,
                   tip_relief_mm=given.tip_relief_mm(gear.module_mm))


def toothed(gear: Gear, width: float, given: Given, printer: Printer, *,
            low: float = 0.0) -> list[Slab]:
    """A wheel's teeth as a full body of this width, its lowest edge drawn in against the foot
    of the first layer where it lies on the printer. Tips that would become pointed by what the
    printer adds are cut a little; the first layer is drawn in no further than tips bear."""
    grows = printer.grows_mm
    sturdy = cut_to_width(gear, TIP_TAKEN * grows) if grows > 0 else gear

    def ring(grown: float) -> Points:
        return printed_outline(sturdy, given, grown)

    full = ring(-grows)
    shape = polygon(full)
    foot = min(printer.foot_mm, tip_width_mm(sturdy) / TIP_TAKEN - max(grows, 0.0))
    if low > 0 or foot <= 1e-6:
        return [Slab(low, low + width, shape)]
    return [leaning(0.0, FIRST_LAYER_MM, ring(-grows - foot), full),
            Slab(FIRST_LAYER_MM, width, shape)]


def journal_mm(train: Train) -> float:
    """Radius of the collar by which the handle's wheel turns in the cover."""
    return train.hexagon_mm / sqrt(3) + 1.0


def head_mm(given: Given) -> tuple[float, float]:
    """Across the flats and height of a seat for the head of an axle's bolt (ISO 4017, rounded
    up, from memory)."""
    return 1.6 * given.axle_mm + 0.6, 0.75 * given.axle_mm


def _hollows(gear: Gear, width: float, hub: float) -> list[Slab]:
    """What is taken out of a wheel above its web, and round holes in the web."""
    inside = gear.root_mm - RIM_MODULES * gear.module_mm
    web = web_mm(width)
    if gear.tip_mm < SOLID_MM or inside - hub < 4 or width - web < 2:
        return []
    cuts = [Slab(web, width, circle(inside) - circle(hub))]
    if inside - hub > LEAST_SPOKED_MM:
        middle, size = (inside + hub) / 2, (inside - hub) / 2 - 3.0
        count = max(4, min(8, int(2 * pi * middle / (2 * size + 5.0))))
        turns = [2 * pi * (n + 0.5) / count for n in range(count)]
        cuts += [Slab(-1.0, web + 1.0, circle(size, middle * cos(t), middle * sin(t), 48))
                 for t in turns]
    return cuts


def first_wheel(train: Train, given: Given, printer: Printer) -> Any:
    """The handle's wheel: a collar that turns in the cover, the arm's hexagon on top."""
    stage = train.stages[0]
    width, radius = stage.width_mm, journal_mm(train)
    shoulder = width + TOP_MM + COVER_MM + 0.3
    top = shoulder + ARM_MM
    hub = max(HUB_MM, radius + 3.0)
    holes = _bore_cuts(given, width, top, train.hexagon_mm / 2)
    if given.reverted:  # its bolt turns with it, the head sunk into its back
        across, deep = head_mm(given)
        holes = [Slab(-1.0, top + 1.0, circle(given.axle_mm / 2 + RUNS_MM)),
                 Slab(-1.0, deep, shapes.hexagon(across))]
    neck = [Slab(width, width + GAP_MM - 0.2, circle(radius + 3.0)),
            Slab(width, shoulder, circle(radius)),
            Slab(width, top, shapes.hexagon(train.hexagon_mm))]
    return shapes.bored([*toothed(stage.pair.driver, width, given, printer),
                         *(shapes.drawn_in(slab, printer) for slab in neck)],
                        [*_hollows(stage.pair.driver, width, hub), *holes], printer)


def compound(train: Train, number: int, given: Given, printer: Printer) -> Any:
    """The wheel of stage `number` (from 1) with the pinion that is driven by the stage before,
    on top of it."""
    wheel, pinion = train.stages[number], train.stages[number - 1]
    small = pinion.pair.driven
    hub = max(HUB_MM, small.tip_mm + 1.0)
    width = wheel.width_mm
    top = width + GAP_MM + pinion.width_mm
    holes = _bore_cuts(given, width, top, small.root_mm)
    return shapes.bored([*toothed(wheel.pair.driver, width, given, printer),
                         *toothed(small, top - width, given, printer, low=width)],
                        [*_hollows(wheel.pair.driver, width, hub), *holes], printer)


def _bore_cuts(given: Given, width: float, top: float, upper_mm: float) -> list[Slab]:
    """The bore, and seats for ball bearings: one below where the wheel is thick enough to keep
    a floor over it, one above where the hub's end, of radius upper_mm, has room for it. Only
    between two of them the bore is wide."""
    seats = []
    if given.bearing is not None:
        _, outer, deep = given.bearing
        seat = circle(outer / 2 + SITS_MM)
        if width >= deep + SEAT_FLOOR_MM:
            seats.append(Slab(-1.0, deep, seat))
        if upper_mm >= outer / 2 + 2.4 and top > 2 * deep + SEAT_FLOOR_MM:
            seats.append(Slab(top - deep, top + 1.0, seat))
    radius = given.axle_mm / 2 + (0.5 if len(seats) > 1 else RUNS_MM)
    return [Slab(-1.0, top + 1.0, circle(radius)), *seats]


def motor_pinion(train: Train, given: Given, printer: Printer, *, boss: bool) -> Any:
    """The pinion on the motor's shaft; boss: with a collar for a grub screw on top."""
    stage = train.stages[-1]
    width = stage.width_mm
    bore = shaft_bore(given, PRESS_MM + (0.05 if boss else 0.0))
    slabs = toothed(stage.pair.driven, width, given, printer)
    outer = given.shaft_mm / 2 + BOSS_WALL_MM
    if boss:
        slabs.append(shapes.drawn_in(Slab(width, width + BOSS_MM, circle(outer)), printer))
    body = shapes.bored(slabs, [Slab(-1.0, width + BOSS_MM + 1, bore)], printer)
    if not boss:
        return body
    # the screw presses on the flat of a D shaft or of a hexagon, which looks to +y
    drill = circle(GRUB_MM / 2, corners=24).extrude(2 * outer).rotate((-90, 0, 0))
    return body - drill.translate((0, 0, width + BOSS_MM / 2))


def shaft_bore(given: Given, wider_mm: float) -> Any:
    """For the motor's shaft, whatever its shape; wider_mm: in radius."""
    radius = given.shaft_mm / 2 + wider_mm
    if given.hex_mm is not None:
        return shapes.hexagon(given.hex_mm + 2 * wider_mm)
    if given.flat_mm is not None:
        return shapes.d_shape(radius, given.flat_mm - given.shaft_mm / 2)
    return circle(radius)


def boss_fits(train: Train, given: Given) -> bool:
    """Whether a collar on the motors' pinions stays clear of the wheels in front of them."""
    room = given.shaft_mm / 2 + BOSS_WALL_MM + 1.0
    axles = train.layout.axles
    for x, y in train.layout.motors:
        for n, stage in enumerate(train.stages[:-1]):
            here = axles[n]
            if hypot(x - here[0], y - here[1]) < stage.pair.driver.tip_mm + room:
                return False
            end = axles[n + 1]
            if hypot(x - end[0], y - end[1]) < stage.pair.driven.tip_mm + room:
                return False
    widths = [s.width_mm for s in train.stages[:-1]]
    return TOP_MM + sum(w + GAP_MM for w in widths) >= BOSS_MM + 1.0
