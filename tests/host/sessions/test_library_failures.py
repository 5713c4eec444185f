"""A library that cannot be used: each command says what is wrong and what to do, ends with 1,
and leaves everything as it was."""

from __future__ import annotations

import contextlib
import json
import os
import random
import sqlite3
import subprocess
import sys
import tempfile
from pathlib import Path

import pytest
from commands import CHANGES, LOOKS, Bench, told
from steadyturn.sessions import schema
from steadyturn.sessions.library import Library

EVERY = [*LOOKS, *CHANGES]


@pytest.fixture(scope="module")
def filled(tmp_path_factory):
    """A library file with three evenings in it, and what was cranked in them."""
    bench = Bench(tmp_path_factory.mktemp("filled"))
    bench.fill()
    with sqlite3.connect(bench.file) as db:
        db.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    return bench.file.read_bytes(), bench.shelf.every


@pytest.fixture
def bench(filled, tmp_path):
    bench = Bench(tmp_path)
    bench.folder.mkdir()
    bench.file.write_bytes(filled[0])
    bench.shelf.every = list(filled[1])
    bench.shelf.recorder.seq = len(filled[1]) + 1
    return bench


def state(folder: Path) -> dict[str, bytes | None]:
    return {path.name: path.read_bytes() if path.is_file() else None
            for path in folder.iterdir()
            if not (path.is_file() and path.name[-4:] in {"-wal", "-shm"}
                    and path.stat().st_size in {0, 32_768})}


def change(file: Path, line: str) -> None:
    db = sqlite3.connect(file)
    db.execute(line)
    db.commit()
    db.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    db.close()


def newer(file: Path) -> None:
    change(file, f"PRAGMA user_version = {schema.VERSION + 1}")


def of_another_program(file: Path) -> None:
    file.unlink()
    change(file, "CREATE TABLE board (id INTEGER PRIMARY KEY, unique_id TEXT)")


def no_database(file: Path) -> None:
    file.write_bytes(b"notes of a summer\n" * 500)


def a_folder(file: Path) -> None:
    file.unlink()
    file.mkdir()
    (file / "inside").write_text("mine")


def without_a_table(file: Path) -> None:
    change(file, "PRAGMA foreign_keys = OFF")
    change(file, "DROP TABLE board")


def cut_in_half(file: Path) -> None:
    file.write_bytes(file.read_bytes()[: len(file.read_bytes()) // 2])


def cut_in_its_head(file: Path) -> None:
    file.write_bytes(file.read_bytes()[:60])


@pytest.mark.parametrize(("broken", "words"), [
    (newer, ("newer steadyturn", "git pull")),
    (of_another_program, ("another program's", "--library")),
    (no_database, ("no library", "Move it aside")),
    (a_folder, ("is a folder", "Move it aside", "--library")),
    (without_a_table, ("damaged", "no such table", "Move it aside")),
    (cut_in_half, ("damaged", "Move it aside")),
    (cut_in_its_head, ("no library", "Move it aside")),
])
def test_what_cannot_be_used_is_left_as_it_was(bench, broken, words):
    broken(bench.file)
    before = state(bench.folder)
    for line in EVERY:
        said = bench.run(line)
        told(said)
        text = " ".join(said.err.split())
        assert all(word in text for word in words), (line, said.err)
        assert state(bench.folder) == before, line


# ---- the disk is full


def without_room(kind: str, folder: Path, levels: str) -> list[str]:
    """full_disk.py in a process of its own, on a small disk or with a limit for each file."""
    line = [sys.executable, str(Path(__file__).with_name("full_disk.py")), kind, str(folder),
            levels]
    alone = ["unshare", "--mount", *(["--map-root-user"] if os.getuid() else []), "sh", "-c",
             'mount -t tmpfs -o size=2m tmpfs "$1" && shift && exec "$@"', "sh", str(folder)]
    if kind == "disk":
        can = subprocess.run([*alone, "true"], capture_output=True, check=False).returncode == 0
        if not can:
            return without_room("file", folder, levels)
        line = [*alone, *line]
    paths = os.pathsep.join(path for path in sys.path if path)
    done = subprocess.run(line, capture_output=True, text=True, check=False, cwd=folder,
                          env={**os.environ, "PYTHONPATH": paths})
    assert done.returncode == 0, done.stderr
    return done.stdout.splitlines()


def check_without_room(kind: str, folder: Path, levels: str) -> None:
    """Nothing that was stored is lost at any level, looking goes on, and with room again the
    pull goes on where it stopped."""
    said = without_room(kind, folder, levels)
    assert said[-1] == "done"
    failed = [line for line in said if line.startswith("pull: 1")]
    assert len(failed) > levels.count(",") // 2
    for line in failed:
        assert "Make room" in line or "Try another folder" in line


linux = pytest.mark.skipif(sys.platform != "linux", reason="limits files by Linux's means")


@linux
def test_no_room(tmp_path):
    check_without_room("disk", tmp_path, "0,30")


@linux
@pytest.mark.soak
@pytest.mark.parametrize("kind", ["disk", "file"])
def test_no_room_at_many_levels(kind, tmp_path):
    check_without_room(kind, tmp_path, "0,3,6,12,20,30,40,50,70,90,120")


# ---- no right to write


@pytest.mark.skipif(os.name != "posix", reason="file modes are a POSIX matter")
def test_no_right_to_write(filled, tmp_path):
    """Looking works; what has to write says whose right is missing."""
    with tempfile.TemporaryDirectory(prefix="steadyturn-") as name:
        folder = Path(name)  # where others may enter, unlike tmp_path
        (folder / "library").mkdir()
        file = folder / "library" / "library.sqlite"
        file.write_bytes(filled[0])
        for path, mode in ((folder, 0o777), (file, 0o444), (folder / "library", 0o555)):
            path.chmod(mode)
        said = run_as_nobody(folder, tmp_path)
        (folder / "library").chmod(0o755)
        assert file.read_bytes() == filled[0]
        assert [path.name for path in (folder / "library").iterdir()] == [file.name]
    assert [(line, status) for line, status, _ in said] == [
        *((line, 0) for line in LOOKS), *((line, 1) for line in CHANGES)]
    for _, status, err in said:
        if status:
            assert "Allow writing to that folder" in " ".join(err.split())


def run_as_nobody(folder: Path, warm: Path) -> list[tuple[list[str], int, str]]:
    script = (
        "import json, os, sys\n"
        f"sys.path.insert(0, {str(Path(__file__).parent)!r})\n"
        "from commands import CHANGES, LOOKS, Bench, Path\n"
        "warm = Bench(Path(sys.argv[1]))\n"  # nobody may not read all of Python
        "warm.fill(1)\n"
        "warm.run(['review', '--more'])\n"
        "[warm.run([line]) for line in ('review', 'sessions', 'export', 'pull')]\n"
        "os.getuid() or os.setuid(65534)\n"
        f"bench = Bench(Path({str(folder)!r}))\n"
        "for line in [*LOOKS, *CHANGES]:\n"
        "    said = bench.run(line)\n"
        "    print(json.dumps([line, said.status, said.err]))\n")
    paths = os.pathsep.join(path for path in sys.path if path)
    done = subprocess.run([sys.executable, "-c", script, str(warm)], capture_output=True,
                          text=True, check=False, env={**os.environ, "PYTHONPATH": paths})
    assert done.returncode == 0, done.stderr
    return [tuple(json.loads(row)) for row in done.stdout.splitlines()]


# ---- the file that goes with it (SQLite's write-ahead log), and another program


def written_and_killed(bench: Bench) -> list[bytes]:
    """A pull that dies with its pages in the log only: those that it had stored."""
    bench.shelf.crank(pages=40)
    fresh = bench.shelf.every[-40:]
    kept, half = fresh[:32], fresh[32:]
    pid = os.fork()
    if not pid:
        try:
            library = Library(bench.folder)
            board, contact = bench.shelf.contact(library, "pull")
            library.add_pages(board, contact, kept)
            library._db.execute("BEGIN IMMEDIATE")
            library._db.executemany(
                "INSERT INTO page VALUES (?, ?, 1, ?, ?)",
                [(board.id, 9000 + n, contact, page) for n, page in enumerate(half)])
        finally:
            os._exit(0)
    os.waitpid(pid, 0)
    return kept


@pytest.mark.skipif(not hasattr(os, "fork"), reason="kills a copy of this process")
def test_a_log_that_a_killed_program_left_counts(bench):
    kept = written_and_killed(bench)
    log = bench.folder / "library.sqlite-wal"
    assert log.stat().st_size > 32 * 220
    for line in LOOKS:
        assert bench.run(line).status == 0
    with Library(bench.folder, readonly=True) as library:
        pages = library.pages(library.boards()[0])
    assert pages.endswith(b"".join(kept))
    assert len(pages) == 220 * (len(bench.shelf.every) - 8)
    assert bench.run(["pull"]).status == 0
    assert bench.kept() == set(bench.shelf.every)


@pytest.mark.skipif(not hasattr(os, "fork"), reason="kills a copy of this process")
@pytest.mark.parametrize("log", ["lost", "random", "cut", "of another library"])
def test_a_log_that_is_lost_or_foreign(bench, tmp_path, filled, log):
    """Without it, or with one that is none of its own, the library is as it was before it:
    whole, and the board still has what was in the log."""
    stored = set(bench.shelf.every)
    written_and_killed(bench)
    path = bench.folder / "library.sqlite-wal"
    raw = path.read_bytes()
    if log == "lost":
        path.unlink()
    elif log == "random":
        path.write_bytes(random.Random(1).randbytes(len(raw)))
    elif log == "cut":
        path.write_bytes(raw[: len(raw) // 2 + 100])
    else:
        other = Bench(tmp_path / "other")
        other.fill(1)
        path.write_bytes((other.folder / "library.sqlite-wal").read_bytes())
    (bench.folder / "library.sqlite-shm").unlink(missing_ok=True)
    for line in LOOKS:
        said = bench.run(line)
        if said.status:
            told(said)
    if log == "of another library":  # SQLite itself cannot tell it from its own
        return
    assert said.status == 0
    assert bench.run(["pull"]).status == 0
    assert stored < bench.kept() == set(bench.shelf.every)


def test_another_program_is_writing(bench, monkeypatch):
    """Looking does not wait for it; what has to write says so after a while."""
    monkeypatch.setitem(Library.__init__.__kwdefaults__, "wait_s", 0.05)
    with contextlib.closing(sqlite3.connect(bench.file, isolation_level=None)) as other:
        other.execute("BEGIN IMMEDIATE")
        for line in LOOKS:
            assert bench.run(line).status == 0
        for line in CHANGES:
            said = bench.run(line)
            told(said)
            assert "busy" in said.err
        other.execute("ROLLBACK")
    assert bench.run(["pull"]).status == 0
    assert bench.kept() == set(bench.shelf.every)
