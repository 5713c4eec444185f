"""A library that cannot be used: each command says what is wrong and what to do, ends with 1,
and leaves everything as it was."""

from __future__ import annotations

import os
import sqlite3
import subprocess
import sys
from pathlib import Path

import pytest
from commands import CHANGES, LOOKS, Bench, told
from steadyturn.sessions import schema

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
    (newer, ("newer steadyturn", "pip install --upgrade")),
    (of_another_program, ("another program's", "--library")),
    (no_database, ("no library", "Move it aside")),
    (a_folder, ("library.sqlite", "--library")),
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


def full_disk(kind: str, folder: Path) -> list[str]:
    """full_disk.py in a process of its own, on a small disk or with a limit for each file."""
    line = [sys.executable, str(Path(__file__).with_name("full_disk.py")), kind, str(folder)]
    if kind == "disk":
        alone = ["unshare", "--mount", *(["--map-root-user"] if os.getuid() else []), "sh", "-c",
                 'mount -t tmpfs -o size=2m tmpfs "$1" && shift && exec "$@"', "sh"]
        if subprocess.run([*alone, str(folder), "true"], capture_output=True,
                          check=False).returncode:
            pytest.skip("no small disk can be mounted here")
        line = [*alone, str(folder), *line]
    paths = os.pathsep.join(path for path in sys.path if path)
    done = subprocess.run(line, capture_output=True, text=True, check=False, cwd=folder,
                          env={**os.environ, "PYTHONPATH": paths})
    assert done.returncode == 0, done.stderr
    return done.stdout.splitlines()


@pytest.mark.skipif(sys.platform != "linux", reason="mounts, or limits a process as Linux does")
@pytest.mark.parametrize("kind", ["disk", "file"])
def test_no_room(kind, tmp_path):
    """Nothing that was stored is lost at any level, looking goes on, and with room again the
    pull goes on where it stopped."""
    said = full_disk(kind, tmp_path)
    assert said[-1] == "done"
    failed = [line for line in said if line.startswith("pull: 1")]
    assert len(failed) > 2
    for line in failed:
        assert "Make room" in line or "Try another folder" in line
