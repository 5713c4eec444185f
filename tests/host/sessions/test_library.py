"""The library: idempotent, shared by two, and never at a loss for a remedy."""

from __future__ import annotations

import contextlib
import multiprocessing
import os
import sqlite3
import subprocess
import sys
import threading
from pathlib import Path

import pytest
from page_maker import Recorder
from steadyturn.errors import Failed
from steadyturn.sessions import schema
from steadyturn.sessions.decode import decode
from steadyturn.sessions.library import Library, default_folder

UID = "e6614c311b7a5a2f"


def some_pages(count, **more):
    recorder = Recorder(**more)
    return [recorder.page() for _ in range(count)]


def begin(library, *, uid=UID, format_id=7, host_s=1000.0, settings=b"{}", seqs=(1, 10)):
    board = library.board(uid, format_id, now_s=host_s)
    contact = library.begin(board, kind="pull", host_s=host_s, boot=3, t_ms=1234,
                            firmware="0.1.0", seqs=seqs, settings=settings)
    return board, contact


def test_pages_come_back_as_they_went_in(tmp_path):
    pages = some_pages(10)
    with Library(tmp_path) as library:
        board, contact = begin(library)
        assert library.add_pages(board, contact, pages[5:]) == 5
        assert library.add_pages(board, contact, pages) == 5
        assert library.add_pages(board, contact, pages) == 0
        library.finish(contact)
    with Library(tmp_path, readonly=True) as library:
        board = library.boards()[0]
        assert library.pages(board) == b"".join(pages)
        assert library.pages(board, since_seq=8) == b"".join(pages[7:])
        assert library.page_before(board, 8) == pages[6]
        assert library.page_before(board, 1) == b""
        assert library.seqs(board) == list(range(1, 11))
        only = library.contacts(board)[0]
        assert (only.boot, only.t_ms, only.host_s, only.pages) == (3, 1234, 1000.0, 10)
        assert only.finished
        assert only.settings == b"{}"


def test_a_reformatted_board_is_another_board(tmp_path):
    with Library(tmp_path) as library:
        old, first = begin(library, format_id=7)
        new, second = begin(library, format_id=8)
        assert old.id != new.id
        library.add_pages(old, first, some_pages(3))
        assert library.add_pages(new, second, some_pages(2)) == 2
        assert [b.format_id for b in library.boards()] == [8, 7]
        assert len(library.pages(old)) == 3 * 220


def test_settings_are_kept_once_a_text(tmp_path):
    with Library(tmp_path) as library:
        for text in (b"one", b"two", b"one"):
            board, _ = begin(library, settings=text)
        assert [c.settings for c in library.contacts(board)] == [b"one", b"two", b"one"]
    db = sqlite3.connect(tmp_path / schema.FILE)
    assert db.execute("SELECT count(*) FROM settings").fetchone()[0] == 2


def test_damaged_pages_are_kept_apart(tmp_path):
    page = bytearray(some_pages(1)[0])
    page[20] ^= 1
    with Library(tmp_path) as library:
        board, contact = begin(library)
        with pytest.raises(ValueError, match="whole"):
            library.add_pages(board, contact, [bytes(page)])
        assert library.add_damaged(board, contact, 1, "crc", bytes(page))
        assert not library.add_damaged(board, contact, 2, "crc", bytes(page))
        assert library.damaged(board) == [(contact, 1, "crc", bytes(page))]
        assert library.pages(board) == b""


def test_wal_keys_and_version(tmp_path):
    with Library(tmp_path) as library:
        board, _ = begin(library)
        with pytest.raises(Failed):  # a foreign key that leads nowhere
            library.add_pages(board, 999, some_pages(1))
        assert library.pages(board) == b""
    db = sqlite3.connect(tmp_path / schema.FILE)
    assert db.execute("PRAGMA journal_mode").fetchone()[0] == "wal"
    assert db.execute("PRAGMA user_version").fetchone()[0] == schema.VERSION == 4
    assert db.execute("PRAGMA integrity_check").fetchone()[0] == "ok"


def test_where_the_library_is(monkeypatch, tmp_path):
    monkeypatch.setenv("STEADYTURN_LIBRARY", str(tmp_path / "here"))
    assert default_folder() == tmp_path / "here"
    monkeypatch.delenv("STEADYTURN_LIBRARY")
    assert default_folder().name == "steadyturn"


# ---- what can go wrong


def test_no_library_yet(tmp_path):
    with pytest.raises(Failed) as caught:
        Library(tmp_path / "none", readonly=True)
    assert "steadyturn pull" in caught.value.how
    assert not (tmp_path / "none").exists()


def test_the_folder_is_a_file(tmp_path):
    (tmp_path / "file").write_text("x")
    with pytest.raises(Failed) as caught:
        Library(tmp_path / "file")
    assert "--library" in caught.value.how


def test_newer_layout(tmp_path):
    with Library(tmp_path) as library:
        board, contact = begin(library)
        library.add_pages(board, contact, some_pages(2))
    db = sqlite3.connect(tmp_path / schema.FILE)
    db.execute("PRAGMA user_version = 9")
    db.commit()
    db.close()
    before = (tmp_path / schema.FILE).read_bytes()
    for readonly in (False, True):
        with pytest.raises(Failed) as caught:
            Library(tmp_path, readonly=readonly)
        assert "newer" in caught.value.what
        assert "layout 9" in caught.value.what
        assert "up to date" in caught.value.how
    assert (tmp_path / schema.FILE).read_bytes() == before


def test_an_older_layout_is_brought_up_to_date(tmp_path, monkeypatch):
    pages = some_pages(3)
    with Library(tmp_path) as library:
        board, contact = begin(library)
        library.add_pages(board, contact, pages)
    step = ("ALTER TABLE board ADD COLUMN kept TEXT NOT NULL DEFAULT 'none'",)
    monkeypatch.setattr(schema, "MIGRATIONS", (*schema.MIGRATIONS, step))
    monkeypatch.setattr(schema, "VERSION", len(schema.MIGRATIONS))
    with Library(tmp_path, readonly=True) as library:  # looking is enough
        assert library.pages(library.boards()[0]) == b"".join(pages)
        assert library._store.rows("t", "SELECT kept FROM board") == [("none",)]
        assert library._store.rows("n", "PRAGMA user_version") == [(schema.VERSION,)]


def test_an_empty_file_is_an_empty_library(tmp_path):
    (tmp_path / schema.FILE).write_bytes(b"")  # as a program leaves it that died at once
    with Library(tmp_path, readonly=True) as library:
        assert library.boards() == []


def test_a_step_that_fails_changes_nothing(tmp_path, monkeypatch):
    with Library(tmp_path) as library:
        begin(library)
    steps = ("CREATE TABLE more (a)", "CREATE TABLE board (a)")
    with monkeypatch.context() as patch:
        patch.setattr(schema, "MIGRATIONS", (*schema.MIGRATIONS, steps))
        patch.setattr(schema, "VERSION", len(schema.MIGRATIONS))
        with pytest.raises(Failed):
            Library(tmp_path)
    with Library(tmp_path) as library:
        assert library._store.rows("t", "SELECT name FROM sqlite_master WHERE name = 'more'") == []
        assert len(library.boards()) == 1


def test_another_programs_file(tmp_path):
    db = sqlite3.connect(tmp_path / schema.FILE)
    db.execute("CREATE TABLE theirs (a)")
    db.close()
    with pytest.raises(Failed) as caught:
        Library(tmp_path)
    assert "another program" in caught.value.what


def test_not_a_database(tmp_path):
    (tmp_path / schema.FILE).write_bytes(b"this is a note and not a library. " * 300)
    before = (tmp_path / schema.FILE).read_bytes()
    for readonly in (False, True):
        with pytest.raises(Failed) as caught:
            Library(tmp_path, readonly=readonly)
        assert "aside" in caught.value.how
    assert (tmp_path / schema.FILE).read_bytes() == before


@pytest.mark.parametrize("change", [
    "UPDATE page SET raw = 'text'",
    "UPDATE page SET raw = x'00'",
    "UPDATE contact SET host_s = 1e300",
    "UPDATE contact SET host_s = 'soon'",
    "UPDATE contact SET boot = 1e300",
    "UPDATE settings SET text = 7",
    "UPDATE board SET unique_id = x'80'",
])
def test_a_value_that_no_pull_stores_is_told_as_damage(tmp_path, change):
    with Library(tmp_path) as library:
        board, contact = begin(library)
        library.add_pages(board, contact, some_pages(3))
    with contextlib.closing(sqlite3.connect(tmp_path / schema.FILE)) as db, db:
        db.execute(change)

    def read_all(library):
        for row in library.boards():
            library.contacts(row)
            library.pages(row)

    with Library(tmp_path) as library, pytest.raises(Failed, match="damaged"):
        read_all(library)


def test_damage_in_a_tables_name_is_told(tmp_path):
    with Library(tmp_path) as library:
        begin(library)
    path = tmp_path / schema.FILE
    raw = path.read_bytes()
    assert b"CREATE TABLE page" in raw
    path.write_bytes(raw.replace(b"CREATE TABLE page", b"CREATE TABLE \xe2age"))
    with pytest.raises(Failed, match="damaged"):
        Library(tmp_path)
    with pytest.raises(Failed, match="damaged"):
        Library(tmp_path, readonly=True)


def test_a_hole_in_the_middle(tmp_path):
    """Bytes of the file overwritten: an answer with a remedy, and the pages' bytes that were
    not hit can still be found in the file, because they are kept verbatim."""
    pages = some_pages(400)
    with Library(tmp_path) as library:
        board, contact = begin(library)
        library.add_pages(board, contact, pages)
    path = tmp_path / schema.FILE
    raw = bytearray(path.read_bytes())
    raw[4096 * 2 : 4096 * 30] = b"\xa5" * (4096 * 28)
    path.write_bytes(raw)
    with pytest.raises(Failed) as caught, Library(tmp_path) as library:
        library.pages(library.boards()[0])
    assert "damaged" in caught.value.what
    assert len(decode(bytes(raw)).pages) == sum(page in raw for page in pages) > 100


def test_disk_full_loses_nothing(tmp_path):
    pages = some_pages(300)
    with Library(tmp_path) as library:
        board, contact = begin(library)
        library.add_pages(board, contact, pages[:50])
        size = library._db.execute("PRAGMA page_count").fetchone()[0]
        library._db.execute(f"PRAGMA max_page_count = {size + 2}")
        with pytest.raises(Failed) as caught:
            library.add_pages(board, contact, pages)
        assert "full" in caught.value.what
        assert "Make room" in caught.value.how
        assert len(library.seqs(board)) == 50
        library._db.execute("PRAGMA max_page_count = 1000000")
        assert library.add_pages(board, contact, pages) == 250
        assert library.pages(board) == b"".join(pages)


def as_another_user(folder: Path, what: str) -> str:
    """Run a line of Python without the right to write to `folder` (root needs to become
    somebody else for that)."""
    code = (
        "import os, sys\n"
        "from pathlib import Path\n"
        "from steadyturn.errors import Failed\n"
        "from steadyturn.sessions.library import Library\n"
        "os.getuid() or os.setuid(65534)\n"
        f"folder = Path({str(folder)!r})\n"
        f"try:\n    {what}\n"
        "except Failed as f:\n    print('failed:', f.what, f.how)\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=False,
        env={**os.environ, "PYTHONPATH": os.pathsep.join(p for p in sys.path if p)},
    )
    assert done.returncode == 0, done.stderr
    return done.stdout


@pytest.mark.skipif(os.name != "posix", reason="file modes are a POSIX matter")
def test_a_folder_that_cannot_be_written(tmp_path):
    import tempfile

    # tmp_path is closed to other users; this one is open for reading
    folder = Path(tempfile.mkdtemp(prefix="steadyturn-"))
    try:
        with Library(folder) as library:
            board, contact = begin(library)
            library.add_pages(board, contact, some_pages(4))
        for name in folder.iterdir():
            name.chmod(0o444)
        folder.chmod(0o555)
        said = as_another_user(folder, "Library(folder).board('ab', 1, now_s=0)")
        assert said.startswith("failed:")
        assert "--library" in said
        looked = "library = Library(folder, readonly=True); " \
                 "print(len(library.pages(library.boards()[0])))"
        assert as_another_user(folder, looked).strip() == str(4 * 220)
        said = as_another_user(folder, "Library(folder / 'new')")
        assert said.startswith("failed:")
    finally:
        folder.chmod(0o755)
        for name in folder.iterdir():
            name.unlink()
        folder.rmdir()


def _writer(folder, begin_seq, count, gate):
    pages = some_pages(begin_seq + count - 1)[begin_seq - 1 :]
    gate.wait()
    with Library(folder) as library:
        board, contact = begin(library)
        for at in range(0, count, 10):
            library.add_pages(board, contact, pages[at : at + 10])
        library.finish(contact)


def test_two_pulls_at_once(tmp_path):
    """Two programs make the same library and store overlapping pages at the same time."""
    context = multiprocessing.get_context("spawn")
    gate = context.Barrier(2)
    with contextlib.ExitStack() as stack:
        workers = [context.Process(target=_writer, args=(tmp_path, begin_seq, 200, gate))
                   for begin_seq in (1, 101)]
        for worker in workers:
            worker.start()
            stack.callback(worker.join)
    assert [worker.exitcode for worker in workers] == [0, 0]
    with Library(tmp_path, readonly=True) as library:
        assert len(library.boards()) == 1
        board = library.boards()[0]
        assert library.pages(board) == b"".join(some_pages(300))
        contacts = library.contacts(board)
        assert sum(c.pages for c in contacts) == 300
        assert all(c.finished for c in contacts)


def test_many_open_a_new_library_at_once(tmp_path):
    """Nobody mistakes a library that is just being made for another program's file."""
    wrong = []

    def run(folder):
        try:
            Library(folder).close()
        except Failed as failed:
            wrong.append(failed)

    for n in range(40):
        threads = [threading.Thread(target=run, args=(tmp_path / str(n),)) for _ in range(4)]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
    assert not wrong
