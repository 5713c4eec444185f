"""Gear trains of whole teeth: for each ratio one, of the fewest stages and smallest wheels.

Ratios a hand cannot tell apart are one: they are kept SPACING apart. The search is a table
over the ratio's logarithm: the best trains of n stages are those of n - 1, each with every
single stage put behind it. Textbook practice; the trains of published examples come out of it
(tests).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import log, prod

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Whole = NDArray[np.int64]

SPACING = 0.015  # of neighbouring ratios, as a share
FINER = 0.005  # of single stages, while trains are put together


@dataclass(frozen=True, slots=True)
class Train:
    """teeth: (driver, driven) of each stage, handle side first; ratio: motor turns for one
    turn of the handle."""

    teeth: tuple[tuple[int, int], ...]
    ratio: float


def trains(wheels: Sequence[int], max_stages: int, max_stage_ratio: float,
           highest: float, lowest: float = 1.0) -> list[Train]:
    """Trains that speed up, with ratios from `lowest` to `highest`, slowest first.

    wheels: tooth counts that can be made, each as often as needed. Every train has at most
    max_stages stages of at most max_stage_ratio.

    >>> [t.teeth for t in trains((20, 60), 2, 3, 10) if t.ratio > 1]
    [((60, 20),), ((60, 20), (60, 20))]
    """
    single = _single(np.unique(np.array(wheels, dtype=np.int64)), max_stage_ratio)
    if not single.ratio.size or highest < 1:
        return []
    stage = _smallest(single, FINER, highest)
    best = now = _smallest(single, SPACING, highest)
    for _ in range(1, max_stages):
        now = _smallest(_behind(now, stage, highest), SPACING, highest)
        best = _fewest(best, now)
    order = np.argsort(best.ratio, kind="stable")
    found = [Train(_ordered(best.teeth[i]), float(best.ratio[i])) for i in order.tolist()]
    return [train for train in found if train.ratio >= lowest * (1 - 1e-12)]


def text(teeth: Sequence[tuple[int, int]]) -> str:
    """A train as makers write it.

    >>> text(((60, 12), (48, 12)))
    '60/12 x 48/12'
    """
    return " x ".join(f"{driver}/{driven}" for driver, driven in teeth)


def ratio(teeth: Sequence[tuple[int, int]]) -> float:
    """Motor turns for one turn of the handle; stages multiply.

    >>> ratio(((50, 20), (75, 25), (65, 26)))
    18.75
    """
    return prod(driver / driven for driver, driven in teeth)


@dataclass
class _Table:
    """ratio: 1-D; teeth: [train, stage, driver or driven]."""

    ratio: Floats
    teeth: Whole


def _single(wheels: Whole, most: float) -> _Table:
    driver, driven = (side.ravel() for side in np.meshgrid(wheels, wheels, indexing="ij"))
    fits = (driver >= driven) & (driver <= most * driven * (1 + 1e-12))
    driver, driven = driver[fits], driven[fits]
    return _Table(driver / driven, np.stack([driver, driven], axis=1)[:, None, :])


def _behind(trains_so_far: _Table, stage: _Table, highest: float) -> _Table:
    """Every train with every stage behind it, up to the highest ratio."""
    ratios = trains_so_far.ratio[:, None] * stage.ratio
    first, last = np.nonzero(ratios <= highest * (1 + 1e-12))
    teeth = np.concatenate([trains_so_far.teeth[first], stage.teeth[last]], axis=1)
    return _Table(ratios[first, last], teeth)


def _smallest(table: _Table, spacing: float, highest: float) -> _Table:
    """Of those of about one ratio the one with the fewest teeth in all; of equal ones that
    with the smallest largest wheel, then the smallest ratio, so that it is always the same."""
    keep = table.ratio <= highest * (1 + 1e-12)
    ratios, teeth = table.ratio[keep], table.teeth[keep]
    place = np.floor(np.log(ratios) / log(1 + spacing) + 0.5).astype(np.int64)
    flat = teeth.reshape(len(teeth), -1)
    order = np.lexsort((ratios, flat.max(axis=1, initial=0), flat.sum(axis=1), place))
    first = np.concatenate([[True], place[order][1:] != place[order][:-1]])[: len(order)]
    chosen = order[first]
    return _Table(ratios[chosen], teeth[chosen])


def _fewest(fewer: _Table, more: _Table) -> _Table:
    """Both, without those of `more` that come near one of `fewer`. A train of fewer stages
    is filled with stages of no teeth."""
    padding = np.zeros((len(fewer.teeth), more.teeth.shape[1] - fewer.teeth.shape[1], 2),
                       dtype=np.int64)
    padded = np.concatenate([fewer.teeth, padding], axis=1)
    place = [np.floor(np.log(t.ratio) / log(1 + SPACING) + 0.5) for t in (fewer, more)]
    new = ~np.isin(place[1], place[0])
    return _Table(np.concatenate([fewer.ratio, more.ratio[new]]),
                  np.concatenate([padded, more.teeth[new]]))


def _ordered(teeth: Whole) -> tuple[tuple[int, int], ...]:
    """The stage that speeds up most first: the slow, strong end then has the big wheels."""
    pairs = [(int(driver), int(driven)) for driver, driven in teeth if driver]
    return tuple(sorted(pairs, key=lambda pair: (-pair[0] / pair[1], pair)))
