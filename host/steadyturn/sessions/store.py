"""The library's file as its parts use it: rows read with their kinds checked, and the lock."""

from __future__ import annotations

import math
from collections.abc import Callable
from contextlib import AbstractContextManager
from pathlib import Path

from steadyturn_fw import pages as layout

from steadyturn.sessions import schema

LATEST_S = 253_402_214_400.0  # the year 9999; calendars end there


def _time(value: object) -> bool:
    return isinstance(value, float) and 0 <= value <= LATEST_S


def _figure(value: object) -> bool:
    return isinstance(value, float) and math.isfinite(value)


# What a column may hold: a whole number (o: or none), a time (u: or none), text (v: or none),
# bytes, a page's bytes, a finite number (g: or none).
KINDS: dict[str, Callable[[object], bool]] = {
    "n": lambda v: isinstance(v, int),
    "o": lambda v: v is None or isinstance(v, int),
    "s": _time,
    "u": lambda v: v is None or _time(v),
    "t": lambda v: isinstance(v, str),
    "v": lambda v: v is None or isinstance(v, str),
    "b": lambda v: isinstance(v, bytes),
    "p": lambda v: isinstance(v, bytes) and len(v) == layout.PAGE_BYTES,
    "f": _figure,
    "g": lambda v: v is None or _figure(v),
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
        checks = [KINDS[kind] for kind in kinds]
        for row in rows:
            if not all(check(value) for check, value in zip(checks, row, strict=True)):
                raise schema.damaged(self.path, "a value in it is none that a pull stores")
        return rows

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
