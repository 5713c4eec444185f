"""Copy a board's journal into the library, without stopping the board's program.

May be broken off at any moment and run again: each batch of pages is stored as it comes,
and the next pull asks only for what is not there yet.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from steadyturn_fw import pages as layout

from steadyturn.board.connect import START_S, Direct, connect
from steadyturn.board.link import Link, Who
from steadyturn.sessions import one_page
from steadyturn.sessions.library import BoardRow, Library

BATCH = 32  # pages stored at a time: about two and a half minutes of cranking


@dataclass(frozen=True, slots=True)
class Pulled:
    """What a pull did.

    board: the chip's id in hex; format_id: of its journal; known: the library had this board
    already; reformatted: it had the same chip with another journal. pages_new: stored by
    this pull; pages_already: of those on the board, here before; first_seq, last_seq: of the
    new ones; damaged: came whole but unusable, kept aside; missing: numbers the board no
    longer has; thinned: numbers of which it has summaries only. forgotten: numbers that it
    gave up because this pull asked to make room, None when it did not ask. boots: numbers of
    the boots in the new pages. bytes: of the new pages.
    settings: the board has settings in force. contact: the library's number of this pull.
    """

    board: str
    format_id: int
    port: str
    firmware: str
    library: Path
    known: bool
    reformatted: bool
    pages_new: int
    pages_already: int
    damaged: int
    missing: int
    thinned: int
    forgotten: int | None
    bytes: int
    seconds: float
    first_seq: int | None
    last_seq: int | None
    boots: tuple[int, ...]
    settings: bool
    contact: int


Progress = Callable[[int, int], None]  # page numbers done, in all


def pull(
    port: str | Direct | None = None, library: Path | None = None, *,
    make_room: bool = False, progress: Progress | None = None,
) -> Pulled:
    """Pull from the board on `port` (None: the one that is found) into the library folder
    (None: the user's). make_room: then have the board give up what the library has, all but
    its newest file. Raises Failed; pages stored until then stay stored."""
    with Library(library) as shelf, connect(port) as board:
        link = board.link
        link.wait(START_S)
        return pull_from(link, shelf, port=board.name, make_room=make_room, progress=progress)


def pull_from(
    link: Link, shelf: Library, *, port: str = "", make_room: bool = False,
    progress: Progress | None = None,
) -> Pulled:
    """The same over a link that is open already."""
    began = time.monotonic()
    link.flush()
    who = link.who()  # after the flush, so that it counts the page just closed
    now = time.time()
    settings = link.settings()
    others = [b for b in shelf.boards() if b.unique_id == who.unique_id]
    known = any(b.format_id == who.format_id for b in others)
    row = shelf.board(who.unique_id, who.format_id, now_s=now)
    contact = shelf.begin(
        row, kind="pull", host_s=now, boot=who.boot, t_ms=who.t_ms, firmware=who.firmware,
        seqs=(who.first_seq, who.last_seq) if who.stored else None, settings=settings,
    )
    copy = _Copy(link, shelf, row, contact, who, progress)
    copy.run()
    shelf.finish(contact)
    # only now: everything up to this number is in the library, or was not on the board
    forgotten = _make_room(link, who) if make_room else None
    return Pulled(
        board=who.unique_id, format_id=who.format_id, port=port, firmware=who.firmware,
        library=shelf.folder, known=known, reformatted=bool(others) and not known,
        pages_new=copy.new, pages_already=copy.already, damaged=len(copy.damaged),
        missing=copy.missing, thinned=copy.thinned, forgotten=forgotten,
        bytes=copy.new * layout.PAGE_BYTES,
        seconds=time.monotonic() - began, first_seq=copy.first, last_seq=copy.last,
        boots=tuple(sorted(copy.boots)), settings=bool(settings), contact=contact,
    )


def _make_room(link: Link, who: Who) -> int:
    """Page numbers that the board gave up. It removes a file a question, and none while the
    load is connected."""
    first = who.first_seq
    while True:
        now = link.forget(who.last_seq)
        if now.first_seq <= first or now.format_id != who.format_id:
            return first - who.first_seq
        first = now.first_seq


class _Copy:
    """The walk over the board's page numbers, and what it found."""

    def __init__(
        self, link: Link, shelf: Library, row: BoardRow, contact: int, who: Who,
        progress: Progress | None,
    ) -> None:
        self.link, self.shelf, self.row, self.contact = link, shelf, row, contact
        self.begin, self.end = who.first_seq, who.last_seq + 1
        self.progress = progress or (lambda done, total: None)
        self.have = set(shelf.seqs(row))
        self.already = sum(1 for seq in self.have if self.begin <= seq < self.end)
        self.damaged: set[bytes] = set()
        self.boots: set[int] = set()
        self.new = self.missing = self.thinned = 0
        self.first: int | None = None
        self.last: int | None = None
        self._waiting: list[bytes] = []

    def run(self) -> None:
        seq = self.begin
        try:
            while seq < self.end:
                if seq in self.have:
                    seq += 1
                    continue
                seq = self._one(seq)
                self.progress(min(seq, self.end) - self.begin, self.end - self.begin)
        finally:  # also when the cable is pulled or Ctrl-C comes
            self._store()

    def _one(self, seq: int) -> int:
        """Fetch the page numbered `seq` or the next there is; returns the number after it."""
        page = self.link.page(seq, self.end - 1 if seq + 1 not in self.have else -1)
        if page is not None and one_page.fault(page):
            page = self.link.page(seq)  # spoilt on its way, or on the board?
        if page is None:
            self.missing += self._absent(seq, self.end)
            return self.end
        reason = one_page.fault(page)
        if reason:
            self.shelf.add_damaged(self.row, self.contact, seq, reason, page)
            self.damaged.add(page)
            return seq + 1  # the number in a damaged page may be wrong
        got = one_page.seq_of(page)
        first = min(max(seq, one_page.first_of(page)), got, self.end)
        self.missing += self._absent(seq, first)
        if page[layout.AT_FLAGS] & layout.FLAG_SUMMARY:
            self.thinned += self._absent(one_page.first_of(page), min(got + 1, self.end))
        if got < self.end and got not in self.have:
            self._waiting.append(page)
            if len(self._waiting) >= BATCH:
                self._store()
        return got + 1

    def _absent(self, seq: int, stop: int) -> int:
        return max(0, stop - seq) - sum(1 for n in self.have if seq <= n < stop)

    def _store(self) -> None:
        pages, self._waiting = self._waiting, []
        if not pages:
            return
        self.new += self.shelf.add_pages(self.row, self.contact, pages)
        for page in pages:
            seq = one_page.seq_of(page)
            self.have.add(seq)
            self.boots.add(one_page.boot_of(page))
            self.first = seq if self.first is None else self.first
            self.last = seq
