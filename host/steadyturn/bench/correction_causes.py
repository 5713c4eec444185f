"""What would explain a meter's figure that the sensor's data sheet and the meter's error do not.

Each cause is undone on all points (or on the one that stands out) and named where they then agree
with the sensor as it is meant to be. Nothing is corrected by it: the person looks, and mends the
rig file, the wiring or the figure.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace

from steadyturn.bench import meter as meters
from steadyturn.bench.correction import Line, Point
from steadyturn.bench.readings import Meter
from steadyturn.rig.sensors import Sheet

# usual shunts [ohm]: R001 to R500 of printed boards, common practice
SHUNTS = (0.001, 0.002, 0.005, 0.01, 0.015, 0.02, 0.025, 0.05, 0.1, 0.2, 0.5, 1.0)
NEAR = 0.06  # a shunt's print and the reading agree so well: tolerance and meter, practice
DIODE_V = (0.15, 1.3)  # a Schottky at little current to a silicon diode at much; memory
JOINT = (0.5, 0.97)  # of the reading: solder and wire beside a shunt of some milliohms, practice
WIDER = 1.5  # room while a cause is tried: there may be a small error besides, practice
STEADY = 0.2  # of a drop: a diode's own change over a few currents, practice
# what one bit is, data sheets TI SBOS547, SBOS448, SBOS576: bus V, shunt V
BITS = {"ina226": (1.25e-3, 2.5e-6), "ina219": (4e-3, 10e-6), "ina3221": (8e-3, 40e-6)}


@dataclass(frozen=True)
class Context:
    """What else is known. unit: "V" or "A"; shunt_ohm: as set; supply_a: what the board itself
    draws past the sensor."""

    unit: str
    chip: str
    shunt_ohm: float
    supply_a: float = 0.0


@dataclass(frozen=True)
class Cause:
    """code: "draws" (current where nothing should be), "millis", "decimal", "sign", "swapped",
    "shunt", "chip", "after_shunt", "diode", "own_current", "output", "joint", "off_line" or
    "unknown". point: which (from 1), 0: all. factor: the meter over the board; value: what would
    fit (a shunt or a joint in ohm, a drop in V, a current in A, the other point), chip: whose bits
    would."""

    code: str
    point: int = 0
    factor: float | None = None
    value: float | None = None
    chip: str = ""


def room(point: Point, read: float, unit: str, meter: Meter, sheet: Sheet) -> float:
    """The most that meter and board may differ at a point with both in order [V or A]."""
    if point.nothing:
        return sheet.most(0.0) + 2 * point.scatter
    own, share, scale = unit, meter.amp_percent, 1.0
    if unit == "V" or point.ohm is not None:
        own, share = "V", meter.percent
    if point.ohm is not None:
        scale = 1 / point.ohm
        share += point.ohm_share
    error = share * abs(point.true) + scale * meters.SIGMAS * meters.digit_error(
        meter, point.meter, own)
    return sheet.most(read) + error + 2 * point.scatter


def fits(points: tuple[Point, ...], reads: list[float], context: Context, meter: Meter,
         sheet: Sheet, times: float = 1.0) -> list[bool]:
    """Which points data sheet and meter explain; `times`: with so much more room."""
    return [abs((0.0 if p.nothing else p.true) - r)
            <= times * room(p, r, context.unit, meter, sheet)
            for p, r in zip(points, reads, strict=True)]


def causes(points: tuple[Point, ...], context: Context, meter: Meter, sheet: Sheet,
           in_force: Line, chance: float | None = None) -> tuple[Cause, ...]:
    """What may be the matter, the likeliest first; () where nothing is. chance: of the line's
    scatter."""
    reads = [in_force.read(p.board) for p in points]
    good = fits(points, reads, context, meter, sheet)
    if all(good):
        off = chance is not None and chance < 1e-3
        return (Cause("off_line"),) if off else ()

    def mends(change: Callable[[int, Point], Point]) -> bool:
        mended = tuple(change(i, p) for i, p in enumerate(points))
        return all(fits(mended, reads, context, meter, sheet, WIDER))

    odd = [i for i, fit in enumerate(good) if not fit]
    if all(points[i].nothing for i in odd):
        return (Cause("draws", odd[0] + 1, value=reads[odd[0]]),)
    found = list(_typed(points, odd, mends))
    if len(odd) == 1 and len(points) > 2 and not found:
        found.append(Cause("unknown", odd[0] + 1, _factor(points[odd[0]], reads[odd[0]])))
    found += _volts(points, reads, context, mends) if context.unit == "V" else _amps(
        points, reads, context, mends)
    found += _chip(points, reads, context, mends)
    if len(points) == 1 and [one.code for one in found] == ["diode"]:  # nearly any drop would do
        found.append(Cause("unknown", 0, _mean_factor(points, reads)))
    return tuple(found) or (Cause("unknown", 0, _mean_factor(points, reads)),)


def _typed(points: tuple[Point, ...], odd: list[int],
           mends: Callable[[Callable[[int, Point], Point]], bool]) -> Iterator[Cause]:
    """Slips of who types or holds the leads."""
    where = odd[0] + 1 if len(odd) == 1 and len(points) > 1 else 0
    for code, factors in (("millis", (1e-3, 1e3)), ("decimal", (0.1, 10.0, 0.01, 100.0)),
                          ("sign", (-1.0,))):
        for factor in factors:
            def times(i: int, p: Point, by: float = factor) -> Point:
                return replace(p, meter=p.meter * by) if i in odd else p

            if mends(times):
                yield Cause(code, where, 1 / factor)
    for a in range(len(points)):
        for b in range(a + 1, len(points)):
            one, two = points[a], points[b]
            if one.nothing or two.nothing or one.meter == two.meter:
                continue

            def swapped(i: int, p: Point, at: tuple[int, int] = (a, b)) -> Point:
                other = {at[0]: at[1], at[1]: at[0]}.get(i)
                return p if other is None else replace(p, meter=points[other].meter,
                                                       ohm=points[other].ohm)

            if mends(swapped):
                yield Cause("swapped", a + 1, value=float(b + 1))


def _volts(points: tuple[Point, ...], reads: list[float], context: Context,
           mends: Callable[[Callable[[int, Point], Point]], bool]) -> Iterator[Cause]:
    """The meter stands somewhere else."""
    drops = [p.true - r for p, r in zip(points, reads, strict=True)]
    if all(p.out_v for p in points) and mends(
            lambda i, p: replace(p, meter=p.meter - (p.out_v or 0.0) + reads[i])):
        yield Cause("output")
    if all(p.amps for p in points):
        for sign in (1.0, -1.0):
            if mends(lambda i, p, s=sign: replace(  # type: ignore[misc]
                    p, meter=p.meter - s * (p.amps or 0.0) * context.shunt_ohm)):
                yield Cause("after_shunt", value=sign * context.shunt_ohm)
    middle = sum(drops) / len(drops)
    low, high = DIODE_V
    if low <= abs(middle) <= high and all(abs(d - middle) <= STEADY * abs(middle) for d in drops):
        yield Cause("diode", value=middle)


def _amps(points: tuple[Point, ...], reads: list[float], context: Context,
          mends: Callable[[Callable[[int, Point], Point]], bool]) -> Iterator[Cause]:
    """The shunt is another, or other currents pass the meter."""
    factor = _mean_factor(points, reads)
    if context.supply_a and mends(
            lambda i, p: p if p.nothing else replace(
                p, meter=p.meter - context.supply_a * (p.ohm or 1.0))):
        yield Cause("own_current", value=context.supply_a)
    if factor is None or factor <= 0:
        return
    ohm = context.shunt_ohm / factor
    near = min(SHUNTS, key=lambda one: abs(math.log(one / ohm)))
    if abs(math.log(near / ohm)) <= NEAR and abs(math.log(near / context.shunt_ohm)) > 2 * NEAR:
        yield Cause("shunt", factor=factor, value=near)
    elif not 0.8 <= factor <= 1.2 and SHUNTS[0] / 2 <= ohm <= SHUNTS[-1]:
        yield Cause("shunt", factor=factor, value=ohm)
    if JOINT[0] <= factor <= JOINT[1]:
        yield Cause("joint", factor=factor, value=ohm - context.shunt_ohm)


def _chip(points: tuple[Point, ...], reads: list[float], context: Context,
          mends: Callable[[Callable[[int, Point], Point]], bool]) -> Iterator[Cause]:
    """The bits are another chip's."""
    own = BITS.get(context.chip)
    place = 0 if context.unit == "V" else 1
    for chip, bits in BITS.items():
        if own is None or chip == context.chip:
            continue
        factor = bits[place] / own[place]
        if mends(lambda i, p, by=factor: replace(p, meter=p.meter / by)):  # type: ignore[misc]
            yield Cause("chip", factor=factor, chip=chip)


def _factor(point: Point, read: float) -> float | None:
    return point.true / read if read and not point.nothing else None


def _mean_factor(points: tuple[Point, ...], reads: list[float]) -> float | None:
    found = [f for p, r in zip(points, reads, strict=True)
             if (f := _factor(p, r)) is not None and abs(r) > 0]
    return sum(found) / len(found) if found else None
