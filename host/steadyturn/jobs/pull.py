"""Copy a board's journal into the library, without stopping the board's program.

May be broken off at any moment and run again: each batch of pages is stored as it comes, read
back and compared, and the next pull asks only for what is not there yet. Nothing on the board
is given up unless asked, and then only what the library has.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from steadyturn_fw import pages as layout

from steadyturn.board.connect import Direct, connect
from steadyturn.board.link import Link, NoAnswer, Who
from steadyturn.jobs import pull_stored
from steadyturn.jobs.pull_copy import Copy, Progress
from steadyturn.jobs.pull_place import Place, place, rows_of
from steadyturn.sessions.library import Library

SOON_S = 1.0  # a board that runs answers within a tick
STARTED_S = 9.0  # after that; a board that was just plugged in starts in up to 8 s, from memory


@dataclass(frozen=True, slots=True)
class Pulled:
    """What a pull did.

    board: the chip's id in hex; format_id: of its journal; protocol: of its link; page_version:
    the newest layout it writes. known: the library had this journal already; reformatted: it had
    the same chip with another one; went_back: see pull_place.Place. pages_new: stored by this
    pull, each with a right CRC on arrival and the same again when read back; pages_already: of
    those on the board, here before; first_seq, last_seq: of the new ones; damaged: came whole
    but unusable, kept aside; unread: kept aside for a layout this version does not know;
    missing: numbers the board no longer has; thinned: numbers of which it has summaries only.
    forgotten: numbers that it gave up because this pull was asked to free them, None when it was
    not; verified_to: the last number that it might give up, None likewise. boots: numbers of the
    boots in the new pages. bytes: of the new pages. seconds: for all of it;
    copying_s: while pages came; late_ticks: of the board's loop, in that time;
    connected: the load was, at its end.
    settings: the board has settings in force. contact: the library's number of this pull.
    """

    board: str
    format_id: int
    port: str
    firmware: str
    protocol: int
    page_version: int
    library: Path
    known: bool
    reformatted: bool
    went_back: str
    pages_new: int
    pages_already: int
    damaged: int
    unread: int
    missing: int
    thinned: int
    forgotten: int | None
    verified_to: int | None
    bytes: int
    seconds: float
    copying_s: float
    late_ticks: int
    connected: bool
    first_seq: int | None
    last_seq: int | None
    boots: tuple[int, ...]
    settings: bool
    contact: int


def pull(
    port: str | Direct | None = None, library: Path | None = None, *,
    free: bool = False, progress: Progress | None = None,
    waits: Callable[[], None] | None = None,
) -> Pulled:
    """Pull from the board on `port` (None: the one that is found) into the library folder
    (None: the user's). free: then have the board give up what the library has verified, all but
    its newest file. waits: called when the board does not answer soon, as one that is starting.
    Raises Failed; pages stored until then stay stored."""
    with Library(library) as shelf, connect(port) as board:
        link = board.link
        try:
            link.wait(SOON_S)
        except NoAnswer:
            if waits is not None:
                waits()
            link.wait(STARTED_S)
        return pull_from(link, shelf, port=board.name, free=free, progress=progress)


def pull_from(
    link: Link, shelf: Library, *, port: str = "", free: bool = False,
    progress: Progress | None = None,
) -> Pulled:
    """The same over a link that is open already."""
    began = time.monotonic()
    before = link.flush()
    who = link.who()  # after the flush, so that it counts the page just closed
    now = time.time()
    settings = link.settings()
    where = place(shelf, link, who, now)
    contact = shelf.begin(
        where.row, kind="pull", host_s=now, boot=who.boot, t_ms=who.t_ms, firmware=who.firmware,
        seqs=(who.first_seq, who.last_seq) if who.stored else None, settings=settings,
    )
    copy = Copy(link, shelf, where.row, contact, (where.begin, who.last_seq + 1), progress)
    copying = time.monotonic()
    copy.run()
    copying_s = time.monotonic() - copying
    after = link.state()
    shelf.finish(contact)
    up_to, forgotten = _free(link, shelf, who, where, copy) if free else (None, None)
    return Pulled(
        board=who.unique_id, format_id=who.format_id, port=port, firmware=who.firmware,
        protocol=who.protocol, page_version=who.page_version, library=shelf.folder,
        known=where.known, reformatted=where.reformatted, went_back=where.went_back,
        pages_new=copy.new, pages_already=copy.already, damaged=copy.damaged,
        unread=copy.unread, missing=copy.missing, thinned=copy.thinned, forgotten=forgotten,
        verified_to=up_to, bytes=copy.new * layout.PAGE_BYTES,
        seconds=time.monotonic() - began, copying_s=copying_s, late_ticks=_late(before, after),
        connected=after["connected"] == 1,
        first_seq=copy.first, last_seq=copy.last,
        boots=tuple(sorted(copy.boots)), settings=bool(settings), contact=contact,
    )


def _late(before: dict[str, int], after: dict[str, int]) -> int:
    """The board may have started anew meanwhile, and counts from 0 then."""
    begun = before["late_ticks"] if before["boot"] == after["boot"] else 0
    return max(after["late_ticks"] - begun, 0)


def _free(
    link: Link, shelf: Library, who: Who, where: Place, copy: Copy
) -> tuple[int, int]:
    """(the last number that the library has verified, how many numbers the board gave up)."""
    parts = [(where.row, where.begin, who.last_seq + 1)]
    parts += [(row, 0, where.begin) for row in rows_of(shelf, who) if row.id != where.row.id]
    found = pull_stored.verified(shelf.folder, parts, copy.absent, who.first_seq)
    up_to = min(found, who.last_seq)
    return up_to, pull_stored.free(link, who, up_to)
