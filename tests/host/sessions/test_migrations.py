"""Libraries of older layouts, as files: each step brings one up to date and loses nothing.

`layout_N.sql` is a library as the program of layout N wrote it.
"""

from __future__ import annotations

import contextlib
import sqlite3
from pathlib import Path

import pytest
from steadyturn.errors import Failed
from steadyturn.sessions import schema
from steadyturn.sessions.library import Library

HERE = Path(__file__).parent
OLD = {n: HERE / f"layout_{n}.sql" for n in (1, 2, 3)}
KEPT = ("board", "settings", "page", "damaged")
OF_CONTACT = "SELECT id, board, kind, host_s, boot, t_ms, firmware, first_seq, last_seq, " \
             "settings, finished FROM contact"


def make(folder, layout):
    folder.mkdir(exist_ok=True)
    path = folder / schema.FILE
    with contextlib.closing(sqlite3.connect(path)) as db:
        db.executescript(OLD[layout].read_text())
        assert db.execute("PRAGMA user_version").fetchone()[0] == layout
        db.execute("PRAGMA journal_mode = WAL")
    return path


def contents(path):
    with contextlib.closing(sqlite3.connect(path)) as db:
        return [db.execute(f"SELECT * FROM {table}").fetchall() for table in KEPT] \
            + [db.execute(OF_CONTACT).fetchall()]


def shape(path):
    with contextlib.closing(sqlite3.connect(path)) as db:
        assert db.execute("PRAGMA integrity_check").fetchone()[0] == "ok"
        assert db.execute("PRAGMA foreign_key_check").fetchall() == []
        return db.execute("SELECT type, name, tbl_name FROM sqlite_master "
                          "ORDER BY 1, 2").fetchall()


def test_every_older_layout_has_its_file():
    assert sorted(OLD) == list(range(1, schema.VERSION))


@pytest.mark.parametrize("layout", OLD)
@pytest.mark.parametrize("readonly", [False, True])
def test_an_old_library_is_as_a_new_one(tmp_path, layout, readonly):
    path = make(tmp_path / "old", layout)
    before = contents(path)
    with Library(tmp_path / "old", readonly=readonly) as library:
        rows = library.outings()
        assert len(library.boards()) == 2
    assert contents(path) == before
    Library(tmp_path / "new").close()
    assert shape(path) == shape(tmp_path / "new" / schema.FILE)
    # what was pulled before this layout is decoded too
    assert [(r.id, r.board, r.first_seq, r.last_seq, r.after_contact, r.until_contact)
            for r in rows] == [(1, 1, 1, 6, None, 1), (2, 1, 7, 12, 1, 2), (3, 2, 1, 3, None, 4)]
    assert [(r.rig, r.label) for r in rows] == [("Hut", "blue")] * 3
    assert rows[1].mean_pace_tpm == 70
    assert rows[0].energy_out_j > rows[2].energy_out_j > 0


@pytest.mark.parametrize("layout", OLD)
def test_a_statement_that_fails_leaves_the_old_layout(tmp_path, layout, monkeypatch):
    path = make(tmp_path, layout)
    before = path.read_bytes()
    broken = (*schema.MIGRATIONS[:layout],
              (*schema.MIGRATIONS[layout], "INSERT INTO nowhere VALUES (1)"))
    with monkeypatch.context() as patch:
        patch.setattr(schema, "MIGRATIONS", broken)
        with pytest.raises(Failed):
            Library(tmp_path)
    assert path.read_bytes() == before
    with Library(tmp_path) as library:
        assert len(library.outings()) == 3


@pytest.mark.parametrize("layout", OLD)
def test_a_library_that_may_not_be_changed_is_read_in_memory(tmp_path, layout, monkeypatch):
    """As on a stick that is write-protected: looked at, and left as it is."""
    path = make(tmp_path / "old", layout)
    before = path.read_bytes()
    refuse_writing(monkeypatch)
    with Library(tmp_path / "old", readonly=True) as library:
        assert [r.id for r in library.outings()] == [1, 2, 3]
        assert library.outing(2).rig == "Hut"
    assert path.read_bytes() == before


def refuse_writing(monkeypatch):
    real = schema._connect

    def connect(path, readonly, wait_s):
        if not readonly:
            raise sqlite3.OperationalError("attempt to write a readonly database")
        return real(path, readonly, wait_s)

    monkeypatch.setattr(schema, "_connect", connect)
