"""Minutes in which the board took readings for a bench: nobody cranked as they would outside.

Each page begun meanwhile says so (firmware/bench.md). What went into the bench's loads charged no
phone, the lamp's beat was no cue, and connections and faults were the bench's own: none of it is
in a review's figures, but stands beside them. The board's own count has it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray
from steadyturn_fw import pages as layout

from steadyturn.sessions.decode import Pages


def outside(pages: Pages, rows: NDArray[Any]) -> NDArray[Any]:
    """Of `rows` (samples or events of these pages) those of no bench."""
    told = _pages(pages)
    return rows[~np.isin(rows["seq"], told)] if len(told) else rows


@dataclass(frozen=True, slots=True)
class Bench:
    """What the pages of a bench had, by their totals: time the board was on, turns, energies into
    the converter and out of it, connections, faults."""

    pages: int = 0
    on_s: float = 0.0
    turns: float = 0.0
    energy_in_wh: float = 0.0
    energy_out_wh: float = 0.0
    connections: int = 0
    faults: int = 0


def bench(pages: Pages, step: Mapping[str, NDArray[Any]]) -> Bench:
    """step: what each page added to each total."""
    told = of_pages(pages)
    if not told.any():
        return Bench()
    total = {name: int(column[told].sum()) for name, column in step.items()}
    return Bench(
        int(np.count_nonzero(told)), total["on_samples"] * layout.SAMPLE_MS / 1000,
        total["turns_m"] / 1000, total["energy_in_uj"] / 3.6e9, total["energy_out_uj"] / 3.6e9,
        total["connections"], total["faults"])


def of_pages(pages: Pages) -> NDArray[np.bool_]:
    """Which of the pages are a bench's."""
    return np.isin(pages.pages["seq"], _pages(pages))


def of_samples(pages: Pages, samples: NDArray[Any]) -> NDArray[np.bool_]:
    """Which of these samples are a bench's."""
    return np.isin(samples["seq"], _pages(pages))


def _pages(pages: Pages) -> NDArray[Any]:
    """Numbers of those begun meanwhile."""
    events = pages.events
    told: NDArray[Any] = events["seq"][
        (events["code"] == layout.EV_BENCH) & (events["argument"] > 0)]
    return told


def without(pages: Pages) -> Pages:
    """The same pages, but of a bench's neither samples nor events."""
    return replace(pages, samples=outside(pages, pages.samples),
                   events=outside(pages, pages.events))
