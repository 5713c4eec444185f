"""What a meeting leaves in the library, and that it fails nothing."""

from __future__ import annotations

import sys
import time
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parents[1] / "board"))
sys.path.insert(0, str(Path(__file__).parent))
from fake_board import FakeBoard, MemoryStream
from steadyturn.board.link import Link
from steadyturn.cli.main import code
from steadyturn.jobs import flash as flash_job
from steadyturn.jobs.flash import flash
from steadyturn.jobs.meeting import note
from steadyturn.report import flash as report
from steadyturn.rig.examples import example_path
from steadyturn.sessions import schema
from steadyturn.sessions.library import Library
from test_flash import BANDS, MemoryBoard

RIG = example_path("lakeside-hut")


@pytest.fixture(autouse=True)
def _bands_once(monkeypatch):
    monkeypatch.setattr(flash_job, "_band", BANDS)


def contacts(folder):
    with Library(folder, readonly=True) as shelf:
        return shelf.contacts(shelf.boards()[0])


def test_a_meeting_is_a_time_anchor(tmp_path):
    board = FakeBoard()
    board.settings = b"as they are"
    before = time.time()
    assert note(Link(MemoryStream(board)), kind="watch", library=tmp_path) == ""
    met, = contacts(tmp_path)
    assert (met.kind, met.boot, met.t_ms, met.settings, met.finished, met.pages) == (
        "watch", 5, 1234, b"as they are", 1, 0)
    assert (met.first_seq, met.last_seq) == (3, 7)
    assert before <= met.host_s <= time.time()


def test_flash_leaves_the_rig_file(tmp_path):
    board = MemoryBoard()
    done = flash(RIG, port=board, confirm=lambda plan: True, library=tmp_path)
    assert (done.outcome, done.library_remark) == ("written", "")
    again = flash(RIG, port=board, confirm=lambda plan: False, library=tmp_path)
    assert again.outcome == "same"
    assert [c.kind for c in contacts(tmp_path)] == ["flash", "flash"]
    with Library(tmp_path, readonly=True) as shelf:
        assert shelf.rig_text(shelf.boards()[0]) == RIG.read_text("utf-8")
        assert shelf.outings() == []


def test_settings_that_are_not_in_force_are_no_rig(tmp_path):
    class Stubborn(MemoryBoard):
        def boot(self):
            super().boot()
            self.link.state.update(settings_ok=0)

    flash_job.IN_FORCE_S, kept = 0.0, flash_job.IN_FORCE_S
    try:
        done = flash(RIG, port=Stubborn(), confirm=lambda plan: True, library=tmp_path)
    finally:
        flash_job.IN_FORCE_S = kept
    assert done.in_force is False
    with Library(tmp_path, readonly=True) as shelf:
        assert shelf.rig_text(shelf.boards()[0]) is None
        assert len(shelf.contacts(shelf.boards()[0])) == 1


def test_what_leaves_none(tmp_path):
    for asked in ({"anchor": False}, {"dry_run": True}):
        flash(RIG, port=MemoryBoard(), confirm=lambda plan: True, library=tmp_path, **asked)
    assert not (tmp_path / schema.FILE).exists()


@pytest.mark.parametrize("spoilt", ["a folder that is a file", "a newer layout", "no library"])
def test_a_library_that_cannot_be_written_is_a_remark(tmp_path, spoilt):
    folder = tmp_path / "library"
    if spoilt == "a folder that is a file":
        folder.write_text("mine")
    elif spoilt == "no library":
        folder.mkdir()
        (folder / schema.FILE).write_bytes(b"a letter, not a library. " * 400)
    else:
        with Library(folder) as shelf:
            shelf._db.execute("PRAGMA user_version = 99")
    done = flash(RIG, port=MemoryBoard(), confirm=lambda plan: True, library=folder)
    assert done.in_force
    assert str(folder) in done.library_remark
    text = " ".join(report.text(done).split())
    assert "not in the library, so it dates no outing: " in text
    assert "in force" in text
    assert max(map(len, report.text(done).splitlines()), default=0) <= 120  # a path is one word


def test_a_silent_board_is_a_remark(tmp_path):
    class Silent(FakeBoard):
        def answer(self, line):
            return b""

    link = Link(MemoryStream(Silent()), answer_s=0.01, tries=1)
    assert "not in the library" in note(link, kind="watch", library=tmp_path)
    assert not (tmp_path / schema.FILE).exists()


def test_the_option(capsys):
    assert code(["flash", "--help"]) == 0
    assert "--library" in capsys.readouterr().out
