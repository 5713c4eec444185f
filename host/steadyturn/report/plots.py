"""The review as a picture: pace against the band, lamp, phone, power, volts, amps over time.

Boots stand side by side. Between two of them nothing ran on the board, so the gap has no
length; it is hatched and says so. A line breaks where nothing was measured.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
from steadyturn_fw import pages as layout

from steadyturn.report import curves, plot_files, spans_of, words
from steadyturn.report import plot_style as look
from steadyturn.report.curves import Curve, Span
from steadyturn.report.harmless import harmless
from steadyturn.report.plot_files import check
from steadyturn.report.plots_boots import (
    Stretch,
    clock,
    events_at,
    holes,
    lay_out,
    runs,
    time_axis,
)
from steadyturn.report.style import number, quantity

__all__ = ["check", "clock", "draw", "holes", "lay_out", "runs", "write"]

COLUMNS = 1200  # across the picture: about a quarter of its pixels
ROOM = 1.12  # a panel's height over what is highest in it
SHARES = 8  # steps of a bar's height
MOST_NAMED = 7  # boots up to which each gap is named
PANELS = {"pace": 3.0, "lamp": 1.7, "phone": 0.9, "power": 1.9, "volts": 2.4, "amps": 1.6}


def write(review: Any, path: Path) -> None:
    """Draw a `jobs.review.Review` into `path` (PNG or SVG by its suffix)."""
    plot_files.write(path, lambda: draw(review))


def draw(review: Any) -> Any:
    """The picture as a matplotlib Figure of 10 by 8.4 inches; its panels in the order of
    PANELS."""
    from matplotlib.figure import Figure

    figure = Figure(figsize=(10, 8.4), layout="constrained")
    found = figure.subplots(len(PANELS), 1, sharex=True, height_ratios=tuple(PANELS.values()))
    panel = dict(zip(PANELS, found, strict=True))
    stretches = lay_out(review.pages)
    for axis in found:
        _gaps(axis, stretches)
    if len(stretches) <= MOST_NAMED:
        _name_gaps(panel["pace"], stretches)
    _name_bench(panel["lamp"], stretches)
    _pace(panel["pace"], stretches, review.band_tpm)
    _lamp(panel["lamp"], stretches, review.pages.events)
    _phone(panel["phone"], stretches)
    _level(panel["power"], stretches, curves.watts(stretches), look.POWER, "into converter, W", 1)
    _volts(panel["volts"], stretches, review.window_v)
    _level(panel["amps"], stretches, curves.thousandths(stretches, "bus_ma"), look.AMPS,
           "current, A", 0.1)
    time_axis(panel["pace"], panel["amps"], stretches)
    figure.align_ylabels()
    figure.suptitle(_title(review), x=0.01, ha="left", fontsize=11)
    return figure


def _gaps(axis: Any, stretches: list[Stretch]) -> None:
    for left, right in pairwise(stretches):
        axis.axvspan(left.end, right.begin, facecolor=look.GAP, hatch="////",
                     edgecolor="#bbbbbb", linewidth=0, zorder=0.5)
    for begin, end in spans_of.bench(stretches):
        axis.axvspan(begin, end, facecolor=look.GAP, hatch="..", edgecolor="#cccccc",
                     linewidth=0, zorder=0.1)
    for stretch in stretches:
        for begin, end in holes(stretch):
            axis.axvspan(begin, end, facecolor="white", hatch="..", edgecolor="#bbbbbb",
                         linewidth=0, zorder=0.5)


def _name_gaps(axis: Any, stretches: list[Stretch]) -> None:
    for left, right in pairwise(stretches):
        axis.annotate("length unknown", ((left.end + right.begin) / 2, 0.5), rotation=90,
                      xycoords=("data", "axes fraction"), ha="center", va="center",
                      fontsize=8, color=look.INK, backgroundcolor=look.GAP)


def _name_bench(axis: Any, stretches: list[Stretch]) -> None:
    found = spans_of.bench(stretches)
    if found:
        begin, end = max(found, key=lambda span: span[1] - span[0])
        axis.annotate("bench", ((begin + end) / 2, 0.5), xycoords=("data", "axes fraction"),
                      ha="center", va="center", fontsize=8, color=look.INK,
                      backgroundcolor=look.GAP)


def _range(axis: Any, low: float, high: float, text: str, top: float) -> None:
    """The wanted range, shaded and edged; its name at the right end of what is seen of it below
    `top`."""
    axis.axhspan(low, high, color=look.BAND, zorder=0.2, linewidth=0)
    for edge in (low, high):
        axis.axhline(edge, color=look.BAND_EDGE, linewidth=0.8, zorder=0.3)
    middle = (low + max(low, min(high, ROOM * top))) / 2
    axis.annotate(text, (1.005, middle), xycoords=("axes fraction", "data"), rotation=270,
                  va="center", ha="left", fontsize=8, color=look.FAINT,
                  annotation_clip=False)


def _line(axis: Any, found: Sequence[Curve], whole_s: float, color: str, **more: Any) -> float:
    """A line that breaks between the pieces; where samples are many, their mean before the
    range from their lowest to their highest. Returns the highest of all."""
    joined = [np.empty((0, 2))]
    clouds = []
    for seconds, y in found:
        rows = curves.thinned(seconds, y, whole_s, COLUMNS)
        if rows is None:
            joined.append(np.column_stack([seconds, y]))
        else:
            clouds.append(rows)
            joined.append(rows[:, [0, 2]])
        joined.append(np.full((1, 2), np.nan))
    line = np.concatenate(joined)
    for rows in clouds:
        axis.fill_between(rows[:, 0], rows[:, 1], rows[:, 3], color=color, alpha=0.3, linewidth=0)
    axis.plot(line[:, 0], line[:, 1], color=color, **more)
    return max((float(y.max()) for _, y in found), default=0.0)


def _volts(axis: Any, stretches: list[Stretch], window: tuple[float, float] | None) -> None:
    whole = _whole(stretches)
    peaks = curves.thousandths(stretches, "bus_peak_mv")
    top = max((float(y.max()) for _, y in peaks), default=0.0)
    least = 1.0
    if window:
        least = window[1] if window[1] < 1.5 * top else window[0]
        _range(axis, *window, "window", max(top, least))
    _line(axis, peaks, whole, look.PEAK, linewidth=0.7, label="highest reading")
    _line(axis, curves.thousandths(stretches, "bus_mv"), whole, look.VOLTS, label="mean of 0.2 s")
    axis.set_ylabel("bus, V")
    _finish(axis, max(top, least), legend_at=0.98)


def _level(axis: Any, stretches: list[Stretch], found: Sequence[Curve], color: str, name: str,
           least: float) -> None:
    top = _line(axis, found, _whole(stretches), color)
    axis.set_ylabel(name)
    _finish(axis, max(top, least))


def _pace(axis: Any, stretches: list[Stretch], band: tuple[float, float, float] | None) -> None:
    whole = _whole(stretches)
    if band:
        _range(axis, band[0], band[2], "band", band[2])
        axis.axhline(band[1], color=look.BAND_EDGE, linewidth=1, linestyle=(0, (6, 3)),
                     zorder=0.3)
    top = _line(axis, curves.bound_pace(stretches), whole, look.FAINT, linewidth=1,
                linestyle=look.DOTS, label="at most (hardly any current)")
    top = max(top, _line(axis, curves.sure_pace(stretches), whole, look.PACE, label="pace"))
    axis.set_ylabel("turns/min")
    _finish(axis, max(top, band[2] if band else 20), legend_at=1.09)  # above the boots


def _whole(stretches: list[Stretch]) -> float:
    return stretches[-1].end if stretches else 1.0


def _finish(axis: Any, top: float, legend_at: float | None = None) -> None:
    """Limits from zero to a little above everything, a quiet grid; legend_at: how high its
    names stand, as a share of the panel."""
    axis.set_ylim(0, top * ROOM)
    axis.grid(axis="y")
    axis.locator_params(axis="y", nbins=5)
    if legend_at is not None:
        axis.legend(loc="lower right", bbox_to_anchor=(1, legend_at), ncols=3, frameon=False,
                    fontsize=8, handlelength=2.2, borderaxespad=0)


def _lamp(axis: Any, stretches: list[Stretch], events: Any) -> None:
    found = spans_of.cues(stretches)
    rows = [(words.cue(name), found.get(name, []), look.CUES.get(name, look.FAULT))
            for name in spans_of.rows(found)]
    _rows(axis, rows, _whole(stretches))
    axis.set_ylabel("lamp")
    known = events_at(stretches, events, layout.EV_FAULT)
    if known:
        axis.plot(known, [len(rows) - 0.5] * len(known), linestyle="", marker="v",
                  color=look.FAULT, markersize=6, clip_on=False, label="fault begins")
        axis.legend(loc="lower right", bbox_to_anchor=(1, 1.0), frameon=False, fontsize=8,
                    borderaxespad=0.2)


def _phone(axis: Any, stretches: list[Stretch]) -> None:
    rows = [("connected", spans_of.connected(stretches, True), look.CONNECTED),
            ("released", spans_of.connected(stretches, False), look.RELEASED)]
    lost = spans_of.busy(stretches)
    if lost:
        rows.append(("board busy", [], look.FAULT))
    _rows(axis, rows, _whole(stretches))
    width = _whole(stretches) / curves.COLUMNS  # short, and must be seen
    axis.broken_barh([(a * width, (b - a) * width) for a, b in
                      curves.columns_of(lost, _whole(stretches))], (-0.38, 0.76),
                     facecolor=look.FAULT, linewidth=0)
    axis.set_ylabel("phone")


def _rows(axis: Any, rows: Sequence[tuple[str, Sequence[Span], str]], whole_s: float) -> None:
    """Bars in rows, the first at the top. Over a long time each is as high as its share."""
    long = whole_s / curves.COLUMNS >= curves.SHARED_S
    total = np.sum([curves.filled(spans, whole_s) for _, spans, _ in rows], axis=0)
    edges = np.arange(curves.COLUMNS + 1) * whole_s / curves.COLUMNS
    for place, (_, spans, color) in enumerate(reversed(rows)):
        axis.axhline(place, color=look.GRID, linewidth=0.6, zorder=0.3)
        if long:
            share = np.ceil(SHARES * curves.filled(spans, whole_s) / np.maximum(total, 1e-9)
                            - 1e-6) / SHARES
            new = np.flatnonzero(np.diff(share, prepend=-1.0, append=-1.0))
            axis.fill_between(edges[new], place - 0.38,
                              place - 0.38 + 0.76 * np.append(share, 0.0)[new], step="post",
                              facecolor=color, linewidth=0)
            continue
        axis.broken_barh([(a, b - a) for a, b in spans], (place - 0.38, 0.76), facecolor=color,
                         edgecolor=look.INK, linewidth=0.3)
    axis.set_yticks(range(len(rows)), [name.lower() for name, _, _ in reversed(rows)], fontsize=8)
    axis.set_ylim(-0.6, len(rows) - 0.4)
    axis.tick_params(axis="y", length=0)


def _title(review: Any) -> str:
    figures = review.figures
    out = f"{quantity(figures.energy_out_wh, 'Wh')} to the phone ({figures.energy_out_kind})"
    if math.isfinite(figures.percent):
        out += f", {number(figures.percent, 2)} % of its battery"
    name = harmless(review.label or review.rig or f"board {review.board[-6:]}")
    return f"{name}: {out}".replace("$", r"\$")  # which would begin a formula
