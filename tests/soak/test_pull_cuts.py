"""Pulls that are cut at a random byte or moment - the cable, SIGKILL of the host's program,
SIGKILL of the virtual board - and then gone on with: no page is lost, none doubled, none changed.
"""

from __future__ import annotations

import random
import signal
import subprocess
import sys
from contextlib import suppress
from pathlib import Path
from typing import Any

import pytest
from cut_pull import Cut
from images import stored
from steadyturn.board.link import Link
from steadyturn.board.stream import SerialStream, gone
from steadyturn.errors import Failed
from steadyturn.jobs.pull import pull, pull_from
from steadyturn.rig.examples import example_path
from steadyturn.rig.file import read_rig
from steadyturn.sessions.library import Library
from steadyturn.twin.prepare import firmware
from steadyturn.twin.twin import Twin
from steadyturn_fw import pages

sys.path.append(str(Path(__file__).parents[1] / "host" / "sessions"))
from page_maker import Recorder

LOG_PAGES = 160
PAGE_WIRE = 231  # bytes a page takes on the way, both directions
START_WIRE = 700  # and what is said before
SCRIPT = str(Path(__file__).with_name("cut_pull.py"))


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
    twin = Twin(read_rig(str(example_path("lakeside-hut"))), image=image)
    twin.prepare(files=files)
    twin.stop()


class Board:
    """A virtual board in a process of its own; started again where it was killed."""

    def __init__(self, image: Path) -> None:
        self.image = image
        self.process: subprocess.Popen[bytes] | None = None
        self._port = ""

    @property
    def port(self) -> str:
        if self.process is None or self.process.poll() is not None:
            self.close()
            self.process = subprocess.Popen([sys.executable, SCRIPT, "serve", str(self.image)],
                                            stdout=subprocess.PIPE, start_new_session=True)
            assert self.process.stdout is not None
            self._port = self.process.stdout.readline().decode().strip()
        return self._port

    def kill(self) -> None:
        if self.process is not None:
            self.process.kill()
            self.process.wait()

    def close(self) -> None:
        self.kill()
        if self.process is not None and self.process.stdout is not None:
            self.process.stdout.close()


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


def cut_host(port: str, library: Path, end: str) -> None:
    done = subprocess.run(
        [sys.executable, SCRIPT, "pull", port, str(library), end],
        capture_output=True, timeout=60, check=False)
    assert done.returncode in (0, -signal.SIGKILL, -signal.SIGALRM), done.stderr.decode()


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
    board = Board(image)
    try:
        while sum(done.values()) < cuts:
            library = folder / f"library {wholes}"
            before: dict[int, bytes] = {}
            while len(before) < count and sum(done.values()) < cuts:
                kind = kinds[sum(done.values()) % len(kinds)]
                left = (count - len(before)) * PAGE_WIRE
                at = chance.randrange(1, START_WIRE + left // chance.choice((1, 2, 4)))
                if kind == "cable":
                    cut_cable(board.port, library, at)
                elif kind == "board":
                    cut_by(board.port, library, at, board.kill)
                else:
                    cut_host(board.port, library, str(at) if kind == "host"
                             else f"{chance.uniform(0.2, 1.5):.3f}s")
                done[kind] += 1
                now = held(library) if (library / "library.sqlite").exists() else {}
                assert before.items() <= now.items(), f"{kind} at {at}: pages lost or changed"
                before = now
            pull(board.port, library)
            board.kill()
            truth = stored(image.read_bytes())
            assert held(library) == truth
            assert len(truth) >= count
            wholes += 1
    finally:
        board.close()
    print(f"\n{done}: {wholes} libraries of {len(truth)} pages, each equal to the flash")
    return done


def test_some_pulls_are_cut(tmp_path: Path) -> None:
    done = many_cuts(tmp_path, 4, 60, 1)
    assert set(done.values()) == {1}


@pytest.mark.soak
@pytest.mark.timeout(2 * 3600)
def test_two_hundred_pulls_are_cut(tmp_path: Path) -> None:
    assert sum(many_cuts(tmp_path, 200, 700, 2).values()) == 200
