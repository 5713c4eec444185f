"""A library of 1,000 outings, a million samples, and of ten times as many. Run by hand:

    python tests/speed/library_speed.py [OUTINGS]

Prints how long the list takes, as a command and without the interpreter's start, one outing's
pages with their figures, and decoding all of it again; and what ten times as many cost, in
processor time, which other programs on the machine disturb less.
"""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
import time
import zlib
from pathlib import Path

import numpy as np

ROOT = Path(__file__).parents[2]
PATHS = [str(ROOT / p) for p in ("host", "firmware", "tests/host/sessions")]
sys.path[:0] = PATHS

from page_maker import Recorder  # noqa: E402
from shelves import BEGAN_S, DAY_S, UID, settings_text  # noqa: E402
from steadyturn.sessions.decode import decode  # noqa: E402
from steadyturn.sessions.figures import review  # noqa: E402
from steadyturn.sessions.library import Library  # noqa: E402
from steadyturn_fw import pages as layout  # noqa: E402

BOOTS, PAGES = 4, 11  # of an outing: 44 pages of 23 samples, 1,012 samples
TOTALS = ((layout.AT_ENERGY_IN, 6), (layout.AT_ENERGY_OUT, 6), (layout.AT_CHARGE, 6),
          (layout.AT_TURNS, 5), (layout.AT_ON, 4), (layout.AT_BAND, 4), (layout.AT_CONNECTED, 4))


def pattern():
    """One outing's pages as rows of bytes, and what it adds to each total."""
    recorder = Recorder(seq=0)
    rows = []
    for boot in range(BOOTS):
        rows += [recorder.page(bus_mv=5000 + 300 * n % 2000, bus_ma=300 + 40 * n,
                               pace_tpm=45 + 7 * boot + n, in_band=n > 2)
                 for n in range(PAGES)]
        recorder.reboot()
    block = np.frombuffer(b"".join(rows), "u1").reshape(len(rows), -1)
    return block, {at: number(block[-1:], at, size)[0] for at, size in TOTALS}


def number(block, at, size):
    return block[:, at : at + size].astype("i8") @ (256 ** np.arange(size, dtype="i8"))


def put(block, at, size, values):
    for i in range(size):
        block[:, at + i] = values >> 8 * i & 0xFF


def outing(block, added, n):
    """The n-th outing's pages: the pattern, counted on."""
    own = block.copy()
    put(own, layout.AT_SEQ, 4, n * len(block) + np.arange(len(block)) + 1)
    put(own, layout.AT_BOOT, 3, number(block, layout.AT_BOOT, 3) + n * (BOOTS + 1))
    for at, size in TOTALS:
        put(own, at, size, number(block, at, size) + n * added[at])
    crcs = [zlib.crc32(row[: layout.AT_CRC].tobytes()) for row in own]
    put(own, layout.AT_CRC, 4, np.array(crcs, "i8"))
    return [row.tobytes() for row in own]


def fill(folder, outings):
    """A library as so many pulls leave it, not decoded."""
    block, added = pattern()
    settings = settings_text()
    with Library(folder) as library:
        library._db.execute("PRAGMA synchronous = OFF")
        board = library.board(UID, 7, now_s=BEGAN_S)
        for n in range(outings):
            contact = library.begin(
                board, kind="pull", host_s=BEGAN_S + n * DAY_S, boot=n * (BOOTS + 1) + BOOTS + 1,
                t_ms=5000, firmware="0.1.0", seqs=(1, (n + 1) * len(block)), settings=settings)
            library.add_pages(board, contact, outing(block, added, n))
            library._db.execute("UPDATE contact SET finished = 1 WHERE id = ?", (contact,))


def spent():
    """Processor time of this program and of those that it ran and waited for, in s."""
    times = os.times()
    return times.user + times.system + times.children_user + times.children_system


def taken(action, times=5):
    """Shortest of several runs and least processor time of one, in s."""
    walls, works = [], []
    for _ in range(times):
        work, wall = spent(), time.perf_counter()
        action()
        walls.append(time.perf_counter() - wall)
        works.append(spent() - work)
    return min(walls), min(works)


def command(*words):
    env = {**os.environ, "PYTHONPATH": os.pathsep.join(PATHS)}
    subprocess.run([sys.executable, *words], env=env, check=True, capture_output=True)


def one(folder, number_):
    """All that a review of one outing needs of the library, and its figures."""
    with Library(folder, readonly=True) as library:
        row = library.outing(number_)
        pages = decode(library.outing_pages(row))
        library.outing_settings(row)
        return review(pages, {"percent_mj": 400_000}, before=library.outing_before(row))


def measure(outings):
    with tempfile.TemporaryDirectory() as scratch:
        folder = Path(scratch)
        fill(folder, outings)
        rebuilt, rebuilding = taken(lambda: refresh(folder), 1)
        with Library(folder, readonly=True) as library:
            rows = library.outings()
        assert len(rows) == outings
        assert sum(row.pages for row in rows) == outings * BOOTS * PAGES
        assert one(folder, outings // 2).turns == rows[outings // 2 - 1].turns
        start, starting = taken(lambda: command("-c", "pass"))
        listed, listing = taken(lambda: command(
            "-m", "steadyturn", "sessions", "--library", scratch))
        shown, showing = taken(lambda: command(
            "-m", "steadyturn", "review", "--library", scratch, "--outing", str(outings // 2)))
        reviewed, _ = taken(lambda: [one(folder, outings // 2) for _ in range(20)])
        size = (folder / "library.sqlite").stat().st_size
    samples = outings * BOOTS * PAGES * layout.SAMPLES
    print(f"{outings} outings, {samples / 1e6:.1f} million samples, {size / 1e6:.0f} MB")
    print(f"  list: command {listed:6.2f} s, without the interpreter's start "
          f"{listed - start:6.2f} s")
    print(f"  one outing with figures     {reviewed / 20 * 1000:8.1f} ms")
    print(f"  review of one: command      {shown:8.2f} s")
    print(f"  decoding everything again   {rebuilt:8.1f} s")
    return listing - starting, showing - starting, rebuilding


def refresh(folder):
    with Library(folder) as library:
        library.refresh()


def main():
    outings = int(sys.argv[1]) if len(sys.argv) > 1 else 1000
    small, large = measure(outings), measure(10 * outings)
    for what, a, b in zip(("list", "review of one", "decoding again"), small, large, strict=True):
        print(f"ten times as many, {what}: {b / a:.1f} times the "
              f"processor time ({b:.2f} s)")


if __name__ == "__main__":
    main()
