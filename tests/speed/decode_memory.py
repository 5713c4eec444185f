"""Memory and time for a journal of 1 GB, decoded in runs, against one of 10 MB. Run by hand:

    python tests/speed/decode_memory.py [MEGABYTES]

Each is a process of its own; its highest resident memory counts. The journal is made while it
is read, as a stream cut anywhere, and as rows of a library (that one: a tenth as long, because
its file is written first). The limit: a hundred times the journal, a tenth more memory.
"""

from __future__ import annotations

import json
import os
import resource
import sqlite3
import subprocess
import sys
import tempfile
import time
import zlib
from collections.abc import Iterator
from pathlib import Path

ROOT = Path(__file__).parents[2]
sys.path[:0] = [str(ROOT / p) for p in ("host", "firmware", "tests/host/sessions")]
SIZE = 220
FEW, LIMIT = 10, 1.1


def blocks(megabytes: int) -> Iterator[bytes]:
    """Whole pages, numbered through, some thousand at a time."""
    import numpy as np
    from decode_speed import journal
    from steadyturn_fw import pages as layout

    count = 4096
    block = np.frombuffer(journal(count), "u1").reshape(count, SIZE).copy()
    seq = block[:, layout.AT_SEQ : layout.AT_SEQ + 4].view("<u4")[:, 0]
    crc = block[:, layout.AT_CRC : layout.AT_CRC + 4].view("<u4")[:, 0]
    for begin in range(1, megabytes * 1_000_000 // SIZE + 1, count):
        seq[:] = np.arange(begin, begin + count)
        raw = memoryview(block.tobytes())
        crc[:] = [zlib.crc32(raw[i : i + SIZE - 4]) for i in range(0, len(raw), SIZE)]
        yield block.tobytes()


def in_parts(megabytes: int) -> Iterator[bytes]:
    """The same as a stream cut in parts that are no whole pages."""
    rest = b""
    for block in blocks(megabytes):
        rest += block
        while len(rest) > 65_536:
            yield rest[:65_537]
            rest = rest[65_537:]
    yield rest


def fill(folder: Path, megabytes: int) -> None:
    """A library with so much in it, written past the checks that a pull makes."""
    from steadyturn.sessions.library import Library

    with Library(folder) as shelf:
        board = shelf.board("aa", 1, now_s=0.0)
        contact = shelf.begin(board, kind="pull", host_s=0.0, boot=1, t_ms=1, firmware="0.1.0",
                              seqs=None, settings=b"")
    with sqlite3.connect(folder / "library.sqlite") as db:
        for block in blocks(megabytes):
            rows = (block[i : i + SIZE] for i in range(0, len(block), SIZE))
            db.executemany("INSERT INTO page (board, seq, boot, contact, raw) VALUES (?,?,?,?,?)",
                           ((board.id, int.from_bytes(page[4:8], "little"),
                             int.from_bytes(page[8:11], "little"), contact, page)
                            for page in rows))


def read(kind: str, megabytes: int, folder: str) -> None:
    """In a process of its own."""
    from contextlib import ExitStack

    from steadyturn.sessions.library import Library
    from steadyturn.sessions.runs import decode_runs

    began = time.process_time()
    with ExitStack() as stack:
        parts = in_parts(megabytes)
        if kind == "library":
            shelf = stack.enter_context(Library(Path(folder), readonly=True))
            parts = shelf.page_runs(shelf.boards()[0])
        pages = samples = 0
        for run in decode_runs(parts):
            pages += len(run.pages.pages)
            samples += len(run.pages.samples)
            assert not run.pages.damage
            assert not run.pages.duplicates
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(json.dumps([pages, samples, peak, time.process_time() - began]))


def measured(kind: str, megabytes: int) -> float:
    """Peak in MB."""
    with tempfile.TemporaryDirectory(prefix="steadyturn-") as folder:
        if kind == "library":
            fill(Path(folder), megabytes)
        done = subprocess.run(
            [sys.executable, __file__, "--child", kind, str(megabytes), folder], check=True,
            capture_output=True, text=True, env=dict(os.environ))
    pages, samples, peak, seconds = json.loads(done.stdout)
    print(f"{kind:8} {megabytes:5} MB: {pages:8} pages, {samples:10} samples, "
          f"{peak:6.1f} MB at most, {seconds:6.1f} s")
    return float(peak)


def main() -> None:
    if sys.argv[1:2] == ["--child"]:
        read(sys.argv[2], int(sys.argv[3]), sys.argv[4])
        return
    many = int(sys.argv[1]) if len(sys.argv) > 1 else 1000
    wrong = []
    for kind, most in (("stream", many), ("library", max(FEW, many // 10))):
        ratio = 1 / measured(kind, FEW) * measured(kind, most)
        print(f"{kind:8} {most / FEW:.0f} times as long, {ratio:.3f} times the memory")
        if ratio > LIMIT:
            wrong.append(kind)
    if wrong:
        sys.exit(f"memory grows with the journal: {', '.join(wrong)}")


if __name__ == "__main__":
    main()
