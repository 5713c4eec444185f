"""Run by test_library_failures.py in a process of its own: `full_disk.py disk|file FOLDER
KILOBYTES,...`.

disk: FOLDER is a small disk of its own, filled until so much is left. file: no file may grow
beyond about that. Prints how each pull ended, and "done" when all that must hold did.
"""

from __future__ import annotations

import resource
import shutil
import sqlite3
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

from commands import Bench, told

FRESH = 400  # pages on the board, 88 kB; as rows 130 kB, and as many in the WAL


@contextmanager
def disk(bench: Bench, kilobytes: int) -> Iterator[None]:
    """Only so much room is left on this disk."""
    filler = bench.folder.parent / "filler"
    free = shutil.disk_usage(bench.folder).free
    with filler.open("wb") as file:
        file.write(bytes(max(0, free - 1024 * kilobytes)))
    try:
        yield
    finally:
        filler.unlink()


@contextmanager
def file(bench: Bench, kilobytes: int) -> Iterator[None]:
    """No file may grow beyond that, and what SQLite needs for its index of the WAL."""
    most = 40_000 + 1024 * kilobytes
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (most, hard))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))


def stored(bench: Bench) -> list[int]:
    with sqlite3.connect(bench.file) as db:
        assert db.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
        rows = db.execute("SELECT seq, raw FROM page ORDER BY seq").fetchall()
    pages = {int.from_bytes(page[4:8], "little"): page for page in bench.shelf.every}
    assert all(pages[seq] == raw for seq, raw in rows)
    return [seq for seq, _ in rows]


def main(limit: Callable, folder: Path, levels_kb: list[int]) -> None:
    bench = Bench(folder)
    bench.fill(2)
    bench.fresh = FRESH
    before = stored(bench)
    for kilobytes in levels_kb:
        with limit(bench, kilobytes):
            said = bench.run(["pull"])
            print(f"pull: {said.status} {kilobytes} {' '.join(said.err.split())}")
            if said.status:
                told(said)
            bench.fresh = 0
            for line in (["review"], ["sessions"]):
                seen = bench.run(line)
                assert seen.status == 0, (line, seen)
            out = bench.run(["export"])
            if out.status:
                assert "No space left" in out.err or "File too large" in out.err, out
            left = list(folder.glob("out*"))
            assert len(left) == (0 if out.status else 1)
            for path in left:
                shutil.rmtree(path)
        after = stored(bench)
        assert after[: len(before)] == before
        before = after
    said = bench.run(["pull"])
    assert said.status == 0, said
    assert stored(bench) == list(range(1, len(bench.shelf.every) + 1))
    assert len(bench.shelf.every) > FRESH
    print("done")


if __name__ == "__main__":
    main({"disk": disk, "file": file}[sys.argv[1]], Path(sys.argv[2]),
         [int(level) for level in sys.argv[3].split(",")])
