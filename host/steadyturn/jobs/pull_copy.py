"""The walk over a board's page numbers: what is not in the library yet is asked for, looked at
and stored."""

from __future__ import annotations

import time
from bisect import bisect_left
from collections.abc import Callable

from steadyturn_fw import pages as layout

from steadyturn.board.link import Link
from steadyturn.errors import Failed
from steadyturn.jobs.pull_stored import Span, read_back
from steadyturn.sessions import one_page
from steadyturn.sessions.library import BoardRow, Library

BATCH = 32  # pages stored at a time: about two and a half minutes of cranking,
BATCH_S = 0.5  # and more where more come in such a time: a cut costs no more than that,
BATCH_MOST = 512
# far above what firmware of ours keeps: 200 files of 160 pages, and as many summaries
MOST_PAGES = 100_000
MOST_DAMAGED = 1_000

Progress = Callable[[int, int, int], None]  # numbers done, in all, pages that came


class Copy:
    """Raises Failed; what came until then is stored."""

    def __init__(
        self, link: Link, shelf: Library, row: BoardRow, contact: int, numbers: Span,
        progress: Progress | None,
    ) -> None:
        self.link, self.shelf, self.row, self.contact = link, shelf, row, contact
        self.begin, self.end = numbers
        self.progress = progress or (lambda done, total, came: None)
        self.new = self.missing = self.thinned = self.damaged = self.came = 0
        aside = self._read_again()
        self._old = shelf.seqs(row)
        self._now: list[int] = []  # stored by this walk, or about to be
        self._have = {*self._old, *aside}
        self.already = self._here(self.begin, self.end)
        self.unread = sum(1 for seq in aside if self.begin <= seq < self.end)
        self.boots: set[int] = set()
        self.first: int | None = None
        self.last: int | None = None
        self.absent: list[Span] = []
        self._waiting: list[bytes] = []
        self._stored_s = time.monotonic()

    def run(self) -> None:
        seq, total = self.begin, self.end - self.begin - self.already
        try:
            while seq < self.end:
                if seq in self._have:
                    seq += 1
                    continue
                seq = self._one(seq)
                here = min(seq, self.end)
                left = self.end - here - self._here(here, self.end)
                self.progress(total - left, total, self.came)
        finally:  # also when the cable is pulled or Ctrl-C comes
            self._store()

    def _one(self, seq: int) -> int:
        """Fetch the page numbered `seq` or the next there is; returns the number after it."""
        onward = seq + 1 not in self._have
        page = self.link.page(seq, self.end - 1 if onward else -1)
        reason = one_page.fault(page) if page is not None else ""
        if page is not None and reason and reason != "version":
            page = self.link.page(seq)  # spoilt on its way, or on the board?
            reason = one_page.fault(page) if page is not None else ""
        if page is None:
            return self._skip(seq, self.end)
        self.came += 1
        if reason:
            return self._set_aside(seq, page, reason)
        if self.came > MOST_PAGES:
            raise Failed(f"The board sends more than {MOST_PAGES} pages, which is more than it "
                         "can hold.", "What came is in the library. 'steadyturn flash RIG' "
                         "brings its firmware up to date.")
        got = one_page.seq_of(page)
        first = min(max(seq, one_page.first_of(page)), got, self.end)
        self.missing += self._absent(seq, first)
        self.absent.append((seq, min(got, self.end)))
        if page[layout.AT_FLAGS] & layout.FLAG_SUMMARY:
            self.thinned += self._absent(one_page.first_of(page), min(got + 1, self.end))
        if got < self.end and got not in self._have:
            self._have.add(got)
            self._now.append(got)
            self._waiting.append(page)
            self._store_some()
        return got + 1

    def _skip(self, seq: int, stop: int) -> int:
        self.missing += self._absent(seq, stop)
        self.absent.append((seq, stop))
        return stop

    def _set_aside(self, seq: int, page: bytes, reason: str) -> int:
        """Keep what cannot be used. A layout that is not known is whole: its number counts."""
        got = seq
        if reason == "version":
            self.unread += 1
            got = max(seq, one_page.seq_of(page))
            self.missing += self._absent(seq, min(got, self.end))
        else:
            self.damaged += 1
        self.shelf.add_damaged(self.row, self.contact, got, reason, page)
        if self.damaged > MOST_DAMAGED or self.unread > MOST_PAGES:
            raise Failed(f"{self.damaged + self.unread} pages came that cannot be used.",
                         "They are kept aside. Try another cable and another USB port.")
        return got + 1

    def _read_again(self) -> set[int]:
        """Pages once kept aside for their layout: those that can be read by now are stored, the
        numbers of the others are returned."""
        aside = {seq: raw for _, seq, reason, raw in self.shelf.damaged(self.row)
                 if reason == "version"}
        readable = [raw for raw in aside.values() if not one_page.fault(raw)]
        self.shelf.add_pages(self.row, self.contact, readable)
        return {seq for seq, raw in aside.items() if one_page.fault(raw)}

    def _here(self, seq: int, stop: int) -> int:
        """Pages of the library with numbers from seq on, below stop."""
        return sum(bisect_left(numbers, stop) - bisect_left(numbers, seq)
                   for numbers in (self._old, self._now))

    def _absent(self, seq: int, stop: int) -> int:
        return stop - seq - self._here(seq, stop) if stop > seq else 0

    def _store_some(self) -> None:
        many = len(self._waiting)
        if many >= BATCH_MOST or (
            many >= BATCH and time.monotonic() - self._stored_s >= BATCH_S
        ):
            self._store()

    def _store(self) -> None:
        pages, self._waiting = self._waiting, []
        if not pages:
            return
        self.new += self.shelf.add_pages(self.row, self.contact, pages)
        read_back(self.shelf, self.row, self.contact, pages)
        for page in pages:
            seq = one_page.seq_of(page)
            self.boots.add(one_page.boot_of(page))
            self.first = seq if self.first is None else self.first
            self.last = seq
        self._stored_s = time.monotonic()
