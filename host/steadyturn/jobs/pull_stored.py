"""Whether pages stand in the library as they came, and giving them up on the board then."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from pathlib import Path

from steadyturn.board.link import Link, Who
from steadyturn.errors import Failed
from steadyturn.sessions import one_page
from steadyturn.sessions.library import BoardRow, Library

SIZE = one_page.SIZE
MOST_FILES = 1_000  # that a board could give up: firmware of ours keeps 400
Span = tuple[int, int]  # numbers: the first, and the one after the last
Part = tuple[BoardRow, int, int]


def read_back(shelf: Library, row: BoardRow, contact: int, pages: Iterable[bytes]) -> None:
    """Compare what was just stored with what came. Raises Failed."""
    came = sorted(pages, key=one_page.seq_of)
    if not came:
        return
    first = one_page.seq_of(came[0])
    if shelf.pages(row, since_seq=first, contacts=[contact]) == b"".join(came):
        return
    for page in came:  # another pull may have stored some of them before this one
        seq = one_page.seq_of(page)
        if shelf.page_before(row, seq + 1) != page:
            raise Failed(
                f"Page {seq} does not stand in {shelf.path} as it came from the board.",
                "The board keeps it. Check the disk; 'steadyturn pull --library FOLDER' pulls "
                "into another library.",
            )


def verified(folder: Path, parts: Iterable[Part], absent: Iterable[Span], begin: int) -> int:
    """The number up to which, from `begin` on, each page is in the library: read anew from the
    file, with a right CRC. parts: the rows, and the numbers looked at in each. absent: numbers
    that the board said it has no page for, but perhaps one that stands for them."""
    spans = list(absent)
    with Library(folder, readonly=True) as shelf:
        for row, first, stop in parts:
            spans += _whole(shelf, row, first, stop)
    for first, stop in sorted(spans):
        if first > begin:
            break
        begin = max(begin, stop)
    return begin - 1


def _whole(shelf: Library, row: BoardRow, first: int, stop: int) -> Iterator[Span]:
    for run in shelf.page_runs(row):
        for at in range(0, len(run), SIZE):
            page = run[at : at + SIZE]
            seq = one_page.seq_of(page)
            if first <= seq < stop and not one_page.fault(page):
                yield seq, seq + 1


def free(link: Link, who: Who, up_to: int) -> int:
    """Page numbers that the board gave up, none above up_to. It removes a file a question, and
    none while the load is connected."""
    first = who.first_seq
    for _ in range(MOST_FILES):
        if first > up_to:
            break
        now = link.forget(up_to)
        if now.first_seq <= first or now.format_id != who.format_id:
            break
        first = now.first_seq
    return first - who.first_seq
