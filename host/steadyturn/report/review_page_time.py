"""The review's curves for a page: pace with lamp and phone, power and volts, as SVG.

Boots stand side by side; between two of them nothing ran, so the gap has no length.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray
from steadyturn_fw import pages as layout

from steadyturn.report import curves, spans_of, words
from steadyturn.report.curves import COLUMNS, SHARED_S, Curve
from steadyturn.report.paceband import short
from steadyturn.report.plots_boots import (
    MOST_TICKED,
    Stretch,
    clock,
    events_at,
    holes,
    own_ticks,
    spaced,
)
from steadyturn.report.style import duration, number
from steadyturn.report.svg_time import Sheet

# A bar of each cue by its height: stripes from and to, as shares of it. They follow the lamp:
# dark but for a little, light, broken light.
STRIPES: dict[str, tuple[tuple[float, float], ...]] = {
    "rest": ((0.42, 0.58),),
    "faster": ((0.6, 1.0),),
    "hold": ((0.0, 1.0),),
    "slower": ((0.0, 0.38), (0.62, 1.0)),
    "stop": ((0.0, 0.22), (0.39, 0.61), (0.78, 1.0)),
    "fault": ((0.0, 0.12), (0.3, 0.7), (0.88, 1.0)),
}
MOST_NAMED = 5  # boots up to which each gap says so itself
GAP_TILE = '<path d="M-1 8 8 -1M-1 1 1 -1M6 8 8 6"/>'
BENCH_TILE = '<path d="M0 2H7M0 5.5H7"/>'
HOLE_TILE = '<circle cx="2" cy="2" r="1"/><circle cx="5.5" cy="5.5" r="1"/>'
FAULT_SIGN = "M-4.5 -8h9L0 0z"
WIDE_ROOM, NARROW_ROOM = 1 / 10, 1 / 5  # of the width, for a time beside its neighbour


def pace_svg(review: Any, stretches: Sequence[Stretch]) -> str:
    """Pace against the band, the lamp's cues, the phone."""
    sheet = _sheet("pace", stretches)
    sure, bound = curves.sure_pace(stretches), curves.bound_pace(stretches)
    band = review.band_tpm
    top = _top([*sure, *bound], band[2] if band else 20.0)
    _head(sheet, stretches)
    panel = sheet.panel("pace, turns/min", 170, 0, top)
    if band:
        panel.range(band[0], band[2], f"shaded: band {short(band[0])} to {short(band[2])}")
        panel.level(band[1], "target")
    panel.curve("bound", bound)
    panel.curve("pace", sure)
    faults = events_at(stretches, review.pages.events, layout.EV_FAULT)
    if faults:
        sheet.marks("sign", FAULT_SIGN, faults)
    sheet.strip("lamp", _cue_rows(stretches))
    sheet.strip("phone", [
        ("connected", "joined", STRIPES["hold"], spans_of.connected(stretches, True)),
        ("released", "parted", STRIPES["rest"], spans_of.connected(stretches, False))])
    _lost(sheet, stretches)
    _foot(sheet, stretches)
    return sheet.svg("Pace, lamp and phone over time", _pace_words(review, stretches, sure, bound))


def pace_caption(review: Any, stretches: Sequence[Stretch]) -> str:
    """What the lines and signs of the pace's drawing are; only those that occur."""
    found = ["Solid line: pace", "Dotted line: at most this, hardly any current flowed"]
    if review.band_tpm:
        found.append("Dashed level: the target")
    if events_at(stretches, review.pages.events, layout.EV_FAULT):
        found.append("Triangles: a fault begins")
    return f"{'. '.join(found)}."


def power_svg(review: Any, stretches: Sequence[Stretch]) -> str:
    """Power into the converter, bus volts with their peaks, current."""
    sheet = _sheet("power", stretches)
    watts = curves.watts(stretches)
    volts, peaks, amps = (curves.thousandths(stretches, column)
                          for column in ("bus_mv", "bus_peak_mv", "bus_ma"))
    window = review.window_v
    _head(sheet, stretches)
    sheet.panel("power into the converter, W", 110, 0, _top(watts, 1.0)).curve("watts", watts)
    panel = sheet.panel("bus, V", 130, 0, _top(peaks, _least_v(window, peaks)))
    if window:
        panel.range(window[0], window[1],
                    f"shaded: window {number(window[0])} to {number(window[1])} V")
    panel.curve("peak", peaks)
    panel.curve("volts", volts)
    sheet.panel("current, A", 80, 0, _top(amps, 0.1)).curve("amps", amps)
    _lost(sheet, stretches)
    _foot(sheet, stretches)
    about = "; ".join(_ends(what, curve, unit) for what, curve, unit in (
        ("power into the converter", watts, "W"), ("bus", volts, "V"), ("current", amps, "A")))
    return sheet.svg("Power, volts and current over time", f"{about}. {_boot_words(stretches)}")


def legend(stretches: Sequence[Stretch]) -> list[str]:
    """What the marks across a drawing mean; only those that occur."""
    found = []
    if len(stretches) > 1:
        found.append("hatched: no power between two boots, length unknown")
    if any(holes(s) for s in stretches):
        found.append("dotted: pages missing")
    if spans_of.bench(stretches):
        found.append("lines across: readings for a bench, the lamp's beat is no cue there and "
                     "the load no phone")
    if stretches and stretches[-1].end > SHARED_S * COLUMNS:
        found.append("pale: from the lowest to the highest of each stretch of "
                     f"{duration(stretches[-1].end / COLUMNS)}, the line is its mean; a bar is as "
                     "high as its share of the time")
    return found


# ---- the frame


def _sheet(key: str, stretches: Sequence[Stretch]) -> Sheet:
    return Sheet(key, stretches[-1].end if stretches else 1.0)


def _head(sheet: Sheet, stretches: Sequence[Stretch]) -> None:
    sheet.hatch("gap", [(a.end, b.begin) for a, b in pairwise(stretches)], GAP_TILE)
    sheet.hatch("bench", spans_of.bench(stretches), BENCH_TILE)
    sheet.hatch("hole", [span for s in stretches for span in holes(s)], HOLE_TILE)
    if 1 < len(stretches) <= MOST_NAMED:
        for a, b in pairwise(stretches):
            sheet.upright((a.end + b.begin) / 2, "length unknown")


def _lost(sheet: Sheet, stretches: Sequence[Stretch]) -> None:
    """Where the board was busy: a row of its own, because it is short and must be seen."""
    spans = spans_of.busy(stretches)
    if spans:
        sheet.strip("board busy, nothing measured", [("busy", "lost", STRIPES["hold"], spans)])


def _foot(sheet: Sheet, stretches: Sequence[Stretch]) -> None:
    if not stretches:
        return
    few = len(stretches) <= MOST_TICKED
    ticks = own_ticks(list(stretches)) if few else [
        ((s.begin + s.end) / 2, clock(s.end - s.begin)) for s in stretches]
    names = [((s.begin + s.end) / 2, f"boot {s.boot}") for s in stretches]
    sheet.times(_fitting(ticks, sheet.whole_s))
    if len(stretches) > 1:
        sheet.times(_fitting(names, sheet.whole_s))


def _fitting(names: list[tuple[float, str]], whole: float) -> list[tuple[float, str, str]]:
    """Those that fit a wide screen, those that do not fit a narrow one marked so."""
    wide = [(at, name) for (at, _), name in
            zip(names, spaced(names, whole * WIDE_ROOM), strict=True) if name]
    narrow = spaced(wide, whole * NARROW_ROOM)
    return [(at, name, "" if kept else "wide") for (at, name), kept in
            zip(wide, narrow, strict=True)]


# ---- what is drawn


def _least_v(window: tuple[float, float] | None, peaks: Sequence[Curve]) -> float:
    """The window's top where the volts come near it; else its foot is enough."""
    if window is None:
        return 1.0
    highest = max((float(y.max()) for _, y in peaks), default=0.0)
    return window[1] if window[1] < 1.5 * highest else window[0]


def _top(curves: Sequence[Curve], least: float) -> float:
    return 1.08 * max([least, *(float(y.max()) for _, y in curves)])


def _cue_rows(stretches: Sequence[Stretch]) -> list[Any]:
    spans = spans_of.cues(stretches)
    return [(words.cue(n).lower(), n if n in STRIPES else "fault",
             STRIPES.get(n, STRIPES["fault"]), spans.get(n, [])) for n in spans_of.rows(spans)]


# ---- said instead of drawn


def _boot_words(stretches: Sequence[Stretch]) -> str:
    if not stretches:
        return "No sample was recorded."
    whole = duration(sum(s.end - s.begin for s in stretches))
    if len(stretches) == 1:
        return f"One boot of {whole}."
    return (f"{len(stretches)} boots of {whole} in all; the time between them is not known. "
            "The table below has the figures.")


def _ends(what: str, curves: Sequence[Curve], unit: str) -> str:
    values: NDArray[Any] = np.concatenate([y for _, y in curves]) if curves else np.empty(0)
    if not len(values):
        return f"{what} not measured"
    return (f"{what} from {number(float(values.min()))} to {number(float(values.max()))} {unit}, "
            f"on average {number(float(values.mean()))}")


def _pace_words(review: Any, stretches: Sequence[Stretch], sure: Sequence[Curve],
                bound: Sequence[Curve]) -> str:
    said = [_ends("Pace", sure or bound, "turns/min") + "."]
    if review.band_tpm:
        low, _, high = review.band_tpm
        said.append(f"The band is {short(low)} to {short(high)} turns/min.")
    share = review.figures.band_percent
    if math.isfinite(share):
        said.append(f"In the band {share:.0f} % of the time of turning.")
    cues = [f"{words.cue(n).lower()} {duration(s)}" for n, s in review.figures.cue_s.items() if s]
    if cues:
        said.append(f"Lamp: {', '.join(cues)}.")
    return " ".join([*said, _boot_words(stretches)])
