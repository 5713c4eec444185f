"""Which pages make an outing: all between two meetings with a laptop, or until the board's
totals began anew. Where nobody turned the handle between two meetings there is none."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray
from steadyturn_fw import pages as layout

from steadyturn.sessions.decode import Pages
from steadyturn.sessions.figures import TOTALS, TURN_OVER, Figures

LEAST_J = 1.0  # common practice, no source: above what a sensor's offset adds up to on a desk


@dataclass(frozen=True, slots=True)
class Meeting:
    """A contact, as far as it parts pages. id: its number; last_seq: the last page that the
    board then had, for a pull, which writes the page being filled first; None for others,
    which part the pages by time: t_ms into boot `boot`."""

    id: int
    boot: int
    t_ms: int
    last_seq: int | None


@dataclass(frozen=True, slots=True)
class Segment:
    """Rows first to stop (excluded) of a table of pages. after: the last meeting before
    them, until: the first after them."""

    first: int
    stop: int
    after: Meeting | None
    until: Meeting | None


def segments(
    table: NDArray[Any], meetings: Sequence[Meeting], before: NDArray[Any]
) -> list[Segment]:
    """All pages of `table` (decode.PAGE, by number) in their segments. meetings: oldest first;
    before: the rows before the first one, of which the last tells where the totals stood."""
    if not len(table):
        return []
    parted = [(_pages_before(table, m), i, m) for i, m in enumerate(meetings)]
    parted.sort(key=lambda p: p[:2])
    restarts = np.flatnonzero(went_back(table, before))
    inner = {k for k, _, _ in parted if 0 < k < len(table)} | set(restarts.tolist())
    edges = sorted(inner | {0, len(table)})
    at = np.array([k for k, _, _ in parted], "i8")
    out = []
    for first, stop in pairwise(edges):
        here = int(np.searchsorted(at, first, "right"))
        then = int(np.searchsorted(at, stop, "left"))
        out.append(Segment(first, stop, parted[here - 1][2] if here else None,
                           parted[then][2] if then < len(parted) else None))
    return out


def _pages_before(table: NDArray[Any], meeting: Meeting) -> int:
    """How many of the pages were begun before it (a summary: ended)."""
    if meeting.last_seq is not None:
        return int(np.searchsorted(table["seq"], meeting.last_seq, "right"))
    when = table["t0_ms"] + np.where(
        table["flags"] & layout.FLAG_SUMMARY > 0, table["length_ms"], 0)
    moment = np.maximum.accumulate((table["boot"].astype("i8") << 32) + when)
    return int(np.searchsorted(moment, (meeting.boot << 32) + meeting.t_ms, "left"))


def went_back(table: NDArray[Any], before: NDArray[Any]) -> NDArray[Any]:
    """Of each page, whether the board's totals are below those of the page before it: it lost
    them and began anew. (A count that turns over after a long life is no such case.)"""
    back = np.zeros(len(table), bool)
    for name, wrap in TOTALS.items():
        if wrap:
            continue
        column = table[name].astype("i8")
        step = np.diff(column, prepend=int(before[name][-1]) if len(before) else column[0])
        over = step % TURN_OVER[name] < TURN_OVER[name] >> 8
        back |= (step < 0) & ~over
    return back


def turned(figures: Figures) -> bool:
    """Whether anybody turned the handle: else the board only lay at a laptop."""
    by_cue = sum(figures.cue_s.get(layout.CUES[cue], 0.0)
                 for cue in (layout.FASTER, layout.HOLD, layout.SLOWER, layout.STOP))
    return figures.turns > 0 or by_cue > 0 or figures.connected_s > 0 \
        or figures.energy_in_j >= LEAST_J


def turning(pages: Pages) -> NDArray[Any]:
    """In which of the pages the handle turned, by the lamp; all where it is in none. (A board
    that lies at a laptop afterwards is on as well, days later.)"""
    samples, sums = pages.samples, pages.summaries
    moved = (samples["cue"] >= layout.FASTER) & (samples["cue"] <= layout.STOP)
    summed = sums["by_cue"][:, layout.FASTER : layout.STOP + 1].sum(axis=1) > 0
    found = np.isin(pages.pages["seq"],
                    np.concatenate((samples["seq"][moved], sums["seq"][summed])))
    return found if found.any() else ~found
