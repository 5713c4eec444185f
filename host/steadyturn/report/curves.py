"""Samples as curves, and spans of time as columns, for pictures and pages alike.

Where a drawing has many samples a column, each column keeps their lowest, mean and highest.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray
from steadyturn_fw import pages as layout

from steadyturn.report.plots_boots import Stretch

Floats = NDArray[np.float64]
Curve = tuple[Floats, Floats]
Span = tuple[float, float]

STEP_S = layout.SAMPLE_MS / 1000
COLUMNS = 1000  # of a drawing: about its pixels on a wide screen
SHARED_S = 1.0  # of a column: from there on it may well hold more than one cue


def curve(stretches: Sequence[Stretch], value: Callable[[Any], Any],
          which: Callable[[Any], Any] | None = None) -> list[Curve]:
    """A figure of the samples (`decode.SAMPLE`) over the common axis, in pieces that a line
    may join; which: of the measured samples only these."""
    found: list[Curve] = []
    for stretch in stretches:
        rows = stretch.samples
        keep = ~rows["no_data"] if which is None else ~rows["no_data"] & which(rows)
        seconds = stretch.zero + rows["t_ms"] / 1000 + STEP_S / 2
        values = np.where(keep, np.asarray(value(rows), float), np.nan)
        found += pieces(seconds, values, STEP_S)
    return found


def sure_pace(stretches: Sequence[Stretch]) -> list[Curve]:
    """The pace, turns/min, where it is known."""
    return curve(stretches, lambda s: s["pace_tpm"], lambda s: s["valid"] == layout.VALID)


def bound_pace(stretches: Sequence[Stretch]) -> list[Curve]:
    """What the pace was at most, turns/min, where it is not known."""
    return curve(stretches, lambda s: s["pace_tpm"], lambda s: s["valid"] != layout.VALID)


def watts(stretches: Sequence[Stretch]) -> list[Curve]:
    """Power into the converter, W."""
    return curve(stretches, lambda s: s["bus_mv"].astype(float) * s["bus_ma"] / 1e6)


def thousandths(stretches: Sequence[Stretch], column: str) -> list[Curve]:
    """A column in mV or mA, as V or A."""
    return curve(stretches, lambda s: s[column] / 1000)


def pieces(seconds: Floats, values: Floats, step_s: float) -> list[Curve]:
    """A curve in pieces that a line may join: broken where a value is not finite, or where
    the next one comes later than 1.5 steps."""
    good = np.isfinite(values)
    seconds, values = seconds[good], values[good]
    at = np.flatnonzero((np.diff(seconds) > 1.5 * step_s) | (np.diff(np.flatnonzero(good)) > 1))
    return [(t, y) for t, y in zip(np.split(seconds, at + 1), np.split(values, at + 1),
                                   strict=True) if len(t)]


def thinned(seconds: Floats, values: Floats, whole_s: float,
            columns: int = COLUMNS) -> NDArray[Any] | None:
    """Rows of (time, lowest, mean, highest), one a column that has samples; None where there
    are so few samples that each can be drawn."""
    column = np.minimum(seconds / whole_s * columns, columns - 1).astype(int)
    first = np.flatnonzero(np.diff(column, prepend=-1))
    if len(seconds) <= 2 * len(first):
        return None
    count = np.diff(np.append(first, len(column)))
    return np.column_stack([
        (column[first] + 0.5) * whole_s / columns, np.minimum.reduceat(values, first),
        np.add.reduceat(values, first) / count, np.maximum.reduceat(values, first)])


def columns_of(spans: Iterable[Span], whole_s: float) -> list[tuple[int, int]]:
    """Spans of time as whole columns (first, end), those that touch joined; a span shorter
    than a column still has one."""
    taken = np.zeros(COLUMNS + 1, bool)
    for begin, end in spans:
        a = min(max(int(begin / whole_s * COLUMNS), 0), COLUMNS - 1)
        b = min(max(a + 1, math.ceil(end / whole_s * COLUMNS - 1e-9)), COLUMNS)
        taken[a:b] = True
    edges = np.flatnonzero(np.diff(taken.astype(np.int8), prepend=0))
    return [(int(a), int(b)) for a, b in zip(edges[::2], edges[1::2], strict=True)]


def filled(spans: Sequence[Span], whole_s: float) -> Floats:
    """How much of each column these spans fill, 0 to 1. They follow one another."""
    if not spans:
        return np.zeros(COLUMNS)
    begin, end = np.array(spans, float).T / whole_s * COLUMNS
    edges = np.arange(COLUMNS + 1.0)
    last = np.searchsorted(begin, edges, "right") - 1  # the span that began before an edge
    before = np.append(0.0, np.cumsum(end - begin))
    left = before[last] + np.minimum(edges - begin[last], end[last] - begin[last])
    return np.clip(np.diff(np.where(last >= 0, left, 0.0)), 0.0, 1.0)
