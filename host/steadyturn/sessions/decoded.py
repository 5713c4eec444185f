"""The library's outings: read from their decoded rows, which are brought up to date first."""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from pathlib import Path

from steadyturn.errors import Failed
from steadyturn.sessions import outing_rows, schema
from steadyturn.sessions.rows import BoardRow, OutingRow
from steadyturn.sessions.store import LATEST_S, Store

Progress = Callable[[int, int], None]  # pages decoded, in all


class Decoded:
    """The part of a Library that knows outings."""

    folder: Path
    path: Path
    _store: Store
    _readonly: bool

    def outings(self, board: BoardRow | None = None) -> list[OutingRow]:
        """The outings of a board, or of all, the oldest first."""
        self.refresh()
        return outing_rows.read(self._store, board=None if board is None else board.id)

    def outing(self, id: int) -> OutingRow:
        """The one with that number. Raises Failed if there is none."""
        self.refresh()
        found = outing_rows.read(self._store, id=id)
        if not found:
            raise Failed(f"There is no outing {id} in the library at {self.folder}.",
                         "'steadyturn sessions' lists them with their numbers.")
        return found[0]

    def pulled_last(self) -> list[BoardRow]:
        """All boards, first the one whose turning was pulled last. A pull without turning, and
        a meeting that is no pull, move none of them; a board without any outing comes after
        those that have one."""
        self.refresh()
        rows = self._store.rows(
            "ntns", "SELECT id, unique_id, format_id, first_seen_s FROM board ORDER BY "
            "(SELECT page.contact FROM page WHERE page.board = board.id AND page.seq <= "
            "(SELECT max(last_seq) FROM outing WHERE outing.board = board.id) "
            "ORDER BY page.seq DESC LIMIT 1) DESC, "
            "(SELECT page.contact FROM page WHERE page.board = board.id "
            "ORDER BY page.seq DESC LIMIT 1) DESC, "
            "(SELECT max(contact.id) FROM contact WHERE contact.board = board.id) DESC, id DESC")
        return [BoardRow(*row) for row in rows]

    def outing_pages(self, row: OutingRow) -> bytes:
        """Its raw pages joined, by number."""
        return b"".join(outing_rows.raw_pages(self._store, row.board, row.first_seq, row.last_seq))

    def outing_before(self, row: OutingRow) -> bytes:
        """The page before it, and all older ones that a summary in it stands for too."""
        pages = outing_rows.raw_pages(self._store, row.board, row.first_seq, row.last_seq)
        return outing_rows.before(self._store, row.board, pages, row.first_seq)

    def outing_settings(self, row: OutingRow) -> bytes:
        """The settings in force in it, byte for byte; empty where they are not known."""
        if row.settings_id is None:
            return b""
        return bytes(self._store.row("b", "SELECT text FROM settings WHERE id = ?",
                                     row.settings_id)[0])

    def rig_text(self, board: BoardRow, outing: OutingRow | None = None) -> str | None:
        """The rig file that `flash` left for the settings in force: in `outing`, or at the
        board's last contact. None where those settings were written from elsewhere."""
        settings = None if outing is None else outing.settings_id
        if outing is None:
            last = self._store.rows("n", "SELECT settings FROM contact WHERE board = ? "
                                    "ORDER BY id DESC LIMIT 1", board.id)
            settings = last[0][0] if last else None
        until = None if outing is None else outing.until_contact
        found = self._store.rows(
            "t", "SELECT rig_file.text FROM contact JOIN rig_file ON rig_file.id = rig_file "
            "WHERE settings = ? ORDER BY board = ? DESC, contact.id <= ? DESC, contact.id DESC "
            "LIMIT 1", settings, board.id, LATEST_S if until is None else until)
        return str(found[0][0]) if found else None

    def rig_text_of(self, settings: bytes) -> str | None:
        """The rig file that `flash` left last for settings with these bytes; None: nobody did."""
        digest = hashlib.sha256(settings).hexdigest()
        found = self._store.rows(
            "t", "SELECT rig_file.text FROM contact JOIN rig_file ON rig_file.id = rig_file "
            "JOIN settings ON settings.id = contact.settings WHERE settings.sha256 = ? "
            "ORDER BY contact.id DESC LIMIT 1", digest)
        return str(found[0][0]) if found else None

    def rig_texts(self) -> list[str]:
        """Every rig file that a board's settings were made from, the one used last first."""
        rows = self._store.rows(
            "t", "SELECT text FROM rig_file ORDER BY (SELECT max(contact.id) FROM contact "
            "WHERE contact.rig_file = rig_file.id) DESC")
        return [str(row[0]) for row in rows]

    def doubts(self) -> list[tuple[float, str]]:
        """Contacts whose host clock cannot have been right: its time, and why (a name of
        anchors.DOUBTS). They date nothing."""
        self.refresh()
        return [(host_s, why) for host_s, why in self._store.rows(
            "st", "SELECT host_s, doubt FROM contact WHERE doubt IS NOT NULL ORDER BY id")]

    def note(self, row: OutingRow, text: str, *, now_s: float) -> None:
        """Put a person's own words to an outing, in place of those that were there; "" for
        none. They stay with its first page."""
        with schema.plain_errors(self.path), schema.transaction(self._store.db):
            self._store.db.execute("DELETE FROM note WHERE board = ? AND seq BETWEEN ? AND ?",
                                   (row.board, row.first_seq, row.last_seq))
            if text:
                self._store.db.execute(
                    "INSERT INTO note (board, seq, written_s, text) VALUES (?, ?, ?, ?)",
                    (row.board, row.first_seq, now_s, text))

    def refresh(self, progress: Progress | None = None) -> None:
        """Bring the decoded rows up to date with the pages. Reading does it too; where the
        library may not be changed, it is done in memory."""
        behind = "SELECT count(*) FROM stale"
        if not self._store.rows("n", behind)[0][0]:
            return
        from steadyturn.sessions import refresh

        only_looks, self._readonly = self._readonly, False
        try:
            if only_looks:
                self._store.change()
            refresh.refresh(self._store, progress)
        except Failed:  # it may not be changed, or another program is at it
            if not only_looks:
                raise
            self._store.copy()
            refresh.refresh(self._store, progress)

    def rebuild(self, progress: Progress | None = None) -> None:
        """Decode every page again. Numbers and notes stay; may be broken off and run again."""
        with schema.plain_errors(self.path), schema.transaction(self._store.db):
            self._store.db.execute(
                "INSERT INTO stale SELECT DISTINCT board, 0 FROM page WHERE true "
                "ON CONFLICT (board) DO UPDATE SET from_seq = 0")
        self.refresh(progress)

    def _mark(self, board: BoardRow, seq: int | None) -> None:
        """Note in this transaction that decoded rows are behind: from the outing on that page
        `seq` may belong to (None: only what comes after all pages that are here)."""
        self._store.db.execute(
            "INSERT INTO stale VALUES (?1, coalesce((SELECT max(first_seq) FROM outing WHERE "
            "board = ?1 AND first_seq <= coalesce(?2, (SELECT max(seq) FROM page WHERE "
            "board = ?1))), 0)) ON CONFLICT (board) DO UPDATE SET "
            "from_seq = min(from_seq, excluded.from_seq)", (board.id, seq))
