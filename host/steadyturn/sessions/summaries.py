"""What is left of boots whose samples the board gave up for room: one page for each.

A summary's totals are running totals as any page's, so differences of them need nothing from
here. What it counts of its own (time by cue, releases, faults) holds for all pages that it
stands for; some of these may be in the library as well, pulled before the board gave them
up, or an earlier summary of the same boot. `rest` takes those off, so that nothing counts twice.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray
from steadyturn_fw import pages as layout

from steadyturn.sessions.whole import number

if TYPE_CHECKING:
    from steadyturn.sessions.decode import Pages

# One row a summary. Counts of samples are of 0.2 s; pace_sum: of the valid paces, turns/min.
SUMMARY = np.dtype([
    ("seq", "i8"), ("first_seq", "i8"), ("pages", "i8"), ("first_boot", "i4"), ("boot", "i4"),
    ("by_cue", "i8", 8), ("by_validity", "i8", 4), ("no_data", "i8"),
    ("top_pace_tpm", "f8"), ("pace_sum", "f8"), ("collapses", "i8"),
    ("releases", "i8", layout.REASONS_KEPT), ("faults", "i8", layout.FAULTS_KEPT),
])
_COUNTS = ("by_cue", "by_validity", "no_data", "pace_sum", "collapses", "releases", "faults")
_NUMBERS = (
    ("seq", layout.AT_SEQ, 4), ("first_seq", layout.AT_FIRST, 4),
    ("pages", layout.AT_STANDS_FOR, 4), ("first_boot", layout.AT_FIRST_BOOT, 3),
    ("boot", layout.AT_BOOT, 3), ("no_data", layout.AT_NO_DATA, 4),
    ("top_pace_tpm", layout.AT_TOP_PACE, 2), ("pace_sum", layout.AT_PACE_SUM, 6),
    ("collapses", layout.AT_COLLAPSES, 2),
)
_TABLES = (
    ("by_cue", layout.AT_BY_CUE, 4), ("by_validity", layout.AT_BY_VALIDITY, 4),
    ("releases", layout.AT_RELEASES, 2), ("faults", layout.AT_FAULTS_BEGUN, 2),
)


def decode(block: NDArray[Any]) -> NDArray[Any]:
    """SUMMARY rows of those pages of a block of bytes, one row a page, that are summaries."""
    block = block[np.flatnonzero(block[:, layout.AT_FLAGS] & layout.FLAG_SUMMARY)]
    out = np.zeros(len(block), SUMMARY)
    if not len(block):
        return out
    for name, at, size in _NUMBERS:
        out[name] = number(block, at, size)
    for name, at, size in _TABLES:
        for i in range(out[name].shape[1]):
            out[name][:, i] = number(block, at + i * size, size)
    out["top_pace_tpm"] /= 2  # the board counts in halves
    out["pace_sum"] /= 2
    return out


@dataclass(frozen=True, slots=True)
class Rest:
    """What summaries tell beyond the pages at hand. counts: one row of SUMMARY, its counts
    added up and its best pace; pages: how many they stand for that are not at hand."""

    counts: Any
    pages: int

    def by_name(self, name: str, names: tuple[str, ...]) -> dict[str, int]:
        """The counts that are not nothing, by their names."""
        return {
            names[i] if i < len(names) else f"code {i}": int(n)
            for i, n in enumerate(self.counts[name]) if n > 0
        }


def rest(pages: Pages, known: Pages | None = None) -> Rest:
    """Of the summaries in `pages`; known: older pages that are not in them."""
    total = np.zeros(1, SUMMARY)[0]
    stand = 0
    for row in _widest(pages.summaries):
        first, last = int(row["first_seq"]), int(row["seq"])
        part = row.copy()
        inside = np.zeros(0, SUMMARY)
        if known is not None:
            inside = _widest(known.summaries[
                (known.summaries["first_seq"] >= first) & (known.summaries["seq"] < last)])
        left = int(row["pages"])
        for other in inside:
            for name in _COUNTS:
                part[name] = part[name] - other[name]
            left -= int(other["pages"])
        for source in (pages, known):
            if source is not None:
                left -= _take_off(part, source, first, last, inside)
        for name in _COUNTS:
            total[name] = total[name] + np.maximum(part[name], 0)
        total["top_pace_tpm"] = max(total["top_pace_tpm"], row["top_pace_tpm"])
        stand += max(0, left)
    return Rest(total, stand)


def _widest(table: NDArray[Any]) -> NDArray[Any]:
    """Without those that lie within another: the same boot's, made earlier."""
    keep = [
        not np.any((table["first_seq"] <= row["first_seq"]) & (table["seq"] > row["seq"]))
        for row in table
    ]
    return table[np.array(keep, bool)]


def _take_off(
    part: Any, source: Pages, first: int, last: int, inside: NDArray[Any]
) -> int:
    """Take off what pages from `first` to `last` tell themselves; how many these are."""

    def here(seq: NDArray[Any]) -> NDArray[Any]:
        within = (seq >= first) & (seq <= last)
        for other in inside:
            within &= (seq < other["first_seq"]) | (seq > other["seq"])
        return within

    table = source.pages
    own = here(table["seq"]) & (table["flags"] & layout.FLAG_SUMMARY == 0)
    seqs = table["seq"][own]
    samples = source.samples[np.isin(source.samples["seq"], seqs)]
    live = samples[~samples["no_data"]]
    part["no_data"] -= len(samples) - len(live)
    part["by_cue"] -= np.bincount(live["cue"], minlength=8)
    part["by_validity"] -= np.bincount(live["valid"], minlength=4)
    part["pace_sum"] -= live["pace_tpm"][live["valid"] == layout.VALID].sum(dtype=float)
    events = source.events[np.isin(source.events["seq"], seqs)]
    begins = table["t0_ms"][np.searchsorted(table["seq"], events["seq"])]
    fresh = events[events["t_ms"] >= begins]
    part["collapses"] -= np.count_nonzero(fresh["code"] == layout.EV_COLLAPSE)
    for name, code in (("releases", layout.EV_RELEASED), ("faults", layout.EV_FAULT)):
        argument = fresh["argument"][fresh["code"] == code]
        size = len(part[name])
        part[name] -= np.bincount(argument[argument < size], minlength=size)
    return len(seqs)
