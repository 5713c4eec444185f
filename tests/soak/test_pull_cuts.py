"""Pulls that are cut at a random byte or moment - the cable, SIGKILL of the host's program,
SIGKILL of the virtual board - and then gone on with: no page is lost, none doubled, none changed.
"""

from __future__ import annotations

import os
import random
import signal
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any

import pytest
from images import stored
from steadyturn.board.link import Link
from steadyturn.board.stream import SerialStream, gone
from steadyturn.errors import Failed
from steadyturn.jobs.pull import pull, pull_from
from steadyturn.sessions.library import Library
from steadyturn.twin.prepare import firmware
from steadyturn.twin.twin import Twin
from steadyturn_fw import pages
from test_day import hut

sys.path.append(str(Path(__file__).parents[1] / "host" / "sessions"))
from page_maker import Recorder

LOG_PAGES = 160
PAGE_WIRE = 231  # bytes a page takes on the way, both directions
START_WIRE = 700  # and what is said before
PATH = [str(Path(__file__).parent), str(Path(__file__).parents[1] / "host" / "twin")]
SERVE = """
import sys
sys.path[:0] = {path!r}
import test_pull_cuts
test_pull_cuts.serve({image!r})
"""
PULL = """
import sys
sys.path[:0] = {path!r}
import test_pull_cuts
test_pull_cuts.pull_until({port!r}, {library!r}, {count!r}, {seconds!r})
"""


def fill(image: Path, count: int) -> None:
    """A board with so many pages in its logs."""
    recorder = Recorder(seq=1, boot=1)
    files = dict(firmware())
    left = count
    for number in range(1, -(-count // LOG_PAGES) + 1):
        pages_here = min(left, LOG_PAGES)
        files[f"/journal/{number:06d}.log"] = b"".join(
            recorder.page() for _ in range(pages_here))
        left -= pages_here
        recorder.reboot()
    twin = Twin(hut(), image=image)
    twin.prepare(files=files)
    twin.stop()


def serve(image: str) -> None:
    """A virtual board in a process of its own, until it is killed."""
    with Twin(hut(), image=Path(image), real_time=True) as twin:
        print(twin.port, flush=True)
        while True:
            twin.check()
            signal.sigtimedwait([signal.SIGUSR1], 1.0)


class Cut:
    """A line that does something once `count` bytes have passed, in either direction; what is
    on its way at that byte arrives up to there."""

    def __init__(self, stream: Any, count: int, what: Any) -> None:
        self.stream, self.left, self.what = stream, count, what

    def _pass(self, data: bytes) -> bytes:
        out = data[: max(self.left, 0)]
        self.left -= len(data)
        return out

    def read(self, most: int, timeout_s: float) -> bytes:
        self._act()
        return self._pass(self.stream.read(most, timeout_s))

    def write(self, data: bytes) -> None:
        self._act()
        out = self._pass(data)
        if out:
            self.stream.write(out)
        self._act()

    def _act(self) -> None:
        if self.left <= 0:
            self.what()

    def close(self) -> None:
        self.stream.close()


def pull_until(port: str, library: str, count: int | None, seconds: float | None) -> None:
    """Pull, and end by SIGKILL after so many bytes or after so long."""
    def die() -> None:
        os.kill(os.getpid(), signal.SIGKILL)

    if seconds is not None:
        signal.signal(signal.SIGALRM, signal.SIG_DFL)
        signal.setitimer(signal.ITIMER_REAL, seconds)  # its default ends the process at once
    stream: Any = SerialStream(port)
    if count is not None:
        stream = Cut(stream, count, die)
    print("pulls", flush=True)
    with Library(Path(library)) as shelf:
        link = Link(stream)
        link.wait(15)
        pull_from(link, shelf)


@contextmanager
def board(image: Path) -> Iterator[tuple[subprocess.Popen[bytes], str]]:
    process = subprocess.Popen(
        [sys.executable, "-c", SERVE.format(path=PATH, image=str(image))],
        stdout=subprocess.PIPE, start_new_session=True)
    assert process.stdout is not None
    try:
        yield process, process.stdout.readline().decode().strip()
    finally:
        process.kill()
        process.wait()
        process.stdout.close()


def cut_cable(port: str, library: Path, count: int) -> None:
    def unplugged() -> None:
        raise gone(port)

    cut_by(port, library, count, unplugged)


def cut_by(port: str, library: Path, count: int, what: Any) -> None:
    stream = SerialStream(port)
    try:
        with Library(library) as shelf, suppress(Failed):
            link = Link(Cut(stream, count, what), answer_s=0.5)
            link.wait(15)
            pull_from(link, shelf)
    finally:
        stream.close()


def cut_host(port: str, library: Path, count: int | None, seconds: float | None) -> bool:
    """True: it was killed, False: it was done before."""
    done = subprocess.run(
        [sys.executable, "-c", PULL.format(path=PATH, port=port, library=str(library),
                                           count=count, seconds=seconds)],
        capture_output=True, timeout=60, check=False)
    assert done.returncode in (0, -signal.SIGKILL, -signal.SIGALRM), done.stderr.decode()
    return done.returncode != 0


def held(library: Path) -> dict[int, bytes]:
    """Pages of the library by number; it has one board."""
    with Library(library, readonly=True) as shelf:
        rows = shelf.boards()
        if not rows:
            return {}
        assert len(rows) == 1, "a cut was taken for another journal"
        raw = shelf.pages(rows[0])
        assert shelf.damaged(rows[0]) == []
    size = pages.PAGE_BYTES
    found = [raw[at : at + size] for at in range(0, len(raw), size)]
    by_number = {pages.get(page, pages.AT_SEQ, 4): page for page in found}
    assert len(by_number) == len(found), "doubled"
    return by_number


def many_cuts(folder: Path, cuts: int, count: int, seed: int) -> dict[str, int]:
    chance = random.Random(f"pull cuts {seed}")
    image = folder / "a.img"
    fill(image, count)
    done = {"cable": 0, "host": 0, "host, by time": 0, "board": 0}
    kinds = list(done)
    wholes = 0
    while sum(done.values()) < cuts:
        library = folder / f"library {wholes}"
        before: dict[int, bytes] = {}
        while len(before) < count and sum(done.values()) < cuts:
            kind = kinds[sum(done.values()) % len(kinds)]
            left = (count - len(before)) * PAGE_WIRE
            at = chance.randrange(1, START_WIRE + left // chance.choice((1, 2, 4)))
            with board(image) as (process, port):
                if kind == "cable":
                    cut_cable(port, library, at)
                elif kind == "host":
                    cut_host(port, library, at, None)
                elif kind == "host, by time":
                    cut_host(port, library, None, chance.uniform(0.2, 1.5))
                else:
                    cut_by(port, library, at, process.kill)
            done[kind] += 1
            now = held(library) if (library / "library.sqlite").exists() else {}
            assert before.items() <= now.items(), f"{kind} at {at}: pages lost or changed"
            before = now
        with board(image) as (_, port):
            pull(port, library)
        truth = stored(image.read_bytes())
        assert held(library) == truth
        assert len(truth) >= count
        wholes += 1
    print(f"\n{done}: {wholes} libraries of {len(truth)} pages, each equal to the flash")
    return done


def test_some_pulls_are_cut(tmp_path: Path) -> None:
    done = many_cuts(tmp_path, 4, 60, 1)
    assert set(done.values()) == {1}


@pytest.mark.soak
@pytest.mark.timeout(2 * 3600)
def test_two_hundred_pulls_are_cut(tmp_path: Path) -> None:
    assert sum(many_cuts(tmp_path, 200, 700, 2).values()) == 200
