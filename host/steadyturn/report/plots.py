"""The review as a picture: volts, amps, pace, lamp and connection over the board's time.

Boots stand side by side. Between two of them nothing ran on the board, so the gap has no
length; it is hatched and says so.
"""

from __future__ import annotations

import math
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from steadyturn_fw import pages as layout

from steadyturn.report import plot_files
from steadyturn.report import plot_style as look
from steadyturn.report.plot_files import check
from steadyturn.report.plots_boots import (
    MOST_POINTS,
    Stretch,
    clock,
    curves,
    events_at,
    holes,
    lay_out,
    runs,
    time_axis,
)
from steadyturn.report.style import number, quantity

__all__ = ["MOST_POINTS", "check", "clock", "draw", "holes", "lay_out", "runs", "write"]

CUE_ROWS = ("stop", "slower", "hold", "faster", "rest")  # too fast at the top
MOST_NAMED = 7  # boots up to which each gap is named


def write(review: Any, path: Path) -> None:
    """Draw a `jobs.review.Review` into `path` (PNG or SVG by its suffix)."""
    plot_files.write(path, lambda: draw(review))


def draw(review: Any) -> Any:
    """The picture as a matplotlib Figure of 10 by 7.2 inches."""
    from matplotlib.figure import Figure

    figure = Figure(figsize=(10, 7.2), layout="constrained")
    volts, amps, pace, cues, connected = figure.subplots(
        5, 1, sharex=True, height_ratios=(3, 2.2, 3, 1.9, 0.8)
    )
    stretches = lay_out(review.pages)
    for axis in (volts, amps, pace, cues, connected):
        _gaps(axis, stretches)
    if len(stretches) <= MOST_NAMED:
        _name_gaps(pace, stretches)
    _volts(volts, stretches, review.window_v)
    _amps(amps, stretches)
    _pace(pace, stretches, review.band_tpm)
    _cues(cues, stretches, review.pages.events)
    _connected(connected, stretches)
    time_axis(volts, connected, stretches)
    figure.align_ylabels()
    figure.suptitle(_title(review), x=0.01, ha="left", fontsize=11)
    return figure


def _gaps(axis: Any, stretches: list[Stretch]) -> None:
    for left, right in pairwise(stretches):
        axis.axvspan(left.end, right.begin, facecolor=look.GAP, hatch="////",
                     edgecolor="#bbbbbb", linewidth=0, zorder=0.5)
    for stretch in stretches:
        for begin, end in holes(stretch):
            axis.axvspan(begin, end, facecolor="white", hatch="..", edgecolor="#bbbbbb",
                         linewidth=0, zorder=0.5)


def _name_gaps(axis: Any, stretches: list[Stretch]) -> None:
    for left, right in pairwise(stretches):
        axis.annotate("length unknown", ((left.end + right.begin) / 2, 0.5), rotation=90,
                      xycoords=("data", "axes fraction"), ha="center", va="center",
                      fontsize=8, color=look.INK, backgroundcolor=look.GAP)


def _range(axis: Any, low: float, high: float, text: str) -> None:
    """The wanted range, shaded and edged, its name at the right end."""
    axis.axhspan(low, high, color=look.BAND, zorder=0.2, linewidth=0)
    for edge in (low, high):
        axis.axhline(edge, color=look.BAND_EDGE, linewidth=0.8, zorder=0.3)
    axis.annotate(text, (1.005, (low + high) / 2), xycoords=("axes fraction", "data"),
                  rotation=270, va="center", ha="left", fontsize=8, color=look.FAINT)


def _volts(axis: Any, stretches: list[Stretch], window: tuple[float, float] | None) -> None:
    t, mean = curves(stretches, lambda s: s["bus_mv"] / 1000)
    _, peak = curves(stretches, lambda s: s["bus_peak_mv"] / 1000)
    if window:
        _range(axis, *window, "window")
    axis.plot(t, peak, color=look.PEAK, linewidth=0.7, label="peak")
    axis.plot(t, mean, color=look.VOLTS, label="mean")
    axis.set_ylabel("bus, V")
    _finish(axis, peak, window[1] if window else 1, lift=0.09)


def _amps(axis: Any, stretches: list[Stretch]) -> None:
    t, mean = curves(stretches, lambda s: s["bus_ma"] / 1000)
    _, peak = curves(stretches, lambda s: s["amps_peak_ma"] / 1000)
    axis.plot(t, peak, color=look.PEAK, linewidth=0.7, label="peak")
    axis.plot(t, mean, color=look.AMPS, label="mean")
    axis.set_ylabel("current, A")
    _finish(axis, peak, 0.1)


def _pace(axis: Any, stretches: list[Stretch], band: tuple[float, float, float] | None) -> None:
    t, sure = curves(
        stretches, lambda s: np.where(s["valid"] == layout.VALID, s["pace_tpm"], np.nan))
    _, bound = curves(
        stretches, lambda s: np.where(s["valid"] != layout.VALID, s["pace_tpm"], np.nan))
    if band:
        _range(axis, band[0], band[2], "band")
        axis.axhline(band[1], color=look.BAND_EDGE, linewidth=1, linestyle=(0, (6, 3)),
                     zorder=0.3)
    axis.plot(t, bound, color=look.FAINT, linewidth=1, linestyle=(0, (1, 1.5)),
              label="at most (hardly any current)")
    axis.plot(t, sure, color=look.PACE, label="pace")
    axis.set_ylabel("turns/min")
    _finish(axis, np.concatenate((sure, bound)), band[2] if band else 20)


def _finish(axis: Any, values: NDArray[Any], least: float, lift: float = 0.0) -> None:
    """Limits from zero to a little above everything, a quiet grid, a legend above it."""
    top = max([least, *values[np.isfinite(values)]], default=least)
    axis.set_ylim(0, top * 1.12 or 1)
    axis.grid(axis="y")
    axis.locator_params(axis="y", nbins=5)
    axis.legend(loc="lower right", bbox_to_anchor=(1, 0.97 + lift), ncols=3, frameon=False,
                fontsize=8, handlelength=2.2, borderaxespad=0)


def _cues(axis: Any, stretches: list[Stretch], events: NDArray[Any]) -> None:
    rows = list(CUE_ROWS)
    fault = layout.CUES.index("fault")
    if any((s.samples["cue"] == fault).any() for s in stretches):
        rows.insert(0, "fault")
    bars: dict[str, list[tuple[float, float]]] = {name: [] for name in rows}
    for stretch in stretches:
        live = stretch.samples[~stretch.samples["no_data"]]
        for code, begin, length in runs(live["cue"], stretch.zero + live["t_ms"] / 1000):
            name = layout.CUES[code] if code < len(layout.CUES) else ""
            if name in bars:
                bars[name].append((begin, length))
    for row, name in enumerate(reversed(rows)):
        axis.axhline(row, color=look.GRID, linewidth=0.6, zorder=0.3)
        axis.broken_barh(bars[name], (row - 0.38, 0.76), facecolor=look.CUES[name],
                         edgecolor=look.INK, linewidth=0.3)
    axis.set_yticks(range(len(rows)), list(reversed(rows)), fontsize=8)
    axis.set_ylim(-0.6, len(rows) - 0.4)
    axis.set_ylabel("lamp")
    axis.tick_params(axis="y", length=0)
    known = events_at(stretches, events, layout.EV_FAULT)
    if known:
        axis.plot(known, [len(rows) - 0.5] * len(known), linestyle="", marker="v",
                  color=look.FAULT, markersize=6, clip_on=False, label="fault begins")
        axis.legend(loc="lower right", bbox_to_anchor=(1, 1.0), frameon=False, fontsize=8,
                    borderaxespad=0.2)


def _connected(axis: Any, stretches: list[Stretch]) -> None:
    for stretch in stretches:
        live = stretch.samples[~stretch.samples["no_data"]]
        found = runs(live["connected"], stretch.zero + live["t_ms"] / 1000)
        on = [(begin, length) for code, begin, length in found if code]
        off = [(begin, length) for code, begin, length in found if not code]
        axis.broken_barh(on, (0.1, 0.8), facecolor=look.CONNECTED, edgecolor=look.INK,
                         linewidth=0.3)
        axis.broken_barh(off, (0.42, 0.16), facecolor="white", edgecolor=look.FAINT,
                         linewidth=0.6)
    axis.set_ylim(0, 1)
    axis.set_yticks([0.5], ["connected"], fontsize=8)
    axis.set_ylabel("phone")
    axis.tick_params(axis="y", length=0)


def _title(review: Any) -> str:
    figures = review.figures
    out = f"{quantity(figures.energy_out_wh, 'Wh')} to the phone ({figures.energy_out_kind})"
    if math.isfinite(figures.percent):
        out += f", {number(figures.percent, 2)} % of its battery"
    name = review.label or review.rig or f"board {review.board[-6:]}"
    return f"{name}: {out}"
