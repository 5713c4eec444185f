"""Boots side by side on one axis: where each stands, its lines, its runs, its ticks."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from steadyturn_fw import pages as layout

from steadyturn.report import plot_style as look
from steadyturn.sessions import benches
from steadyturn.sessions.outings import spans

MOST_TICKED = 8  # boots with ticks of their own
TICKS = (1, 2, 5, 10, 20, 30, 60, 120, 300, 600, 900, 1800, 3600, 7200, 14400, 36000)  # s


@dataclass(frozen=True, slots=True)
class Stretch:
    """One boot in the picture: its samples, where its second 0 stands on the common axis,
    from where to where on that axis it was recorded, which samples were taken for a bench."""

    boot: int
    samples: NDArray[Any]
    zero: float
    begin: float
    end: float
    bench: NDArray[Any]

    @property
    def cranked(self) -> NDArray[Any]:
        """The samples in which something was measured, but for a bench's."""
        return self.samples[~self.samples["no_data"] & ~self.bench]


def lay_out(pages: Any) -> list[Stretch]:
    """Boots one after the other; the gap between two is drawn, not measured. Boots that
    wrote no sample are left out."""
    found = [span for span in spans(pages) if span.end_ms > span.begin_ms]
    length = sum(s.end_ms - s.begin_ms for s in found) / 1000
    gap = max(1.0, length * min(0.04, 0.3 / max(1, len(found))))
    out = []
    at = 0.0
    seqs, sample_seqs = pages.pages["seq"], pages.samples["seq"]  # both rise
    for span in found:
        first = np.searchsorted(sample_seqs, seqs[span.first], "left")
        stop = np.searchsorted(sample_seqs, seqs[span.stop - 1], "right")
        seconds = (span.end_ms - span.begin_ms) / 1000
        samples = pages.samples[first:stop]
        out.append(Stretch(span.boot, samples, at - span.begin_ms / 1000, at, at + seconds,
                           benches.of_samples(pages, samples)))
        at += seconds + gap
    return out


def holes(stretch: Stretch) -> list[tuple[float, float]]:
    """Where a boot's pages are missing, on the common axis."""
    t = stretch.samples["t_ms"]
    after = np.flatnonzero(np.diff(t) > 1.5 * layout.SAMPLE_MS)
    return [(stretch.zero + (t[i] + layout.SAMPLE_MS) / 1000, stretch.zero + t[i + 1] / 1000)
            for i in after.tolist()]


def stalls(stretch: Stretch) -> list[tuple[float, float]]:
    """Where the board was busy and nothing was measured, on the common axis."""
    lost = stretch.samples["no_data"]
    return [(begin, begin + length) for code, begin, length
            in runs(lost, stretch.zero + stretch.samples["t_ms"] / 1000) if code]


def events_at(stretches: Sequence[Stretch], events: NDArray[Any], code: int) -> list[float]:
    """Where on the common axis events of this code happened; those of no boot that is drawn
    are left out."""
    found = [_at(stretches, event) for event in events[events["code"] == code]]
    return [at for at in found if at is not None]


def _at(stretches: Sequence[Stretch], event: Any) -> float | None:
    for stretch in stretches:
        at = stretch.zero + event["t_ms"] / 1000
        if stretch.boot == event["boot"] and stretch.begin - 10 <= at <= stretch.end + 10:
            return float(min(max(at, stretch.begin), stretch.end))
    return None


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


def time_axis(top: Any, bottom: Any, stretches: list[Stretch]) -> None:
    """Boot numbers above the topmost axis; below the lowest, ticks in each boot's own time,
    or, where the boots are too many for that, how long each was."""
    whole = stretches[-1].end if stretches else 1.0
    room = whole / 16  # a name closer than this would run into its neighbour
    few = len(stretches) <= MOST_TICKED
    ticks = own_ticks(stretches) if few else [
        ((s.begin + s.end) / 2, clock(s.end - s.begin)) for s in stretches
    ]
    bottom.set_xticks([at for at, _ in ticks], spaced(ticks, room))
    middles = [((s.begin + s.end) / 2, f"boot {s.boot}") for s in stretches]
    for (at, _), name in zip(middles, spaced(middles, room * 1.1), strict=True):
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


def own_ticks(stretches: list[Stretch]) -> list[tuple[float, str]]:
    """Round times of each boot: where on the common axis, and in words."""
    recorded = sum(s.end - s.begin for s in stretches)
    step = next((s for s in TICKS if recorded / s <= 12), TICKS[-1])
    out = []
    for stretch in stretches:
        first = math.ceil((stretch.begin - stretch.zero) / step) * step
        for own in np.arange(first, stretch.end - stretch.zero + 1e-6, step).tolist():
            out.append((stretch.zero + own, clock(own)))
    return out


def spaced(names: list[tuple[float, str]], room: float) -> list[str]:
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
