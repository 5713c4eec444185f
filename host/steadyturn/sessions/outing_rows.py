"""Reading outings as the library has them decoded, and the pages that they stand for."""

from __future__ import annotations

import json
from typing import Any

from steadyturn.sessions import schema
from steadyturn.sessions.lesson import Lesson
from steadyturn.sessions.lesson import read as read_lessons
from steadyturn.sessions.one_page import first_of
from steadyturn.sessions.rows import OutingRow
from steadyturn.sessions.store import Store

# the columns of the table in the order of the fields above, and their kinds for Store.rows
COLUMNS = (
    "id", "board", "first_seq", "last_seq", "first_boot", "last_boot", "begin_s", "end_s",
    "after_s", "until_s", "after_contact", "until_contact", "settings", "rig", "label",
    "energy_in_j", "energy_out_j", "energy_out_kind", "charge_c", "turns", "on_s", "turning_s",
    "band_s", "connected_s", "connections", "faults", "faults_by_name", "boots", "pages",
    "missing_pages", "percent", "mean_pace_tpm", "lessons",
)
_KINDS = "nnnnnnuuuuooovvfftffffffnntnnnggv"
assert len(_KINDS) == len(COLUMNS)
_FAULTS = COLUMNS.index("faults_by_name")
_LESSONS = COLUMNS.index("lessons")


def read(store: Store, *, board: int | None = None, id: int | None = None) -> list[OutingRow]:
    """The rows, the oldest first: by the meeting that ended them, then as they were made."""
    where, values = [], []
    for column, value in (("board", board), ("id", id)):
        if value is not None:
            where.append(f"{column} = ?")
            values.append(value)
    clause = f"WHERE {' AND '.join(where)} " if where else ""
    rows = store.rows(
        _KINDS, f"SELECT {', '.join(COLUMNS)} FROM outing {clause}"
        "ORDER BY until_contact IS NULL, until_contact, board, first_seq", *values)
    notes = _notes(store)
    out = []
    for row in rows:
        cells: list[Any] = list(row)
        cells[_FAULTS] = _counts(store, row[_FAULTS])
        cells[_LESSONS] = _lessons(store, row[_LESSONS])
        cells.append("\n".join(text for seq, text in notes.get(row[1], ())
                               if row[2] <= seq <= row[3]))
        out.append(OutingRow(*cells))
    return out


def _notes(store: Store) -> dict[int, list[tuple[int, str]]]:
    found: dict[int, list[tuple[int, str]]] = {}
    for board, seq, text in store.rows("nnt", "SELECT board, seq, text FROM note ORDER BY id"):
        found.setdefault(board, []).append((seq, text))
    return found


def _counts(store: Store, text: str) -> dict[str, int]:
    if text == "{}":  # nearly always
        return {}
    try:
        found = json.loads(text)
    except ValueError:
        found = None
    if not isinstance(found, dict) or not all(isinstance(n, int) for n in found.values()):
        raise schema.damaged(store.path, "a count of faults cannot be read")
    return found


def _lessons(store: Store, text: str | None) -> tuple[Lesson, ...]:
    try:
        return read_lessons(text)
    except ValueError as error:
        raise schema.damaged(store.path, "what an outing taught cannot be read") from error


def raw_pages(store: Store, board: int, first_seq: int, last_seq: int) -> list[bytes]:
    """The stored pages with these numbers, ascending."""
    rows = store.rows("p", "SELECT raw FROM page WHERE board = ? AND seq BETWEEN ? AND ? "
                      "ORDER BY seq", board, first_seq, last_seq)
    return [row[0] for row in rows]


def before(store: Store, board: int, pages: list[bytes], first_seq: int) -> bytes:
    """The page before these, which tells where the totals stood, and all older ones that a
    summary among them stands for too."""
    oldest = min((first_of(page) for page in pages), default=first_seq)
    older = raw_pages(store, board, oldest, first_seq - 1) if oldest < first_seq else []
    if older:
        return b"".join(older)
    rows = store.rows("p", "SELECT raw FROM page WHERE board = ? AND seq < ? "
                      "ORDER BY seq DESC LIMIT 1", board, first_seq)
    return bytes(rows[0][0]) if rows else b""
