"""Which pages make an outing: all between two meetings with a laptop, or until the board's
totals began anew. Where nobody turned the handle between two meetings there is none; where it
was hardly moved, these pages are the next outing's."""

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

# An outing is worth a line of its own from so much on: a board that is tried in the hand, or
# pulled again and again while it is turned, is not. In 3 s no phone begins to charge
# (flow.SETTLE_S); 3 turns are as long at 60 turns/min, 6 J as long at 2 W; common practice, no
# source
WORTH_S, WORTH_TURNS, WORTH_J = 3.0, 3.0, 6.0
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


class Meetings:
    """A board's meetings, oldest first, as arrays."""

    def __init__(self, meetings: Sequence[Meeting]) -> None:
        self.all = meetings
        self.moment = np.array([(m.boot << 32) + m.t_ms for m in meetings], "i8")
        self.last_seq = np.array([-1 if m.last_seq is None else m.last_seq for m in meetings],
                                 "i8")
        self.by_time = np.array([m.last_seq is None for m in meetings], bool)

    def pages_before(self, table: NDArray[Any]) -> NDArray[Any]:
        """For each meeting, how many of the pages were begun before it (a summary: ended)."""
        seq = np.ascontiguousarray(table["seq"])
        many = table["flags"] & layout.FLAG_SUMMARY > 0
        when = table["t0_ms"] + np.where(many, table["length_ms"], 0)
        moment = np.maximum.accumulate((table["boot"].astype("i8") << 32) + when)
        found: NDArray[Any] = np.where(
            self.by_time, np.searchsorted(moment, self.moment, "left"),
            np.searchsorted(seq, self.last_seq, "right"))
        return found


def segments(
    table: NDArray[Any], meetings: Meetings, before: NDArray[Any]
) -> list[Segment]:
    """All pages of `table` (decode.PAGE, by number) in their segments. before: the rows before
    the first one, of which the last tells where the totals stood."""
    if not len(table):
        return []
    parted = meetings.pages_before(table)
    order = np.argsort(parted, kind="stable")
    at = parted[order]
    restarts = np.flatnonzero(went_back(table, before))
    inner = np.concatenate((at[(at > 0) & (at < len(table))], restarts))
    edges = np.unique(np.append(inner, (0, len(table)))).astype("i8")
    here = np.searchsorted(at, edges[:-1], "right").tolist()
    then = np.searchsorted(at, edges[1:], "left").tolist()
    return [
        Segment(first, stop, meetings.all[order[h - 1]] if h else None,
                meetings.all[order[t]] if t < len(order) else None)
        for (first, stop), h, t in zip(pairwise(edges.tolist()), here, then, strict=True)
    ]


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
    return figures.turns > 0 or _turned_s(figures) > 0 or figures.connected_s > 0 \
        or figures.energy_in_j >= LEAST_J


def worth(figures: Figures) -> bool:
    """Whether it was turned long enough to be an outing."""
    return figures.turns >= WORTH_TURNS or _turned_s(figures) >= WORTH_S \
        or figures.energy_in_j >= WORTH_J


def _turned_s(figures: Figures) -> float:
    return sum(figures.cue_s.get(layout.CUES[cue], 0.0)
               for cue in (layout.FASTER, layout.HOLD, layout.SLOWER, layout.STOP))


def turning(pages: Pages) -> NDArray[Any]:
    """In which of the pages the handle turned, by the lamp; all where it is in none. (A board
    that lies at a laptop afterwards is on as well, days later.)"""
    samples, sums = pages.samples, pages.summaries
    moved = (samples["cue"] >= layout.FASTER) & (samples["cue"] <= layout.STOP)
    summed = sums["by_cue"][:, layout.FASTER : layout.STOP + 1].sum(axis=1) > 0
    found = np.isin(pages.pages["seq"],
                    np.concatenate((samples["seq"][moved], sums["seq"][summed])))
    return found if found.any() else ~found


class Parts:
    """Pages that are taken apart by rows of their table."""

    def __init__(self, pages: Pages) -> None:
        self.pages = pages
        seq = np.ascontiguousarray(pages.pages["seq"])
        # of each table, the row at which each page begins; a column is copied once, not each time
        self._starts = [
            np.append(np.searchsorted(np.ascontiguousarray(rows["seq"]), seq), len(rows))
            for rows in (pages.samples, pages.events, pages.bursts, pages.summaries)
        ]

    def part(self, first: int, stop: int) -> Pages:
        """Rows first to stop (excluded), with all that stands in these pages."""
        samples, events, bursts, summaries = (
            slice(starts[first], starts[stop]) for starts in self._starts)
        pages = self.pages
        return Pages(pages.pages[first:stop], pages.samples[samples], pages.events[events],
                     pages.bursts[bursts], summaries=pages.summaries[summaries])
