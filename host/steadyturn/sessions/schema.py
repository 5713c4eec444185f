"""The library's file: its tables, how it is opened, and what its errors mean to a person."""

from __future__ import annotations

import os
import sqlite3
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from steadyturn import extras
from steadyturn.errors import Failed

FILE = "library.sqlite"
APPLICATION_ID = 0x53744C62  # "StLb": tells this file from another program's
WAIT_S = 20.0  # another pull may be writing

# One step a version: step n brings a file from PRAGMA user_version n to n + 1. Steps that
# were once released are never changed; a new layout is a new step at the end.
MIGRATIONS: tuple[tuple[str, ...], ...] = (
    (
        # A board is its chip's id and its journal's format id: one that was reformatted
        # starts a new count of pages and is a new row.
        """CREATE TABLE board (
            id INTEGER PRIMARY KEY,
            unique_id TEXT NOT NULL,
            format_id INTEGER NOT NULL,
            first_seen_s REAL NOT NULL,
            UNIQUE (unique_id, format_id))""",
        # Settings in force, byte for byte as the board gave them, each text once.
        """CREATE TABLE settings (
            id INTEGER PRIMARY KEY,
            sha256 TEXT NOT NULL UNIQUE,
            text BLOB NOT NULL)""",
        # A contact ties the board's clock (boot, t_ms) to the host's: a time anchor.
        # finished: the pull ran to its end. seen_*: the pages the board then had.
        """CREATE TABLE contact (
            id INTEGER PRIMARY KEY,
            board INTEGER NOT NULL REFERENCES board (id),
            kind TEXT NOT NULL,
            host_s REAL NOT NULL,
            boot INTEGER NOT NULL,
            t_ms INTEGER NOT NULL,
            firmware TEXT NOT NULL,
            first_seq INTEGER,
            last_seq INTEGER,
            settings INTEGER REFERENCES settings (id),
            finished INTEGER NOT NULL DEFAULT 0)""",
        "CREATE INDEX contact_of_board ON contact (board, id)",
        # Pages verbatim; seq and boot are copies, for finding them.
        """CREATE TABLE page (
            board INTEGER NOT NULL REFERENCES board (id),
            seq INTEGER NOT NULL,
            boot INTEGER NOT NULL,
            contact INTEGER NOT NULL REFERENCES contact (id),
            raw BLOB NOT NULL,
            PRIMARY KEY (board, seq)) WITHOUT ROWID""",
        "CREATE INDEX page_of_contact ON page (contact)",
        # What a board gave that is no usable page is kept too: a later version may read it.
        """CREATE TABLE damaged (
            id INTEGER PRIMARY KEY,
            board INTEGER NOT NULL REFERENCES board (id),
            contact INTEGER NOT NULL REFERENCES contact (id),
            asked_seq INTEGER NOT NULL,
            reason TEXT NOT NULL,
            raw BLOB NOT NULL,
            UNIQUE (board, raw))""",
    ),
    (
        # Rig files as `flash` had them, each text once: what the machine then was.
        """CREATE TABLE rig_file (
            id INTEGER PRIMARY KEY,
            sha256 TEXT NOT NULL UNIQUE,
            text TEXT NOT NULL)""",
        "ALTER TABLE contact ADD COLUMN rig_file INTEGER REFERENCES rig_file (id)",
        # why this contact's host_s is not believed (anchors.DOUBTS); NULL: it is
        "ALTER TABLE contact ADD COLUMN doubt TEXT",
        # Pages decoded, as outing_rows.py describes; all of it can be made again from them.
        """CREATE TABLE outing (
            id INTEGER PRIMARY KEY AUTOINCREMENT,
            board INTEGER NOT NULL REFERENCES board (id),
            first_seq INTEGER NOT NULL,
            last_seq INTEGER NOT NULL,
            first_boot INTEGER NOT NULL,
            last_boot INTEGER NOT NULL,
            begin_boot INTEGER NOT NULL,
            begin_ms INTEGER NOT NULL,
            end_boot INTEGER NOT NULL,
            end_ms INTEGER NOT NULL,
            begin_s REAL,
            end_s REAL,
            after_s REAL,
            until_s REAL,
            after_contact INTEGER REFERENCES contact (id),
            until_contact INTEGER REFERENCES contact (id),
            settings INTEGER REFERENCES settings (id),
            rig TEXT,
            label TEXT,
            energy_in_j REAL NOT NULL,
            energy_out_j REAL NOT NULL,
            energy_out_kind TEXT NOT NULL,
            charge_c REAL NOT NULL,
            turns REAL NOT NULL,
            on_s REAL NOT NULL,
            turning_s REAL NOT NULL,
            band_s REAL NOT NULL,
            connected_s REAL NOT NULL,
            connections INTEGER NOT NULL,
            faults INTEGER NOT NULL,
            faults_by_name TEXT NOT NULL,
            boots INTEGER NOT NULL,
            pages INTEGER NOT NULL,
            missing_pages INTEGER NOT NULL,
            percent REAL,
            mean_pace_tpm REAL,
            UNIQUE (board, first_seq))""",
        # Where the decoded rows of a board are behind its pages: from that number on.
        """CREATE TABLE stale (
            board INTEGER PRIMARY KEY REFERENCES board (id),
            from_seq INTEGER NOT NULL)""",
        "INSERT INTO stale SELECT DISTINCT board, 0 FROM page",
        # A note stays with a page, whichever outing that is found to be in.
        """CREATE TABLE note (
            id INTEGER PRIMARY KEY,
            board INTEGER NOT NULL REFERENCES board (id),
            seq INTEGER NOT NULL,
            written_s REAL NOT NULL,
            text TEXT NOT NULL)""",
    ),
    (
        # Where the handle was hardly moved, pages are the next outing's: all are grouped anew.
        "INSERT INTO stale SELECT DISTINCT board, 0 FROM page WHERE true "
        "ON CONFLICT (board) DO UPDATE SET from_seq = 0",
    ),
    (
        # What an outing tells of its machine's constants (lessons.text); NULL: nothing.
        "ALTER TABLE outing ADD COLUMN lessons TEXT",
        "INSERT INTO stale SELECT DISTINCT board, 0 FROM page WHERE true "
        "ON CONFLICT (board) DO UPDATE SET from_seq = 0",
    ),
)
VERSION = len(MIGRATIONS)


@contextmanager
def plain_errors(path: Path) -> Iterator[None]:
    """Turn the database's and the system's errors into `Failed` with a remedy."""
    try:
        yield
    except sqlite3.Error as error:
        raise _failed(path, error) from error
    except UnicodeDecodeError as error:  # a table's name or a text is no longer text
        raise damaged(path, "a text in it cannot be read") from error
    except OSError as error:
        raise Failed(
            f"The library at {path} cannot be used: {error.strerror or error}.",
            "Name another folder with --library or in STEADYTURN_LIBRARY. Nothing was lost: "
            "the board keeps its pages.",
        ) from error


def _failed(path: Path, error: sqlite3.Error) -> Failed:
    code = getattr(error, "sqlite_errorcode", 0) or 0
    primary = code & 0xFF
    kept = "Nothing was lost: pages stored before stay, and the board keeps its own."
    if primary == sqlite3.SQLITE_FULL:
        return Failed(f"The disk is full; the library at {path} could not grow.",
                      f"Make room, then pull again: it goes on where it stopped. {kept}")
    if primary in {sqlite3.SQLITE_READONLY, sqlite3.SQLITE_PERM, sqlite3.SQLITE_CANTOPEN,
                   sqlite3.SQLITE_AUTH}:
        return Failed(f"The library at {path} cannot be opened or written.",
                      "Allow writing to that folder, or name another with --library or in "
                      f"STEADYTURN_LIBRARY. {kept}")
    if primary in {sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED}:
        return Failed(f"The library at {path} has been busy for {WAIT_S:.0f} s.",
                      f"Wait until the other program is done with it, then try again. {kept}")
    if primary in {sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB,
                   sqlite3.SQLITE_ERROR}:  # a table or column is not there, or is no text
        return damaged(path, str(error))
    if primary == sqlite3.SQLITE_IOERR:
        return Failed(f"The disk under the library at {path} gave an error ({error}).",
                      f"Try another folder with --library. {kept}")
    return Failed(f"The library at {path} failed: {error}.", kept)


def damaged(path: Path, what: str) -> Failed:
    return Failed(f"The library at {path} is damaged or is no library ({what}).",
                  "It was left as it is. Move it aside and pull again: what the board still "
                  "has comes back. 'sqlite3 FILE .recover' can save more of the old file.")


def open_file(path: Path, *, readonly: bool, wait_s: float = WAIT_S) -> sqlite3.Connection:
    """Open, and unless `readonly` make or bring up to date, the library file.

    wait_s: for another program that is writing. Raises Failed when it is newer than this
    program, damaged, or of another program. A file that cannot be used is left untouched; one
    of an older layout is brought up to date first, in memory where it may not be changed.
    """
    with plain_errors(path):
        db = _connect(path, readonly, wait_s)
        try:
            old = _check(db, path) < VERSION
            if not readonly:
                _prepare(db)
        except BaseException:
            db.close()
            raise
    if readonly and old:
        try:
            newer = open_file(path, readonly=False, wait_s=wait_s)
        except Failed:
            with plain_errors(path):
                newer = in_memory(db)
        db.close()
        return newer
    return db


def in_memory(db: sqlite3.Connection) -> sqlite3.Connection:
    """A copy of the whole library that lives as long as it is open, up to date."""
    copy = sqlite3.connect(":memory:", isolation_level=None)
    try:
        db.backup(copy)
        copy.execute("PRAGMA foreign_keys = ON")
        _bring_up(copy)
    except BaseException:
        copy.close()
        raise
    return copy


def _connect(path: Path, readonly: bool, wait_s: float) -> sqlite3.Connection:
    if path.is_dir():
        raise Failed(f"{path} is a folder, where the library has its file.",
                     "Move it aside, or name another folder with --library.")
    if not readonly:
        path.parent.mkdir(parents=True, exist_ok=True)
        db = sqlite3.connect(path, timeout=wait_s, isolation_level=None)
        db.execute("PRAGMA foreign_keys = ON")
        return db
    uri = path.absolute().as_uri()
    # In a folder that cannot be written, SQLite cannot make the files that go with a WAL
    # library; with none of them there it is complete as it stands.
    alone = not os.access(path.parent, os.W_OK) and not Path(f"{path}-wal").exists()
    mode = "immutable=1" if alone else "mode=ro"
    return sqlite3.connect(f"{uri}?{mode}", uri=True, timeout=wait_s, isolation_level=None)


def _check(db: sqlite3.Connection, path: Path) -> int:
    """The file's layout; raises Failed if this program must not touch it."""
    # one look at one moment: another program may be making the library just now
    db.execute("BEGIN")
    try:
        tables = db.execute("SELECT count(*) FROM sqlite_master").fetchone()[0]
        found = db.execute("PRAGMA user_version").fetchone()[0]
        owner = db.execute("PRAGMA application_id").fetchone()[0]
    finally:
        if db.in_transaction:
            db.execute("COMMIT")
    if tables and owner != APPLICATION_ID:
        raise Failed(f"{path} is another program's file.",
                     "Name another folder with --library. The file was left as it is.")
    if found > VERSION:
        raise Failed(
            f"The library at {path} was made by a newer steadyturn (layout {found}; this one "
            f"knows up to {VERSION}).",
            f"Bring this one up to date: {extras.update()}. Or name another folder with "
            "--library. The file was left as it is.",
        )
    return int(found)


def _prepare(db: sqlite3.Connection) -> None:
    _use_wal(db)
    db.execute("PRAGMA synchronous = FULL")  # what a pull says it stored is stored
    _bring_up(db)


def _bring_up(db: sqlite3.Connection) -> None:
    if db.execute("PRAGMA user_version").fetchone()[0] == VERSION:
        return
    with transaction(db):
        # asked again inside: another program may have done it in the meantime
        version = db.execute("PRAGMA user_version").fetchone()[0]
        for step in MIGRATIONS[version:]:
            for statement in step:
                db.execute(statement)
        db.execute(f"PRAGMA application_id = {APPLICATION_ID}")
        db.execute(f"PRAGMA user_version = {VERSION}")


def _use_wal(db: sqlite3.Connection) -> None:
    # SQLite's own waiting does not cover this switch when two programs make a new library
    until = time.monotonic() + WAIT_S
    while True:
        try:
            if db.execute("PRAGMA journal_mode").fetchone()[0] != "wal":
                db.execute("PRAGMA journal_mode = WAL")
            return
        except sqlite3.OperationalError as error:
            if error.sqlite_errorcode & 0xFF != sqlite3.SQLITE_BUSY or time.monotonic() > until:
                raise
            time.sleep(0.02)


@contextmanager
def transaction(db: sqlite3.Connection) -> Iterator[None]:
    """All of it or none; takes the write lock at once, so that two pulls queue up."""
    db.execute("BEGIN IMMEDIATE")
    try:
        yield
        db.execute("COMMIT")
    except BaseException:
        if db.in_transaction:
            db.execute("ROLLBACK")
        raise
