"""What is missing in an outing: moments in which the board measured nothing, lost pages."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from steadyturn_fw import pages as layout

from steadyturn.sessions.decode import Pages

TICK_MS = 20
COUNTED_MS = 200  # of one stall so much at most is in the totals (firmware/pages.md, event gap)


@dataclass(frozen=True, slots=True)
class Gaps:
    """stalls: times the loop stood still for more than COUNTED_MS; stalled_s: how long in all;
    longest_ms; dropped_ticks: of 20 ms, that no figure has; uncounted_s: their time. no_data_s:
    samples in which nothing was measured. missing_pages: lost or never stored."""

    stalls: int
    stalled_s: float
    longest_ms: int
    dropped_ticks: int
    uncounted_s: float
    no_data_s: float
    missing_pages: int


def gaps(pages: Pages, no_data_s: float, missing_pages: int) -> Gaps:
    """no_data_s, missing_pages: as in Figures, which know of summaries too."""
    events = pages.events
    stood = events["argument"][events["code"] == layout.EV_GAP].astype("i8")
    beyond = np.maximum(stood - COUNTED_MS, 0)
    return Gaps(
        stalls=len(stood), stalled_s=int(stood.sum()) / 1000, longest_ms=int(stood.max(initial=0)),
        dropped_ticks=int((beyond // TICK_MS).sum()), uncounted_s=int(beyond.sum()) / 1000,
        no_data_s=no_data_s, missing_pages=missing_pages)
