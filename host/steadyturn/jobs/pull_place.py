"""Which row of the library a board's pages belong to.

A journal's page numbers and boot numbers only rise. Where a board comes back with lower ones, or
with other pages under numbers that are here already (an old flash image was put back, its newest
pages were lost), its journal went back, and what it writes from now on is kept apart, as a row
of its own: nothing that was pulled is touched, and nothing new is taken for something old.
"""

from __future__ import annotations

from dataclasses import dataclass

from steadyturn_fw import pages as layout

from steadyturn.board.link import Link, Who
from steadyturn.sessions import one_page
from steadyturn.sessions.library import BoardRow, Library

FORMATS = 1 << 32  # a journal's own id is below; each time it went back adds this once
TRIES = 4  # pages compared where the first are not there to be compared


@dataclass(frozen=True, slots=True)
class Place:
    """row: where new pages go; begin: the first page number to look at. known: the library
    had this journal already, reformatted: only another of the same chip. went_back: "" or what
    did: "pages" (numbers come again with other contents, or fewer than before), "boot" (the
    number of boots), "clock" (the time within a boot)."""

    row: BoardRow
    begin: int
    known: bool
    reformatted: bool
    went_back: str


def rows_of(shelf: Library, who: Who) -> list[BoardRow]:
    """This journal's rows, the one that went back last first."""
    own = [row for row in shelf.boards()
           if row.unique_id == who.unique_id and row.format_id % FORMATS == who.format_id]
    return sorted(own, key=lambda row: -row.format_id)


def newest_row(shelf: Library, who: Who, now_s: float) -> BoardRow:
    """The row that a meeting with this board belongs to; made when there is none."""
    own = rows_of(shelf, who)
    return own[0] if own else shelf.board(who.unique_id, who.format_id, now_s=now_s)


def place(shelf: Library, link: Link, who: Who, now_s: float) -> Place:
    """Compare the board with what the library has of it. Asks it for a few pages at most."""
    own = rows_of(shelf, who)
    if not own:
        reformatted = any(row.unique_id == who.unique_id for row in shelf.boards())
        row = shelf.board(who.unique_id, who.format_id, now_s=now_s)
        return Place(row, who.first_seq, False, reformatted, "")
    row = own[0]
    have = shelf.seqs(row)
    back = _went_back(shelf, link, who, row, have)
    later = row.format_id >= FORMATS  # what is before its pages is the older rows'
    if back in ("", "clock") and (have or not later):
        return Place(row, max(who.first_seq, have[0]) if later else who.first_seq,
                     True, False, back)
    base = _common(shelf, link, who, own)
    if have:  # an empty one was made the last time, when the board had nothing new for it
        row = shelf.board(who.unique_id, row.format_id + FORMATS, now_s=now_s)
    return Place(row, max(who.first_seq, base + 1), True, False, back)


def _went_back(shelf: Library, link: Link, who: Who, row: BoardRow, have: list[int]) -> str:
    if have and (who.last_seq < have[-1] or _same(shelf, link, who, row, have) is False):
        return "pages"
    met = [(c.boot, c.t_ms) for c in shelf.contacts(row)]
    newest = shelf.page_before(row, have[-1] + 1) if have else b""
    boots = [boot for boot, _ in met] + ([one_page.boot_of(newest)] if newest else [])
    if who.boot < max(boots, default=0):
        return "boot"
    times = [t_ms for boot, t_ms in met if boot == who.boot]
    return "clock" if who.t_ms < max(times, default=0) else ""


def _same(
    shelf: Library, link: Link, who: Who, row: BoardRow, have: list[int]
) -> bool | None:
    """Is the newest page that both have the same? None: there is none to compare."""
    both = [seq for seq in have if who.first_seq <= seq <= who.last_seq]
    for seq in both[: -TRIES - 1 : -1]:
        same = _equal(shelf, link, row, seq)
        if same is not None:
            return same
    return None


def _equal(shelf: Library, link: Link, row: BoardRow, seq: int) -> bool | None:
    """None: the board has this page no longer, or one of them is a summary."""
    page = link.page(seq)
    if page is None or one_page.fault(page) or one_page.seq_of(page) != seq:
        return None
    here = shelf.page_before(row, seq + 1)
    if (page[layout.AT_FLAGS] | here[layout.AT_FLAGS]) & layout.FLAG_SUMMARY:
        return None
    return page == here


def _common(shelf: Library, link: Link, who: Who, rows: list[BoardRow]) -> int:
    """The last page number up to which the board has what one of the rows has; 0 for none."""
    best = 0
    for row in rows:
        both = [seq for seq in shelf.seqs(row) if who.first_seq <= seq <= who.last_seq]
        low, high = 0, len(both)  # the first `low` are equal, from `high` on they differ
        while low < high:
            middle = (low + high) // 2
            if _equal(shelf, link, row, both[middle]) is False:
                high = middle
            else:
                low = middle + 1
        best = max(best, both[low - 1] if low else 0)
    return best
