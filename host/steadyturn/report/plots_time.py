"""The machine in time as a picture: pace, volts, amps, torque, and what happened when."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from steadyturn.report import plot_files
from steadyturn.report import plot_style as look
from steadyturn.report.plot_labels import SIZE, Names, size_in, spread
from steadyturn.report.style import number

Floats = NDArray[np.float64]

WIDTH_IN, HEIGHT_IN = 9.2, 7.4
ROW_IN = 0.19  # height of one event's row
MOST_POINTS = 3000  # beyond that a line is drawn from the lows and highs of its pieces


def write(result: Any, path: Path) -> None:
    """Draw a `jobs.predict_time.Course` into `path` (PNG or SVG by its suffix)."""
    plot_files.write(path, lambda: draw(result))


def draw(result: Any) -> Any:
    """The traces as a matplotlib Figure."""
    from matplotlib.figure import Figure

    traces = result.recorded
    happened = _happened(result)
    rows_in = ROW_IN * max(len(happened), 1) + 0.1
    height = HEIGHT_IN - 1.2 + rows_in
    figure = Figure(figsize=(WIDTH_IN, height))
    grid = figure.add_gridspec(
        5, 1, height_ratios=(1.5, 1.9, 1.2, 1.2, rows_in), left=0.075, right=0.83,
        top=1 - 0.5 / height, bottom=0.52 / height, hspace=0.16)
    axes = [figure.add_subplot(grid[0])]
    axes += [figure.add_subplot(grid[i], sharex=axes[0]) for i in range(1, 5)]
    pace, volts, amps, torque, events = axes
    whole = float(traces.t_s[-1])
    for axis in axes:
        axis.set_xlim(0, whole)
        axis.grid(axis="y")
        axis.tick_params(labelbottom=axis is events)
        if result.unplug_s is not None:
            axis.axvspan(result.unplug_s, whole, color=look.GAP, linewidth=0, zorder=0.1)
    _pace(pace, result)
    _volts(volts, result)
    _lines(amps, result, "amps", (("in_a", "into the converter", look.AMPS, look.SOLID, 1.5),
                               ("out_a", "device", look.INK, look.DASH, 1.0)))
    _lines(torque, result, "torque, N m",
           (("crank_nm", "the arm", look.INK, look.SOLID, 1.2),))
    _events(events, happened)
    events.set_xlabel("seconds from rest")
    figure.suptitle(f"{result.rig}: from rest to {number(result.pace_tpm, 4)} turns/min, bus "
                    f"capacitor {number(result.capacitor_uf, 4)} uF", x=0.012,
                    y=1 - 0.1 / height, ha="left", va="top", fontsize=11.5)
    return figure


def outline(t: Floats, y: Floats, most: int = MOST_POINTS) -> tuple[Floats, Floats]:
    """A line's points, thinned to lows and highs in turn: no peak is lost."""
    if len(t) <= most:
        return t, y
    piece = -(-2 * len(t) // most)
    whole = len(t) // piece * piece
    grid = y[:whole].reshape(-1, piece)
    times = np.repeat(t[:whole].reshape(-1, piece)[:, 0], 2)
    return times, np.column_stack([grid.min(axis=1), grid.max(axis=1)]).ravel()


def _pace(axis: Any, result: Any) -> None:
    traces = result.recorded
    t, y = outline(traces.t_s, traces.pace_tpm)
    axis.plot(t, y, color=look.PACE, linewidth=1.2)
    axis.set_ylim(0, 1.12 * max(float(y.max()), result.pace_tpm, 1.0))
    axis.axhline(result.pace_tpm, color=look.BAND_EDGE, linewidth=0.9, linestyle=look.LONG_DASH,
                 zorder=0.5)
    axis.set_ylabel("turns/min")
    _beside(axis, [(result.pace_tpm, "wanted", look.BAND_INK)])


def _volts(axis: Any, result: Any) -> None:
    traces = result.recorded
    top = 1.1 * max(float(traces.in_v.max()), float(traces.out_v.max()), result.start_v)
    axis.set_ylim(0, top)
    for level in (result.start_v, result.stop_v):
        axis.axhline(level, color=look.INK, linewidth=0.7, linestyle=look.DASH_DOT, zorder=1.1)
    _lines(axis, result, "volts", (("in_v", "converter's input", look.VOLTS, look.SOLID, 1.6),
                               ("out_v", "device", look.INK, look.DASH, 1.0)), top=top,
           levels=(result.start_v, result.stop_v))
    _beside(axis, [(result.start_v, f"starts, {number(result.start_v)} V", look.INK),
                   (result.stop_v, f"lets go, {number(result.stop_v)} V", look.INK)])


def _lines(axis: Any, result: Any, label: str, lines: tuple[Any, ...], *,
           top: float | None = None, levels: tuple[float, ...] = ()) -> None:
    """Traces by name, each with its own name beside it."""
    traces = result.recorded
    drawn = [(*outline(traces.t_s, getattr(traces, name)), *rest) for name, *rest in lines]
    if top is None:
        top = 1.12 * max(0.01, *(float(y.max()) for _, y, *_ in drawn))
    axis.set_ylim(min(0.0, 1.1 * min(float(y.min()) for _, y, *_ in drawn)), top)
    axis.set_ylabel(label)
    axis.locator_params(axis="y", nbins=5)
    names = Names(axis, size_in(axis))
    for t, y, _, color, dashes, wide in drawn:
        axis.plot(t, y, color=color, linestyle=dashes, linewidth=wide)
        names.avoid(t, y)
    for level in levels:
        names.avoid([0, traces.t_s[-1]], [level, level])
    for t, y, name, color, *_ in drawn:
        names.along(t, y, name, color=color, near=0.5)


def _beside(axis: Any, levels: list[tuple[float, str, str]]) -> None:
    """Names of levels, right of the axis."""
    low, high = axis.get_ylim()
    tall = 72 * size_in(axis)[1]
    gap = SIZE * 1.3 / tall
    places = spread([(level - low) / (high - low) for level, _, _ in levels], gap, 0.0, 1.0)
    for (_, text, color), place in zip(levels, places, strict=True):
        axis.annotate(text, (1.01, place), xycoords="axes fraction", va="center", ha="left",
                      fontsize=SIZE, color=color)


def _happened(result: Any) -> dict[str, list[float]]:
    """Event's name -> times, in the order of the first of each; what the hand is asked to do
    is in the picture already."""
    found: dict[str, list[float]] = {}
    for event in result.events:
        if not event.name.startswith("hand goes for"):
            found.setdefault(event.name, []).append(event.t_s)
    return found


def _events(axis: Any, happened: dict[str, list[float]]) -> None:
    """A row for each kind of event, a stroke at each time."""
    names = list(happened)
    for row, name in enumerate(names):
        axis.axhline(row, color=look.GRID, linewidth=0.6, zorder=0.3)
        axis.plot(happened[name], [row] * len(happened[name]), linestyle="", marker="|",
                  markersize=9, color=look.INK, markeredgewidth=1.1)
        count = len(happened[name])
        axis.annotate(name + (f", {count} x" if count > 1 else ""), (1.01, row),
                      xycoords=("axes fraction", "data"), va="center", ha="left", fontsize=SIZE,
                      annotation_clip=False)
    axis.set_ylim(max(len(names), 1) - 0.5, -0.5)
    axis.set_yticks([])
    axis.grid(False)
    if not names:
        axis.annotate("nothing happened", (0.5, 0.5), xycoords="axes fraction", ha="center",
                      va="center", fontsize=SIZE, color=look.FAINT)
