"""Which pages a review shows: since the last pull that brought turning, one outing, or all."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from steadyturn_fw import pages as layout

from steadyturn.errors import Failed, Problem, WrongInput
from steadyturn.jobs.boards_called import boards_called
from steadyturn.sessions.decode import decode, seq_of
from steadyturn.sessions.library import BoardRow, Contact, Library
from steadyturn.sessions.rows import OutingRow
from steadyturn.settings.file import read_any


@dataclass(frozen=True, slots=True)
class Shown:
    """What is shown. scope: "last_pull", "all" or "outing". raw: its pages; before: as
    figures.review wants it; damaged: how many came damaged with them. outings: those in it,
    earlier: those before it, oldest first. settings: the text in force; known: all texts that
    the library has of this board, with what was read from them. rig_text: the rig file that
    they were made from, None where nobody left it. pulled: the pull that is told of, previous:
    the one before it; latest_brought_none: newer ones found nothing, latest_rested: or only
    pages in which nobody turned (both False unless scope is "last_pull"); unfinished: it was
    broken off. other_boards: ids of boards that are not shown."""

    scope: str
    board: BoardRow
    raw: bytes
    before: bytes
    damaged: int
    outings: tuple[OutingRow, ...]
    earlier: tuple[OutingRow, ...]
    settings: bytes
    known: tuple[tuple[bytes, Mapping[str, Any]], ...]
    rig_text: str | None
    pulled: Contact
    previous: Contact | None
    latest_brought_none: bool
    latest_rested: bool
    unfinished: bool
    other_boards: tuple[str, ...]


def shown(shelf: Library, *, board: str | None, everything: bool, outing: int | None) -> Shown:
    """Raises WrongInput (board) and Failed (no page, no such outing)."""
    rows = shelf.pulled_last()
    if outing is not None:
        found = shelf.outing(outing)
        if board is not None and found.board not in boards_called(board, rows, shelf.outings()):
            raise WrongInput(Problem("--outing", "", str(outing), "an outing of the board that "
                                     f"--board names ({board}); this one is another's.",
                                     "A number is enough: leave --board out."))
        return _of_outing(shelf, rows, found)
    row = _choose(shelf, rows, board)
    contacts = shelf.contacts(row)
    pulls = [c for c in contacts if c.kind == "pull"]
    if not any(c.pages for c in pulls):
        raise Failed(
            f"No page of board {row.unique_id} is in the library at {shelf.folder} yet.",
            "Crank, then connect the board and run 'steadyturn pull'.")
    outings = shelf.outings(row)
    if everything:
        return _shown(shelf, rows, row, "all", shelf.pages(row), b"", contacts, pulls,
                      _newest(pulls), None, outings, len(shelf.damaged(row)))
    first, newest = _since(shelf, row, pulls, outings)
    ids = {c.id for c in pulls[first:]}
    raw = shelf.pages(row, contacts=ids)
    damaged = sum(1 for d in shelf.damaged(row) if d[0] in ids)
    return _shown(shelf, rows, row, "last_pull", raw, _before(shelf, row, raw), contacts, pulls,
                  newest, pulls[first - 1] if first else None, outings, damaged)


def _since(shelf: Library, row: BoardRow, pulls: Sequence[Contact],
           outings: Sequence[OutingRow]) -> tuple[int, Contact]:
    """The first of the pulls whose pages are shown, and the one that brought the newest turning:
    all since the last that brought any. One that was broken off is one with the next."""
    brought = [i for i, c in enumerate(pulls) if c.pages]
    newest = first = brought[-1]
    for i in reversed(brought):
        if _turned(shelf.pages(row, contacts={pulls[i].id}), outings):
            newest = first = i
            break
    begun = _begun(shelf.pages(row, contacts={pulls[newest].id}), outings)
    while first > 0 and (not pulls[first - 1].finished or _reaches(
            shelf.pages(row, contacts={pulls[first - 1].id}), begun)):
        first -= 1
    return first, pulls[newest]


def _begun(raw: bytes, outings: Sequence[OutingRow]) -> int:
    """The first page of the outing that these pages begin in: what was hardly moved before it
    may have come with earlier pulls."""
    first = seq_of(raw)
    return next((o.first_seq for o in outings if o.first_seq <= first <= o.last_seq), first)


def _reaches(raw: bytes, seq: int) -> bool:
    """Is the last of these pages that one or a later one?"""
    return bool(raw) and seq_of(raw[-layout.PAGE_BYTES :]) >= seq


def _turned(raw: bytes, outings: Sequence[OutingRow]) -> bool:
    """Do these pages belong to an outing, in which somebody turned?"""
    if not raw:
        return False
    size = layout.PAGE_BYTES
    numbers = [seq_of(raw[at : at + size]) for at in range(0, len(raw), size)]
    return any(o.first_seq <= n <= o.last_seq for o in reversed(outings)
               if o.last_seq >= numbers[0] for n in numbers)


def _newest(pulls: Sequence[Contact]) -> Contact:
    return [c for c in pulls if c.pages][-1]


def _of_outing(shelf: Library, rows: Sequence[BoardRow], outing: OutingRow) -> Shown:
    row = next(r for r in rows if r.id == outing.board)
    contacts = shelf.contacts(row)
    pulls = [c for c in contacts if c.kind == "pull"]
    told = next((c for c in pulls if outing.until_contact is not None
                 and c.id >= outing.until_contact), pulls[-1])
    return _shown(shelf, rows, row, "outing", shelf.outing_pages(outing),
                  shelf.outing_before(outing), contacts, pulls, told, None, shelf.outings(row), 0,
                  shelf.outing_settings(outing), outing)


def _shown(
    shelf: Library, rows: Sequence[BoardRow], row: BoardRow, scope: str, raw: bytes,
    before: bytes, contacts: Sequence[Contact], pulls: Sequence[Contact], pulled: Contact,
    previous: Contact | None, outings: Sequence[OutingRow], damaged: int,
    settings: bytes | None = None, only: OutingRow | None = None,
) -> Shown:
    first, last = seq_of(raw), seq_of(raw[-layout.PAGE_BYTES :])
    inside = tuple(o for o in outings if o.last_seq >= first and o.first_seq <= last)
    nothing = scope == "last_pull" and pulls[-1].finished == 1 and pulled.id != pulls[-1].id
    texts = {c.settings: None for c in contacts}
    return Shown(
        scope=scope, board=row, raw=raw, before=before, damaged=damaged,
        outings=inside, earlier=tuple(o for o in outings if o.last_seq < first),
        settings=pulled.settings if settings is None else settings,
        known=tuple((text, read_any(text)) for text in texts),
        rig_text=shelf.rig_text(row, only or (inside[-1] if inside else None)),
        pulled=pulled, previous=previous,
        latest_brought_none=nothing and not pulls[-1].pages,
        latest_rested=nothing and pulls[-1].pages > 0,
        unfinished=not _newest(pulls).finished,
        other_boards=tuple(sorted({r.unique_id for r in rows} - {row.unique_id})))


def _choose(shelf: Library, rows: Sequence[BoardRow], wanted: str | None) -> BoardRow:
    if not rows:
        raise Failed(f"The library at {shelf.folder} has no boards yet.",
                     "Connect one and run 'steadyturn pull'.")
    if wanted is None:
        return rows[0]
    found = boards_called(wanted, rows, shelf.outings())
    return next(r for r in rows if r.id in found)  # of several journals, the one pulled last


def _before(shelf: Library, row: BoardRow, raw: bytes) -> bytes:
    """The page before these, and all older ones that a summary among them stands for too."""
    first = seq_of(raw)
    oldest = int(min(decode(raw).summaries["first_seq"], default=first))
    older = shelf.pages(row, since_seq=oldest) if oldest < first else b""
    size = layout.PAGE_BYTES
    known = b"".join(
        older[at : at + size] for at in range(0, len(older), size)
        if seq_of(older[at : at + size]) < first
    )
    return known or shelf.page_before(row, first)
