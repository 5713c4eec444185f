"""Two pulls at once: one waits or says so, and nothing is lost or doubled."""

from __future__ import annotations

import subprocess
import sys
import threading

import pytest
from steadyturn.board import stream
from steadyturn.board.link import Link
from steadyturn.cli.main import code
from steadyturn.jobs import pull as job
from steadyturn.sessions.library import Library
from test_pull import FakeBoard, JournalBoard, MemoryStream, PtyBoard

HOLD = """
import sys, time
from steadyturn.board.stream import SerialStream
held = SerialStream(sys.argv[1])
print("held", flush=True)
time.sleep(30)
"""


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="reads /proc")
def test_the_second_on_a_port_is_told_which_program_has_it(tmp_path, capsys, monkeypatch):
    monkeypatch.setattr(stream, "LET_GO_S", 0.1)
    with PtyBoard(FakeBoard()) as board:
        words = ["pull", "--port", board.port, "--library", str(tmp_path)]
        with subprocess.Popen([sys.executable, "-c", HOLD, board.port],
                              stdout=subprocess.PIPE) as other:
            assert other.stdout is not None
            try:
                assert other.stdout.readline() == b"held\n"
                assert code(words) == 1
            finally:
                other.kill()
        said = " ".join(capsys.readouterr().err.split())
        assert "another program has this port: python" in said
        assert f"(process {other.pid})" in said
        assert "Close it and try again." in said
        assert code(words) == 0


def test_two_boards_into_one_library(tmp_path):
    boards = [JournalBoard(150), JournalBoard(130)]
    boards[1].name = bytes(8)
    done = {}

    def run(number):
        with Library(tmp_path) as shelf:
            done[number] = job.pull_from(
                Link(MemoryStream(boards[number]), answer_s=1.0), shelf)

    threads = [threading.Thread(target=run, args=(n,)) for n in (0, 1)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(30)
    assert [done[n].pages_new for n in (0, 1)] == [151, 131]
    with Library(tmp_path, readonly=True) as shelf:
        rows = {row.unique_id: row for row in shelf.boards()}
        for board in boards:
            assert shelf.pages(rows[board.name.hex()]) == b"".join(board.pages.values())


def test_two_of_one_board_when_the_first_has_begun(tmp_path):
    """The second finds some pages stored under its hands; what it reads back is the same."""
    board = JournalBoard(90)
    board.open_samples = 0
    second = []

    def progress(done, total, came):
        if came == 50:
            with Library(tmp_path) as shelf:
                second.append(job.pull_from(Link(MemoryStream(board)), shelf))

    with Library(tmp_path) as shelf:
        first = job.pull_from(Link(MemoryStream(board)), shelf, progress=progress, free=True)
        assert shelf.pages(shelf.boards()[0]) == b"".join(board.pages.values())
    assert first.pages_new + second[0].pages_new == 90
    assert first.verified_to == 90
