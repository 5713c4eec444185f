"""The library's decoded rows, brought up to date with its pages.

What is behind is noted in the table `stale` in the same breath as the pages that came. It is
worked off in runs, each one transaction, so that it may be broken off at any moment, and so
that two programs may do it at once.
"""

from __future__ import annotations

import json
import math
from collections.abc import Callable, Sequence
from dataclasses import replace
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray
from steadyturn_fw import pages as layout

from steadyturn.sessions import dates, in_force, outing_rows, schema
from steadyturn.sessions.decode import decode, seq_of
from steadyturn.sessions.figures import Figures, review
from steadyturn.sessions.grouping import Parts, Segment, segments, turned, turning, worth
from steadyturn.sessions.lesson import text
from steadyturn.sessions.lessons import lessons
from steadyturn.sessions.parting import Contacts, Met
from steadyturn.sessions.settings_names import Names, names
from steadyturn.sessions.store import Store

RUN = 4096  # pages decoded at a time: 20 MB as arrays
Progress = Callable[[int, int], None]  # pages done, in all


def refresh(store: Store, progress: Progress | None = None) -> None:
    """Bring the decoded rows of all boards up to date. Raises Failed."""
    total, done = 0, 0
    if progress is not None:
        total = store.rows("n", "SELECT count(*) FROM page JOIN stale USING (board) "
                           "WHERE seq >= from_seq")[0][0]
    for board, in store.rows("n", "SELECT board FROM stale ORDER BY board"):
        count, met = RUN, Contacts(store, board)
        while True:
            worked, left = _run(store, board, count, met)
            if progress is not None and worked:
                done = min(done + worked, total)
                progress(done, total)
            if not left:
                break
            count = count * 2 if not worked else RUN  # one outing may be longer than a run


def _run(store: Store, board: int, count: int, met: Contacts) -> tuple[int, bool]:
    """One run of at most `count` pages: how many were worked off, and whether more are left."""
    with schema.plain_errors(store.path), store.transaction():
        marked = store.rows("n", "SELECT from_seq FROM stale WHERE board = ?", board)
        if not marked:  # another program did it
            return 0, False
        start = marked[0][0]
        rows = store.rows("p", "SELECT raw FROM page WHERE board = ? AND seq >= ? "
                          f"ORDER BY seq LIMIT {count + 1:d}", board, start)
        more = len(rows) > count
        raw = [row[0] for row in rows[:count]]
        worked = _work(store, board, start, raw, more, met.now())
        if more and not worked:
            return 0, True
        if more:
            return worked, True
        store.db.execute("DELETE FROM stale WHERE board = ?", (board,))
        dates.write(store, board)
        return worked, False


def _work(
    store: Store, board: int, start: int, raw: list[bytes], more: bool, contacts: Contacts
) -> int:
    """Decode these pages, the first of which begins an outing, into rows. more: others follow,
    so the last outing is left for the next run. How many pages that was."""
    run = _Run(store, board, start, raw, contacts.met)
    found = segments(run.pages.pages, contacts.meetings, decode(run.earlier).pages)
    end = None
    if more:
        if len(found) < 2:
            return 0
        end = int(run.pages.pages["seq"][found.pop().first])
    rows, left = run.rows(found)
    if more and left is not None:  # hardly moved: with what comes next
        end = int(run.pages.pages["seq"][left])
        if not left:
            return 0
    _replace(store, board, start, end, rows)
    if end is not None:
        store.db.execute("UPDATE stale SET from_seq = ? WHERE board = ?", (end, board))
        return int(np.searchsorted(run.pages.pages["seq"], end))
    return len(raw)


class _Run:
    """Pages that are decoded at a time, and what is looked up for them."""

    def __init__(
        self, store: Store, board: int, start: int, raw: list[bytes], met: dict[int, Met]
    ) -> None:
        self.store, self.board = store, board
        self.raw = b"".join(raw)
        self.pages = decode(self.raw)
        self.earlier = outing_rows.before(store, board, [], start)
        self.met = met
        self._parts = Parts(self.pages)
        self._names: dict[int | None, Names] = {None: names(b"")}

    def rows(self, segments: Sequence[Segment]) -> tuple[list[dict[str, Any]], int | None]:
        """Their decoded rows. Those in which the handle was hardly moved are one with the next
        that is worth a row; the second value is where such begin that have none after them."""
        rows: list[dict[str, Any]] = []
        first: int | None = None
        for segment in segments:
            row, moved = self._row(segment, segment.first if first is None else first)
            if row is not None:
                rows.append(row)
                first = None
            elif moved and first is None:
                first = segment.first
        return rows, first

    def _row(self, segment: Segment, first: int) -> tuple[dict[str, Any] | None, bool]:
        """The decoded row of a segment, with the pages from row `first` of the table on that are
        before it; None where it is not worth one. And whether anybody turned."""
        own = self._parts.part(segment.first, segment.stop)
        moving = own.pages[turning(own)]
        begin, end = moving[0], moving[-1]
        settings = self._settings(segment, own.events[own.events["seq"] <= end["seq"]])
        known = self.names(settings)
        before = self._before(segment, own.pages)
        figures = review(own, {"percent_mj": known.percent_mj}, before=before)
        if not turned(figures) or not worth(figures):
            return None, turned(figures)
        if first < segment.first:
            segment = replace(segment, first=first)
            own = self._parts.part(first, segment.stop)
            before = self._before(segment, own.pages)
            figures = review(own, {"percent_mj": known.percent_mj}, before=before)
        table = own.pages
        return {
            "board": self.board,
            "first_seq": int(table["seq"][0]), "last_seq": int(table["seq"][-1]),
            "first_boot": int(table["first_boot"].min()), "last_boot": int(table["boot"][-1]),
            "begin_boot": int(begin["first_boot"]), "begin_ms": int(begin["t0_ms"]),
            "end_boot": int(end["boot"]), "end_ms": int(end["t0_ms"] + end["length_ms"]),
            "after_contact": segment.after.id if segment.after else None,
            "until_contact": segment.until.id if segment.until else None,
            "settings": settings, "rig": known.rig, "label": known.label,
            "lessons": text(lessons(own, known.constants, figures)),
            "boots": len(figures.boots), "pages": len(table),
            "missing_pages": figures.missing_pages + _missing_before(table, before),
            **_totals(figures),
        }, True

    def _before(self, segment: Segment, table: NDArray[Any]) -> bytes:
        """As outing_rows.before, from what is at hand."""
        first, oldest = int(table["seq"][0]), int(table["first_seq"].min())
        if oldest < first:
            older = outing_rows.raw_pages(self.store, self.board, oldest, first - 1)
            if older:
                return b"".join(older)
        if not segment.first:
            return self.earlier
        at = int(self.pages.pages["position"][segment.first - 1])
        return self.raw[at : at + layout.PAGE_BYTES]

    def _settings(self, segment: Segment, events: NDArray[Any]) -> int | None:
        """The settings in force: those that the pages themselves name, if a contact left
        them; else as the meeting that ended it found them, unless that one wrote new ones;
        then as the meeting before it left them."""
        told = events["argument"][np.isin(
            events["code"], (layout.EV_SETTINGS, layout.EV_PREVIOUS_SETTINGS))].tolist()
        if told:
            return self._by_crc.get(told[-1])
        if segment.until is not None:
            until = self.met[segment.until.id]
            if until.kind != "flash":
                return until.settings
        return None if segment.after is None else self.met[segment.after.id].settings

    @cached_property
    def _by_crc(self) -> dict[int | None, int]:
        """The low half of a settings text's CRC -> its number; the newest of two alike."""
        return {in_force.crc_low(text): id for id, text in self.store.rows(
            "nb", "SELECT id, text FROM settings ORDER BY id")}

    def names(self, settings: int | None) -> Names:
        if settings not in self._names:
            text = self.store.row("b", "SELECT text FROM settings WHERE id = ?", settings)
            self._names[settings] = names(text[0])
        return self._names[settings]


def _totals(figures: Figures) -> dict[str, Any]:
    return {
        "energy_in_j": figures.energy_in_j, "energy_out_j": figures.energy_out_j,
        "energy_out_kind": figures.energy_out_kind, "charge_c": figures.charge_mah * 3.6,
        "turns": figures.turns, "on_s": figures.on_s, "turning_s": figures.turning_s,
        "band_s": figures.band_s, "connected_s": figures.connected_s,
        "connections": figures.connections, "faults": figures.faults,
        "faults_by_name": json.dumps(dict(figures.faults_by_name)),
        "percent": _known(figures.percent), "mean_pace_tpm": _known(figures.mean_pace_tpm),
    }


def _known(value: float) -> float | None:
    return float(value) if math.isfinite(value) else None


def _missing_before(table: NDArray[Any], before: bytes) -> int:
    """Pages absent between the one before and the first of these: their totals count here."""
    if not before:
        return 0
    last = seq_of(before[-layout.PAGE_BYTES :])
    return max(0, int(table["first_seq"].min()) - last - 1)


def _replace(
    store: Store, board: int, start: int, end: int | None, rows: list[dict[str, Any]]
) -> None:
    """Put these rows in place of those from page `start` up to `end` (excluded; None: all).
    An outing keeps its number as long as it keeps a page."""
    last = np.iinfo("i8").max if end is None else end - 1
    old = store.rows("nnn", "SELECT id, first_seq, last_seq FROM outing "
                     "WHERE board = ? AND last_seq >= ? AND first_seq <= ? ORDER BY first_seq",
                     board, start, int(last))
    store.db.execute("DELETE FROM outing WHERE board = ? AND last_seq >= ? AND first_seq <= ?",
                     (board, start, int(last)))
    free = {id: (first, stop) for id, first, stop in old}
    for row in rows:
        shared = {id: min(stop, row["last_seq"]) - max(first, row["first_seq"])
                  for id, (first, stop) in free.items()}
        same = max(shared, key=lambda id: (shared[id], -id), default=None)
        if same is not None and shared[same] >= 0:
            row["id"] = same
            del free[same]
        columns = ", ".join(row)
        store.db.execute(
            f"INSERT INTO outing ({columns}) VALUES ({', '.join('?' * len(row))})",
            tuple(row.values()))
