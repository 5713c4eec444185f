"""The map of a rig: volts, what the arm gives and what it costs, over the pace.

Above left the volts at the converter's input over the pace; beside it, on the same volts,
what the motors give at a few paces against what the converter asks for; below, on the
same pace, the arm's power and its work for each joule delivered; with `--sure` also the
share of builds that work.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np

from steadyturn.report import plot_files
from steadyturn.report import plot_style as look
from steadyturn.report.plot_labels import SIZE, Names, size_in, spread
from steadyturn.report.plots_map_below import arm, builds, effort, title, why
from steadyturn.report.style import number

WIDTH_IN, HEIGHT_IN, SURE_IN = 9.2, 6.6, 1.1
LEFT, RIGHT = 0.07, 0.985
GUTTER = 0.155  # between the volts' panels, for the names of the thresholds
SPLIT = 0.62  # right end of the panels over pace
MOST_TOP = 1.12  # of the highest volts shown: what stands above is named, not drawn


def write(result: Any, path: Path) -> None:
    """Draw a `jobs.pace.Pace` with its `map` into `path` (PNG or SVG by its suffix)."""
    plot_files.write(path, lambda: draw(result))


def draw(result: Any) -> Any:
    """The map as a matplotlib Figure."""
    from matplotlib.figure import Figure

    sure = getattr(result, "sure", None)
    fan = None if sure is None else sure.fan
    height = HEIGHT_IN + (SURE_IN if fan is not None else 0.0)
    figure = Figure(figsize=(WIDTH_IN, height))
    ratios = (4.4, 1.35, 1.35) + ((1.1,) if fan is not None else ())
    grid = figure.add_gridspec(len(ratios), 1, height_ratios=ratios, left=LEFT, right=SPLIT,
                               top=1 - 0.62 / height, bottom=0.52 / height, hspace=0.14)
    axes = [figure.add_subplot(grid[0])]
    axes += [figure.add_subplot(grid[i], sharex=axes[0]) for i in range(1, len(ratios))]
    box = axes[0].get_position()
    beside = figure.add_axes(
        (SPLIT + GUTTER, box.y0, RIGHT - SPLIT - GUTTER, box.height), sharey=axes[0])
    top = _top(result)
    for axis in axes:
        _over_pace(axis, result)
        axis.tick_params(labelbottom=axis is axes[-1])
    axes[-1].set_xlabel("pace of the handle, turns/min (lines: 20 degC; grey: from the hot to the "
                        "cold machine)" if fan is None else
                        f"pace of the handle, turns/min ({_shares(fan)})")
    _volts(axes[0], result, fan, top)
    _thresholds(figure, axes[0], beside, result, top)
    _lines(beside, result)
    arm(axes[1], result)
    effort(axes[2], result)
    if fan is not None:
        builds(axes[3], sure)
    title(figure, result, height)
    why(figure, result, beside.get_position().x0, RIGHT, axes[1].get_position().y1 - 0.28 / height)
    return figure


def _top(result: Any) -> float:
    """The highest volts to be seen: all that is drawn, and the thresholds below them."""
    shown = result.map
    seen = [*shown.open_v, *shown.cold_v, *shown.hot_v, *shown.loaded_v, shown.start_v,
            result.window_v[0]]
    return MOST_TOP * max((v for v in seen if np.isfinite(v)), default=1.0)


def _over_pace(axis: Any, result: Any) -> None:
    axis.set_xlim(0, result.map.pace_tpm[-1])
    axis.grid(axis="y")
    if result.feasible:
        axis.axvspan(result.low_tpm, result.high_tpm, color=look.BAND, linewidth=0, zorder=0.1)
        for edge in (result.low_tpm, result.high_tpm):
            axis.axvline(edge, color=look.BAND_EDGE, linewidth=0.9, zorder=0.3)
        axis.axvline(result.target_tpm, color=look.BAND_EDGE, linewidth=1.1, zorder=0.3,
                     linestyle=look.LONG_DASH)


def _volts(axis: Any, result: Any, fan: Any, top: float) -> None:
    shown = result.map
    pace = shown.pace_tpm
    axis.set_ylim(0, top)
    axis.set_ylabel("volts at the converter's input")
    names = Names(axis, size_in(axis))
    names.avoid(pace, shown.open_v)
    names.avoid(pace, shown.loaded_v)
    names.avoid(pace, shown.collapse_v)
    for level in (shown.start_v, shown.stop_v, *result.window_v, shown.passes_above_v or 0.0):
        names.avoid([0, pace[-1]], [level, level])
    axis.fill_between(pace, 0, shown.collapse_v, facecolor=look.NO_GO, linewidth=0, zorder=0.2)
    axis.plot(pace, shown.collapse_v, color=look.FAINT, linewidth=1.1, linestyle=look.DOTS)
    if shown.passes_above_v is not None and shown.passes_above_v < top:
        axis.axhspan(shown.passes_above_v, top, facecolor="none", hatch="///",
                     edgecolor=look.PEAK, linewidth=0, zorder=0.15)
    if fan is None:
        axis.fill_between(pace, shown.hot_v, shown.cold_v, color=look.PEAK, linewidth=0,
                          zorder=1.5)
    else:
        _fan(axis, fan)
    axis.plot(pace, shown.open_v, color=look.INK, linewidth=1.0, linestyle=look.DASH)
    axis.plot(pace, shown.loaded_v, color=look.VOLTS, linewidth=2.0)
    for line in shown.lines:
        if line.meets_v is not None:
            axis.plot([line.pace_tpm], [line.meets_v], marker="o", markersize=4.5,
                      color=look.VOLTS, markeredgecolor="white", markeredgewidth=0.7, zorder=4)
    if result.feasible:
        _band_names(axis, result)
    names.along(pace, shown.loaded_v, "under load", color=look.VOLTS, near=0.55)
    names.along(pace, shown.open_v, "nothing connected", near=0.75)
    seen = names.along(pace, shown.collapse_v, "collapse edge", color=look.FAINT, near=0.8)
    if seen and np.nanmax(shown.collapse_v) > 0.3 * top:
        height = 0.06 * top if shown.stop_v > 0.12 * top else 0.14 * top
        names.along([0.2 * pace[-1], pace[-1]], [height] * 2,
                    "below the edge the load pulls the volts down", color=look.FAINT, near=0.6)


def _band_names(axis: Any, result: Any) -> None:
    """The band's ends and its target, above the axis."""
    places = [result.low_tpm, result.target_tpm, result.high_tpm]
    wide = size_in(axis)[0] * 72
    whole = axis.get_xlim()[1]
    gap = 24.0 / wide * whole
    for at, place, text in zip(places, spread(places, gap, 0, whole), (
            f"{result.low_tpm:.0f}", f"best {result.target_tpm:.0f}", f"{result.high_tpm:.0f}"),
            strict=True):
        axis.annotate(text, (at, 1.0), (place, 1.018), xycoords=("data", "axes fraction"),
                      textcoords=("data", "axes fraction"), ha="center", va="bottom",
                      fontsize=SIZE, color=look.BAND_INK)


def _shares(fan: Any) -> str:
    """What the greys of the fan mean."""
    whole = fan.quantiles_percent
    shares = [f"{whole[-1 - i] - whole[i]:.0f}" for i in range(len(whole) // 2)]
    return f"greys: where {' and '.join(shares)} % of the builds stand"


def _fan(axis: Any, fan: Any) -> None:
    """Bands of quantiles of the bus volts over builds, the middle one darker."""
    quantiles = np.asarray(fan.bus_v, dtype=float)
    pairs = len(quantiles) // 2
    for i in range(pairs):
        shade = look.FAN[min(i, len(look.FAN) - 1)]
        axis.fill_between(fan.pace_tpm, quantiles[i], quantiles[-1 - i], color=shade,
                          linewidth=0, zorder=1.2 + 0.01 * i)


def _thresholds(figure: Any, axis: Any, beside: Any, result: Any, top: float) -> None:
    """Levels across both volts' panels, named in the gap between them."""
    shown = result.map
    low_v, high_v = result.window_v
    levels: list[tuple[float, str, Any]] = [
        (shown.start_v, f"starts at {number(shown.start_v)} V", look.DASH_DOT)]
    if abs(shown.stop_v - low_v) < 0.005:
        levels.append((low_v, f"window from {number(low_v)} V;\nlets go below", look.SOLID))
    else:
        levels += [(low_v, f"window from {number(low_v)} V", look.SOLID),
                   (shown.stop_v, f"lets go at {number(shown.stop_v)} V", look.DASH_DOT)]
    if high_v <= top:
        levels.append((high_v, f"window up to {number(high_v)} V", look.SOLID))
    passes = shown.passes_above_v
    if passes is not None and passes < top:
        levels.append((passes, f"above {number(passes)} V it\npasses through", look.DOTS))
    for panel in (axis, beside):
        panel.axhspan(low_v, min(high_v, top), color=look.WINDOW, linewidth=0, zorder=0.05)
        for volts, _, dashes in levels:
            panel.axhline(volts, color=look.INK, linewidth=0.8, linestyle=dashes, zorder=1.1)
    tall = size_in(axis)[1] * 72
    if high_v > top:
        levels.append((top, f"window up to {number(high_v)} V\n(above this picture)", None))
    line = SIZE * 1.2 / tall
    places = spread([volts / top for volts, _, _ in levels], 2.05 * line, line, 1 - line)
    box = axis.get_position()
    inch = 1 / figure.get_figwidth()
    for (volts, text, dashes), place in zip(levels, places, strict=True):
        x0, y0 = box.x1 + 0.03 * inch, box.y0 + box.height * min(volts / top, 1.0)
        x1, y1 = box.x1 + 0.2 * inch, box.y0 + box.height * place
        if dashes is not None:
            figure.add_artist(_stroke([x0, x1], [y0, y1]))
        figure.text(x1 + 0.03 * inch, y1, text, fontsize=SIZE, va="center", linespacing=1.05)


def _stroke(x: list[float], y: list[float]) -> Any:
    from matplotlib.lines import Line2D

    return Line2D(x, y, color=look.FAINT, linewidth=0.6)


def _lines(axis: Any, result: Any) -> None:
    """What the motors give at a few paces, and what the converter asks for."""
    shown = result.map
    axis.set_xlabel("amps into the converter")
    axis.tick_params(labelleft=False)
    axis.grid(axis="y")
    amps = [a for a in shown.loaded_a if np.isfinite(a)]
    steep = [line.bus_a[-1] for line in shown.lines if line.bus_a]
    most = 1.6 * max(amps) if amps else max(steep, default=1.0)
    most = min(most, max(steep, default=most)) or 1.0
    axis.set_xlim(0, most)
    axis.locator_params(axis="x", nbins=4)
    names = Names(axis, size_in(axis))
    for line in shown.lines:
        names.avoid(line.bus_a, line.bus_v)
    names.avoid(shown.loaded_a, shown.loaded_v)
    for level in (shown.start_v, *result.window_v):
        names.avoid([0, most], [level, level])
    axis.plot(shown.loaded_a, shown.loaded_v, color=look.VOLTS, linewidth=2.0)
    for line in shown.lines:
        axis.plot(line.bus_a, line.bus_v, color=look.INK, linewidth=0.9)
        if line.meets_v is not None:
            axis.plot([line.meets_a], [line.meets_v], marker="o", markersize=4.5,
                      color=look.VOLTS, markeredgecolor="white", markeredgewidth=0.7, zorder=4)
        names.along(line.bus_a, line.bus_v, f"{line.pace_tpm:.0f}/min", near=0.65)
    if amps:
        names.along(shown.loaded_a, shown.loaded_v, "converter asks", color=look.VOLTS, near=0.4)
    axis.annotate("straight: what the motors give", (0, 1.018), xycoords="axes fraction",
                  fontsize=SIZE, va="bottom")
