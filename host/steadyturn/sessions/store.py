"""The library's file as its parts use it: rows read with their kinds checked, and the lock."""

from __future__ import annotations

import math
from collections.abc import Callable
from contextlib import AbstractContextManager
from pathlib import Path
from typing import Any

from steadyturn_fw import pages as layout

from steadyturn.sessions import schema

LATEST_S = 253_402_214_400.0  # the year 9999; calendars end there


Column = tuple[object, ...]


def _only(*kinds: type) -> Callable[[Column], bool]:
    return lambda column: set(map(type, column)) <= set(kinds)


def _numbers(column: Column, most: float = math.inf, least: float = -math.inf) -> bool:
    known: list[Any] = [v for v in column if v is not None]
    if not known:
        return True
    return set(map(type, known)) == {float} and least <= min(known) and max(known) <= most \
        and math.inf not in known and -math.inf not in known  # SQLite has no NaN


def _times(column: Column) -> bool:
    return _numbers(column, LATEST_S, 0)


def _pages(column: Column) -> bool:
    return all(isinstance(v, bytes) and len(v) == layout.PAGE_BYTES for v in column)


_NONE = type(None)
# What a column may hold: whole numbers (o: or none), times (u: or none), text (v: or none),
# bytes, pages' bytes, finite numbers (g: or none).
KINDS: dict[str, Callable[[Column], bool]] = {
    "n": _only(int),
    "o": _only(int, _NONE),
    "s": lambda column: None not in column and _times(column),
    "u": _times,
    "t": _only(str),
    "v": _only(str, _NONE),
    "b": _only(bytes),
    "p": _pages,
    "f": lambda column: None not in column and _numbers(column),
    "g": _numbers,
}


class Store:
    """A library's file, open. readonly: nothing is made or changed in it."""

    def __init__(self, path: Path, *, readonly: bool, wait_s: float = schema.WAIT_S) -> None:
        self.path, self.wait_s = path, wait_s
        self.db = schema.open_file(path, readonly=readonly, wait_s=wait_s)

    def rows(self, kinds: str, query: str, *values: object) -> list[tuple]:
        """The rows; `kinds` has a letter for each column (see KINDS). SQLite itself lets a
        damaged file give anything, so what does not fit is Failed."""
        with schema.plain_errors(self.path):
            rows = self.db.execute(query, values).fetchall()
        if not rows:
            return rows
        columns = zip(*rows, strict=True)
        if not all(KINDS[kind](column) for kind, column in zip(kinds, columns, strict=True)):
            raise schema.damaged(self.path, "a value in it is none that a pull stores")
        return rows

    def row(self, kinds: str, query: str, *values: object) -> tuple:
        """The first row, which must be there: what points to it is in the file too."""
        rows = self.rows(kinds, query, *values)
        if not rows:
            raise schema.damaged(self.path, "a row in it is missing")
        return rows[0]

    def transaction(self) -> AbstractContextManager[None]:
        return schema.transaction(self.db)

    def change(self) -> None:
        """From looking only to changing: open the file anew. Raises Failed."""
        db = schema.open_file(self.path, readonly=False, wait_s=self.wait_s)
        self.db.close()
        self.db = db

    def copy(self) -> None:
        """Go on with a copy in memory, which may be changed where the file may not."""
        with schema.plain_errors(self.path):
            db = schema.in_memory(self.db)
        self.db.close()
        self.db = db
