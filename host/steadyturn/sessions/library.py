"""The library: every page ever pulled, byte for byte, in one SQLite file in one folder.

Adding is idempotent: a page is known by its board and its sequence number. Two programs may
add at once. What cannot be done is `Failed` with a remedy, and never costs stored pages.
"""

from __future__ import annotations

import hashlib
import os
import sqlite3
from collections.abc import Iterable, Iterator
from contextlib import suppress
from pathlib import Path
from types import TracebackType

from steadyturn_fw import pages as layout

from steadyturn.errors import Failed
from steadyturn.sessions import one_page, schema
from steadyturn.sessions.decoded import Decoded
from steadyturn.sessions.rows import BoardRow, Contact, OutingRow
from steadyturn.sessions.store import LATEST_S, Store

__all__ = ["LATEST_S", "BoardRow", "Contact", "Library", "OutingRow", "default_folder"]

FOLDER_VARIABLE = "STEADYTURN_LIBRARY"


def default_folder() -> Path:
    """STEADYTURN_LIBRARY, else the user's data folder as the system has it."""
    named = os.environ.get(FOLDER_VARIABLE)
    if named:
        return Path(named)
    import platformdirs

    return Path(platformdirs.user_data_dir("steadyturn", appauthor=False))


class Library(Decoded):
    """A library folder, open. Use as a context manager; one object per thread.

    readonly: for looking only; makes and changes nothing, and raises Failed if there is no
    library yet. wait_s: for another program that is writing.
    """

    def __init__(
        self, folder: Path | None = None, *, readonly: bool = False,
        wait_s: float = schema.WAIT_S,
    ) -> None:
        self.folder = Path(folder) if folder is not None else default_folder()
        self.path = self.folder / schema.FILE
        if readonly and not self.path.exists():
            raise Failed(f"There is no library in {self.folder} yet.",
                         "'steadyturn pull' makes it, or name another with --library.")
        self._readonly = readonly
        self._store = Store(self.path, readonly=readonly, wait_s=wait_s)

    @property
    def _db(self) -> sqlite3.Connection:
        return self._store.db

    def close(self) -> None:
        self._db.close()

    def __enter__(self) -> Library:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    # ---- boards

    def board(self, unique_id: str, format_id: int, *, now_s: float) -> BoardRow:
        """The board with this identity; makes its row when it is new."""
        key = (unique_id, format_id)
        with schema.plain_errors(self.path), schema.transaction(self._db):
            self._db.execute(
                "INSERT INTO board (unique_id, format_id, first_seen_s) VALUES (?, ?, ?) "
                "ON CONFLICT DO NOTHING", (*key, now_s))
            row = self._db.execute(
                "SELECT id, unique_id, format_id, first_seen_s FROM board "
                "WHERE unique_id = ? AND format_id = ?", key).fetchone()
        return BoardRow(*row)

    def boards(self) -> list[BoardRow]:
        """All boards, the one met last first."""
        rows = self._store.rows(
            "ntns", "SELECT id, unique_id, format_id, first_seen_s FROM board ORDER BY "
            "(SELECT max(contact.id) FROM contact WHERE contact.board = board.id) DESC, id DESC")
        return [BoardRow(*row) for row in rows]

    # ---- contacts

    def begin(
        self, board: BoardRow, *, kind: str, host_s: float, boot: int, t_ms: int,
        firmware: str, seqs: tuple[int, int] | None, settings: bytes,
        rig_text: str | None = None,
    ) -> int:
        """Note a contact; returns its id. seqs: first and last page the board has; rig_text:
        the rig file that the settings were just made from."""
        first, last = seqs or (None, None)
        digest = hashlib.sha256(settings).hexdigest()
        with schema.plain_errors(self.path), schema.transaction(self._db):
            rig = None if rig_text is None else self._rig_file(rig_text)
            self._db.execute("INSERT INTO settings (sha256, text) VALUES (?, ?) "
                             "ON CONFLICT DO NOTHING", (digest, settings))
            done = self._db.execute(
                "INSERT INTO contact (board, kind, host_s, boot, t_ms, firmware, first_seq, "
                "last_seq, settings, rig_file) VALUES (?, ?, ?, ?, ?, ?, ?, ?, "
                "(SELECT id FROM settings WHERE sha256 = ?), ?)",
                (board.id, kind, host_s, boot, t_ms, firmware, first, last, digest, rig))
            self._mark(board, None)  # it dates pages, also some that are here
        assert done.lastrowid is not None
        return done.lastrowid

    def _rig_file(self, text: str) -> int:
        digest = hashlib.sha256(text.encode()).hexdigest()
        self._db.execute("INSERT INTO rig_file (sha256, text) VALUES (?, ?) "
                         "ON CONFLICT DO NOTHING", (digest, text))
        return int(self._db.execute("SELECT id FROM rig_file WHERE sha256 = ?",
                                    (digest,)).fetchone()[0])

    def finish(self, contact: int) -> None:
        """Mark a contact as having run to its end."""
        with schema.plain_errors(self.path), schema.transaction(self._db):
            self._db.execute("UPDATE contact SET finished = 1 WHERE id = ?", (contact,))
        with suppress(Failed):  # what is left undone here, the next reader does
            self.refresh()

    def contacts(self, board: BoardRow) -> list[Contact]:
        """The board's contacts, oldest first."""
        rows = self._store.rows(
            "nntsnntoobnn",
            "SELECT contact.id, board, kind, host_s, boot, t_ms, firmware, first_seq, last_seq, "
            "settings.text, finished, "
            "(SELECT count(*) FROM page WHERE page.contact = contact.id) "
            "FROM contact JOIN settings ON settings.id = contact.settings "
            "WHERE board = ? ORDER BY contact.id", board.id)
        return [Contact(*row) for row in rows]

    # ---- pages

    def add_pages(self, board: BoardRow, contact: int, pages: Iterable[bytes]) -> int:
        """Store pages verbatim, all or none; returns how many were new.

        Pages must be whole (`one_page.fault(page) == ""`); ValueError otherwise, because a
        damaged page's number cannot be trusted: give those to `add_damaged`.
        """
        rows = []
        for page in pages:
            if len(page) != layout.PAGE_BYTES or one_page.fault(page):
                raise ValueError("not a whole page")
            rows.append((board.id, one_page.seq_of(page), one_page.boot_of(page), contact, page))
        with schema.plain_errors(self.path), schema.transaction(self._db):
            before = self._db.total_changes
            self._db.executemany(
                "INSERT INTO page (board, seq, boot, contact, raw) VALUES (?, ?, ?, ?, ?) "
                "ON CONFLICT DO NOTHING", rows)
            new = self._db.total_changes - before
            if new:
                self._mark(board, min(row[1] for row in rows))
            return new

    def add_damaged(
        self, board: BoardRow, contact: int, asked_seq: int, reason: str, raw: bytes
    ) -> bool:
        """Keep bytes that came in place of page `asked_seq`; False if they were here."""
        with schema.plain_errors(self.path), schema.transaction(self._db):
            before = self._db.total_changes
            self._db.execute(
                "INSERT INTO damaged (board, contact, asked_seq, reason, raw) "
                "VALUES (?, ?, ?, ?, ?) ON CONFLICT DO NOTHING",
                (board.id, contact, asked_seq, reason, raw))
            return self._db.total_changes > before

    def seqs(self, board: BoardRow) -> list[int]:
        """Sequence numbers of the stored pages, ascending."""
        rows = self._store.rows("n", "SELECT seq FROM page WHERE board = ? ORDER BY seq", board.id)
        return [row[0] for row in rows]

    def pages(
        self, board: BoardRow, *, since_seq: int = 0, contacts: Iterable[int] | None = None
    ) -> bytes:
        """Raw pages joined, by sequence number, from `since_seq`; `contacts`: only those that
        these contacts brought."""
        if contacts is None:
            rows = self._store.rows(
                "p", "SELECT raw FROM page WHERE board = ? AND seq >= ? ORDER BY seq",
                board.id, since_seq)
        else:
            wanted = list(contacts)
            marks = ", ".join("?" * len(wanted))
            rows = self._store.rows(
                "p", f"SELECT raw FROM page WHERE board = ? AND seq >= ? AND contact IN ({marks}) "
                "ORDER BY seq", board.id, since_seq, *wanted)
        return b"".join(row[0] for row in rows)

    def page_runs(
        self, board: BoardRow, *, since_s: float | None = None, count: int = 2048
    ) -> Iterator[bytes]:
        """The same in runs of at most `count` pages, for what must not hold all of them.
        since_s: only those that contacts at or after that host time brought."""
        brought = "" if since_s is None else (
            "AND contact IN (SELECT id FROM contact WHERE host_s >= ?) ")
        values = () if since_s is None else (since_s,)
        last = -1
        while rows := self._store.rows(
            "np", f"SELECT seq, raw FROM page WHERE board = ? AND seq > ? {brought}"
            f"ORDER BY seq LIMIT {count:d}", board.id, last, *values,
        ):
            if rows[-1][0] <= last:  # a damaged index must not send us in circles
                raise schema.damaged(self.path, "its pages are out of order")
            last = rows[-1][0]
            yield b"".join(row[1] for row in rows)

    def page_before(self, board: BoardRow, seq: int) -> bytes:
        """The stored page with the highest number below `seq`; empty if there is none."""
        rows = self._store.rows("p", "SELECT raw FROM page WHERE board = ? AND seq < ? "
                          "ORDER BY seq DESC LIMIT 1", board.id, seq)
        return bytes(rows[0][0]) if rows else b""

    def damaged(self, board: BoardRow) -> list[tuple[int, int, str, bytes]]:
        """What came damaged: contact, number asked for, reason, bytes."""
        return [tuple(row) for row in self._store.rows(
            "nntb", "SELECT contact, asked_seq, reason, raw FROM damaged WHERE board = ? "
            "ORDER BY id", board.id)]
