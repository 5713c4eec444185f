"""From points of board and meter to what would be written, and whether it should be."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Any

from steadyturn.bench.correction import WIDE, Found, Kept, Line, Point, fit, rounded
from steadyturn.bench.correction_causes import Cause, Context, causes
from steadyturn.bench.readings import Meter
from steadyturn.jobs.calibrate_points import UNIT
from steadyturn.rig.sensors import Sheet
from steadyturn.settings import corrections
from steadyturn.settings.corrections import Correction, Refusal
from steadyturn.settings.file import Settings

QUANTITY = {"volts": "bus", "amps": "amps", "out_volts": "out_bus", "out_amps": "out_amps"}
USB_A = 0.5  # USB 2.0: a device's full share of a port
NAME = {quantity: name for name, quantity in QUANTITY.items()}


@dataclass(frozen=True)
class Row:
    """One point, V or A. uncorrected: what the sensor reads without any correction; left: meter
    less new line; within: 95 % of that by meter and sensor."""

    board: float
    uncorrected: float
    meter: float
    nothing: bool
    left: float
    within: float


@dataclass(frozen=True)
class Judged:
    """Of one quantity. verdict: "corrects"; "agrees": board and meter agree within their errors,
    and the meter is not the better of the two; "doubtful": sheet and meter do not explain it
    (causes); "refused": it may not be written (refusals).

    fitted: "gain and offset", "gain" or "offset"; why: not both (bench.correction.Found). gain,
    offset [V or A] with 95 % intervals. lowest, highest: of the points; used_low, used_high:
    where the machine reads. typical: what the board shows now, typical_after: then,
    typical_within: 95 %, typical_sheet: of what is in force. chance: that points on a line
    scatter so much."""

    quantity: str
    unit: str
    rows: tuple[Row, ...]
    fitted: str
    why: str
    gain: float
    gain_low: float
    gain_high: float
    offset: float
    offset_low: float
    offset_high: float
    lowest: float
    highest: float
    used_low: float
    used_high: float
    typical: float
    typical_after: float
    typical_within: float
    typical_sheet: float
    chance: float | None
    before: Correction
    after: Correction
    verdict: str
    causes: tuple[Cause, ...]
    refusals: tuple[Refusal, ...]
    shunt_ohm: float | None = None
    settings: Settings = field(default_factory=dict, metadata={"json": False})


def line_of(one: Correction) -> Line:
    """A correction of the settings as a line, in V or A."""
    return Line(one.gain_ppm / 1e6, one.offset / 1000, (
        ((one.within_ppm or 0) / 1e6 / WIDE) ** 2, 0.0,
        ((one.within_micro or 0) / 1e6 / WIDE) ** 2))


def used(settings: Settings, quantity: str) -> tuple[float, float]:
    """Between which figures the machine reads it, V or A."""
    whole = {name: int(value) for name, value in settings.items() if isinstance(value, int)}
    if quantity == "bus":
        return whole["release_mv"] / 1000, whole["over_mv"] / 1000
    if quantity == "out_bus":
        return 0.9 * whole["out_mv"] / 1000, (whole["over_out_mv"] or whole["out_mv"] * 1.1) / 1000
    # nothing releases by the output's current
    return 0.0, whole["over_ma"] / 1000 if quantity == "amps" else 0.0


def typical(settings: Settings, quantity: str) -> float:
    """A usual reading: where the load is connected, the set point, half of the most current."""
    if quantity == "bus":
        return int(settings["connect_mv"]) / 1000
    if quantity == "out_bus":
        return int(settings["out_mv"]) / 1000
    if quantity == "out_amps":
        return USB_A
    return int(settings["over_ma"]) / 2500  # thresholds: 1.25 times what the band draws


def judge(settings: Settings, name: str, points: tuple[Point, ...], meter: Meter,
          day: str) -> Judged:
    """name: "volts", "amps", "out_volts" or "out_amps"; settings: in force; day: of today."""
    quantity, unit = QUANTITY[name], UNIT[name]
    points = tuple(dict.fromkeys(points))  # the same twice tells nothing more
    before = corrections.read(settings, quantity)
    sheet = corrections.sheet(settings, quantity)
    in_force = line_of(before)
    found = fit(points, unit, meter, sheet, in_force)
    low, high = used(settings, quantity)
    low, high = max(0.0, min(low, found.lowest)), max(high, found.highest, low + 0.1)
    kept = rounded(found, low, high) if found.line.gain > 0 else Kept(round(
        1e6 * found.line.gain), round(1000 * found.line.offset), 0, 0)
    after = Correction(kept.gain_ppm, kept.offset_milli, day, min(kept.within_ppm, 500_000),
                       min(kept.within_micro, 5_000_000))
    shunt = _shunt(settings, quantity)
    context = Context(unit, str(settings["chip"]), shunt or _shunt(settings, "amps") or 0.0,
                      int(settings["supply_ma"]) / 1000 if quantity == "amps" else 0.0)
    refused = corrections.refusals(settings, quantity, after)
    matter = causes(_uncorrected(points, in_force), context, meter, sheet, Line(), found.chance)
    if matter and before.within_ppm:  # written after a doubt, it is not doubted again
        known = Sheet(before.within_ppm / 1e6, (before.within_micro or 0) / 1e6, sheet.step)
        if not causes(points, context, meter, known, Line(), found.chance):
            matter = ()
    usual = typical(settings, quantity)
    now_half = before.half_width(usual) or sheet.half_width(usual)
    reads = [in_force.read(p.board) for p in points]
    new = line_of(after)
    return Judged(
        name, unit, _rows(points, reads, new, found), found.fitted, found.why,
        found.line.gain, found.line.gain - found.gain_half, found.line.gain + found.gain_half,
        found.line.offset, found.line.offset - found.offset_half,
        found.line.offset + found.offset_half,
        found.lowest, found.highest, *used(settings, quantity),
        usual, new.at(in_force.read(usual)), kept.half_width(usual), now_half, found.chance,
        before, after, _verdict(refused, matter, found, kept, in_force, usual, now_half), matter,
        refused, shunt, settings)


def _uncorrected(points: tuple[Point, ...], in_force: Line) -> tuple[Point, ...]:
    return tuple(replace(p, board=in_force.read(p.board)) for p in points)


def _verdict(refused: tuple[Any, ...], matter: tuple[Any, ...], found: Found, kept: Kept,
             in_force: Line, usual: float, now_half: float) -> str:
    if refused:
        return "refused"
    if matter:
        return "doubtful"
    half = kept.half_width(usual)
    moved = abs(found.line.at(in_force.read(usual)) - usual)
    if half >= now_half and moved <= (half**2 + now_half**2) ** 0.5:
        return "agrees"
    return "corrects"


def _shunt(settings: Settings, quantity: str) -> float | None:
    key = {"amps": "shunt_uohm", "out_amps": "out_shunt_uohm"}.get(quantity)
    return int(settings[key]) * 1e-6 if key else None


def _rows(points: tuple[Point, ...], reads: list[float], new: Line, found: Found,
          ) -> tuple[Row, ...]:
    return tuple(
        Row(p.board, read, 0.0 if p.nothing else p.true, p.nothing,
            (0.0 if p.nothing else p.true) - new.at(read), WIDE * sigma)
        for p, read, sigma in zip(points, reads, found.sigma, strict=True))
