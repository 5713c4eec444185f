"""The review as a picture: volts, amps, pace, lamp and connection over the board's time.

Boots stand side by side. Between two of them nothing ran on the board, so the gap has no
length; it is hatched and says so.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from steadyturn_fw import pages as layout

from steadyturn.report import plot_files
from steadyturn.report import plot_style as look
from steadyturn.report.plot_files import check
from steadyturn.report.style import number, quantity
from steadyturn.sessions.decode import SAMPLE
from steadyturn.sessions.outings import spans

__all__ = ["check", "draw", "write"]

MOST_POINTS = 4000  # more than the picture has columns: beyond that, blocks are averaged
CUE_ROWS = ("stop", "slower", "hold", "faster", "rest")  # too fast at the top
MOST_NAMED = 7  # boots up to which each gap is named
MOST_TICKED = 8  # boots with ticks of their own
TICKS = (1, 2, 5, 10, 20, 30, 60, 120, 300, 600, 900, 1800, 3600, 7200, 14400, 36000)  # s


@dataclass(frozen=True, slots=True)
class Stretch:
    """One boot in the picture: its samples, where its second 0 stands on the common axis,
    and from where to where on that axis it was recorded."""

    boot: int
    samples: NDArray[Any]
    zero: float
    begin: float
    end: float


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
    _time_axis(volts, connected, stretches)
    figure.align_ylabels()
    figure.suptitle(_title(review), x=0.01, ha="left", fontsize=11)
    return figure


def lay_out(pages: Any) -> list[Stretch]:
    """Boots one after the other; the gap between two is drawn, not measured. Boots that
    wrote no sample are left out."""
    found = [span for span in spans(pages) if span.end_ms > span.begin_ms]
    length = sum(s.end_ms - s.begin_ms for s in found) / 1000
    gap = max(1.0, length * min(0.04, 0.3 / max(1, len(found))))
    out = []
    at = 0.0
    for span in found:
        rows = pages.samples["boot"] == span.boot
        seqs = pages.pages["seq"]
        rows &= pages.samples["seq"] >= seqs[span.first]
        rows &= pages.samples["seq"] <= seqs[span.stop - 1]
        seconds = (span.end_ms - span.begin_ms) / 1000
        out.append(Stretch(span.boot, pages.samples[rows], at - span.begin_ms / 1000, at,
                           at + seconds))
        at += seconds + gap
    return out


def thin(samples: NDArray[Any], block: int) -> NDArray[Any]:
    """Blocks of samples as one each: means, and the highest peaks. Lost samples stay out of
    the means; a block of only lost ones is lost."""
    if block <= 1:
        return samples
    count = -(-len(samples) // block)
    padded = np.zeros(count * block, SAMPLE)
    padded[: len(samples)] = samples
    padded["no_data"][len(samples) :] = True
    grid = padded.reshape(count, block)
    weight = ~grid["no_data"]
    n = np.maximum(weight.sum(axis=1), 1)
    out = grid[:, 0].copy()
    for name in ("bus_mv", "bus_ma", "pace_tpm"):
        out[name] = np.where(weight, grid[name], 0).sum(axis=1) / n
    for name in ("bus_peak_mv", "amps_peak_ma", "valid"):
        out[name] = np.where(weight, grid[name], 0).max(axis=1)
    out["no_data"] = ~weight.any(axis=1)
    return out


def _curves(stretches: list[Stretch], value: Any) -> tuple[NDArray[Any], NDArray[Any]]:
    """Times and values of every boot, NaN where the line must break: between boots, at
    missing pages, at stalls."""
    block = math.ceil(sum(len(s.samples) for s in stretches) / MOST_POINTS)
    times: list[Any] = []
    values: list[Any] = []
    for stretch in stretches:
        rows = thin(stretch.samples, block)
        t = stretch.zero + rows["t_ms"] / 1000 + layout.SAMPLE_MS * max(block, 1) / 2000
        y = np.where(rows["no_data"], np.nan, value(rows).astype(float))
        hole = np.flatnonzero(np.diff(rows["t_ms"]) > layout.SAMPLE_MS * max(block, 1) * 1.5) + 1
        times += [np.insert(t, hole, np.nan), [np.nan]]
        values += [np.insert(y, hole, np.nan), [np.nan]]
    if not times:
        return np.empty(0), np.empty(0)
    return np.concatenate(times), np.concatenate(values)


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


def holes(stretch: Stretch) -> list[tuple[float, float]]:
    """Where a boot's pages are missing, on the common axis."""
    t = stretch.samples["t_ms"]
    after = np.flatnonzero(np.diff(t) > 1.5 * layout.SAMPLE_MS)
    return [(stretch.zero + (t[i] + layout.SAMPLE_MS) / 1000, stretch.zero + t[i + 1] / 1000)
            for i in after.tolist()]


def _range(axis: Any, low: float, high: float, text: str) -> None:
    """The wanted range, shaded and edged, its name at the right end."""
    axis.axhspan(low, high, color=look.BAND, zorder=0.2, linewidth=0)
    for edge in (low, high):
        axis.axhline(edge, color=look.BAND_EDGE, linewidth=0.8, zorder=0.3)
    axis.annotate(text, (1.005, (low + high) / 2), xycoords=("axes fraction", "data"),
                  rotation=270, va="center", ha="left", fontsize=8, color=look.FAINT)


def _volts(axis: Any, stretches: list[Stretch], window: tuple[float, float] | None) -> None:
    t, mean = _curves(stretches, lambda s: s["bus_mv"] / 1000)
    _, peak = _curves(stretches, lambda s: s["bus_peak_mv"] / 1000)
    if window:
        _range(axis, *window, "window")
    axis.plot(t, peak, color=look.PEAK, linewidth=0.7, label="peak")
    axis.plot(t, mean, color=look.VOLTS, label="mean")
    axis.set_ylabel("bus, V")
    _finish(axis, peak, window[1] if window else 1, lift=0.09)


def _amps(axis: Any, stretches: list[Stretch]) -> None:
    t, mean = _curves(stretches, lambda s: s["bus_ma"] / 1000)
    _, peak = _curves(stretches, lambda s: s["amps_peak_ma"] / 1000)
    axis.plot(t, peak, color=look.PEAK, linewidth=0.7, label="peak")
    axis.plot(t, mean, color=look.AMPS, label="mean")
    axis.set_ylabel("current, A")
    _finish(axis, peak, 0.1)


def _pace(axis: Any, stretches: list[Stretch], band: tuple[float, float, float] | None) -> None:
    t, sure = _curves(
        stretches, lambda s: np.where(s["valid"] == layout.VALID, s["pace_tpm"], np.nan))
    _, bound = _curves(
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


def runs(values: NDArray[Any], times: NDArray[Any]) -> list[tuple[int, float, float]]:
    """Equal neighbours as (value, begin, length); times are the samples' begins in s. A
    run also ends where samples are missing."""
    if not len(values):
        return []
    step = layout.SAMPLE_MS / 1000
    new = (np.diff(values.astype(int)) != 0) | (np.diff(times) > 1.5 * step)
    first = np.flatnonzero(np.r_[True, new])
    last = np.r_[first[1:] - 1, len(values) - 1]
    return [(int(values[a]), float(times[a]), float(times[b] - times[a] + step))
            for a, b in zip(first, last, strict=True)]


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
    marks = [_at(stretches, e) for e in events[events["code"] == layout.EV_FAULT]]
    known = [m for m in marks if m is not None]
    if known:
        axis.plot(known, [len(rows) - 0.5] * len(known), linestyle="", marker="v",
                  color=look.FAULT, markersize=6, clip_on=False, label="fault begins")
        axis.legend(loc="lower right", bbox_to_anchor=(1, 1.0), frameon=False, fontsize=8,
                    borderaxespad=0.2)


def _at(stretches: list[Stretch], event: Any) -> float | None:
    for stretch in stretches:
        at = stretch.zero + event["t_ms"] / 1000
        if stretch.boot == event["boot"] and stretch.begin - 10 <= at <= stretch.end + 10:
            return float(min(max(at, stretch.begin), stretch.end))
    return None


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


def _time_axis(top: Any, bottom: Any, stretches: list[Stretch]) -> None:
    """Boot numbers above the topmost axis; below the lowest, ticks in each boot's own time,
    or, where the boots are too many for that, how long each was."""
    whole = stretches[-1].end if stretches else 1.0
    room = whole / 16  # a name closer than this would run into its neighbour
    few = len(stretches) <= MOST_TICKED
    ticks = _own_ticks(stretches) if few else [
        ((s.begin + s.end) / 2, clock(s.end - s.begin)) for s in stretches
    ]
    bottom.set_xticks([at for at, _ in ticks], _spaced(ticks, room))
    middles = [((s.begin + s.end) / 2, f"boot {s.boot}") for s in stretches]
    for (at, _), name in zip(middles, _spaced(middles, room * 1.1), strict=True):
        top.annotate(name, (at, 1.02), ha="center", va="bottom", fontsize=8, color=look.FAINT,
                     xycoords=("data", "axes fraction"))
    bottom.set_xlim(0, whole)
    text = ("time since each boot" if few else "length of each boot") + ", minutes:seconds"
    if len(stretches) > 1:
        text += "; hatched: no power, length unknown"
    if any(holes(stretch) for stretch in stretches):
        text += "; dotted: pages missing"
    bottom.set_xlabel(text)
    for axis in bottom.figure.axes[:-1]:
        axis.tick_params(axis="x", length=0)


def _own_ticks(stretches: list[Stretch]) -> list[tuple[float, str]]:
    recorded = sum(s.end - s.begin for s in stretches)
    step = next((s for s in TICKS if recorded / s <= 12), TICKS[-1])
    out = []
    for stretch in stretches:
        first = math.ceil((stretch.begin - stretch.zero) / step) * step
        for own in np.arange(first, stretch.end - stretch.zero + 1e-6, step).tolist():
            out.append((stretch.zero + own, clock(own)))
    return out


def _spaced(names: list[tuple[float, str]], room: float) -> list[str]:
    """The names, those too close to the last one shown left empty."""
    out = []
    last = -math.inf
    for at, name in names:
        out.append(name if at - last >= room else "")
        last = at if out[-1] else last
    return out


def clock(seconds: float) -> str:
    """Seconds as m:ss, or h:mm:ss."""
    minutes, rest = divmod(round(seconds), 60)
    hours, minutes = divmod(minutes, 60)
    return f"{hours}:{minutes:02}:{rest:02}" if hours else f"{minutes}:{rest:02}"


def _title(review: Any) -> str:
    figures = review.figures
    out = f"{quantity(figures.energy_out_wh, 'Wh')} to the phone ({figures.energy_out_kind})"
    if math.isfinite(figures.percent):
        out += f", {number(figures.percent, 2)} % of its battery"
    name = review.label or review.rig or f"board {review.board[-6:]}"
    return f"{name}: {out}"
