"""Minutes in which the board took readings for a bench: nobody cranked as they would outside.

Each page begun meanwhile says so (firmware/bench.md). Energies and turns count like any others;
what is told of the hand, the phone and the machine's use is not.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray
from steadyturn_fw import pages as layout

from steadyturn.sessions.decode import Pages


def outside(pages: Pages, rows: NDArray[Any]) -> NDArray[Any]:
    """Of `rows` (samples or events of these pages) those of no bench."""
    told = _pages(pages)
    return rows[~np.isin(rows["seq"], told)] if len(told) else rows


def connections(pages: Pages) -> int:
    """How often the load was connected for a bench, by events."""
    made = pages.events["seq"][pages.events["code"] == layout.EV_CONNECTED]
    return int(np.count_nonzero(np.isin(made, _pages(pages))))


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
