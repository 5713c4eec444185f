"""Flashing a board that has corrections of its readings: they stay, or it is said why not."""

from __future__ import annotations

import json
import sys
import zlib
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parents[1] / "board"))
from memory_board import MemoryBoard
from steadyturn.board import update
from steadyturn.jobs import flash as job
from steadyturn.jobs.calibrate import undo
from steadyturn.model.band import find_band
from steadyturn.report import flash as report
from steadyturn.rig.examples import example_path
from steadyturn.rig.file import read_rig
from steadyturn.settings.corrections import NONE, Correction, put, read
from steadyturn.settings.file import decode, encode

HUT = example_path("lakeside-hut")
VOLTS = Correction(1_010_000, -12, "2026-11-28", 8000, 5000)
AMPS = Correction(985_000, -4, "2026-11-28", 14_000, 600)


@pytest.fixture(scope="module")
def band():
    return find_band(read_rig(HUT), deep=False)


@pytest.fixture(autouse=True)
def _one_band(band, monkeypatch):
    """A band takes half a second to find; name and shunt do not move it."""
    monkeypatch.setattr(job, "_band", lambda rig, path: band)


@pytest.fixture(scope="module")
def flashed():
    board = MemoryBoard()
    job.flash(HUT, port=board, confirm=lambda plan: True)
    return dict(board.memory.content)


@pytest.fixture
def board(flashed):
    made = dict(flashed)
    settings = decode(made[update.SETTINGS])
    made[update.SETTINGS] = encode(put(put(settings, "bus", VOLTS), "amps", AMPS))
    return MemoryBoard(made)


def settings_of(board):
    return decode(board.memory.content[update.SETTINGS])


def changed(tmp_path, *edits):
    text = HUT.read_text()
    for old, new in edits:
        assert old in text
        text = text.replace(old, new)
    path = tmp_path / "hut.toml"
    path.write_text(text)
    return path


def test_an_up_to_date_board_with_corrections_is_up_to_date(board):
    before = dict(board.memory.content)
    done = job.flash(HUT, port=board, confirm=lambda plan: pytest.fail("asked"))
    assert (done.outcome, done.in_force) == ("same", True)
    assert board.memory.content == before
    assert "\nCorrection of 28 Nov 2026 kept: volts and current.\n" in report.text(done)


def test_they_stay_and_it_is_said(board, tmp_path):
    asked = []
    path = changed(tmp_path, ('name = "Lakeside hut"', 'name = "Lakeside barn"'))
    job.flash(path, port=board, confirm=lambda plan: asked.append(plan) or True)
    assert settings_of(board)["rig"] == "Lakeside barn"
    assert (read(settings_of(board), "bus"), read(settings_of(board), "amps")) == (VOLTS, AMPS)
    assert "readings  correction of 28 Nov 2026 kept: volts and current" in report.plan_text(
        asked[0])
    assert [c.name for c in asked[0].settings_changed] == ["rig"]


def test_another_shunt_drops_that_of_the_current(board, tmp_path):
    asked = []
    text = HUT.read_text()
    key = next(line for line in text.splitlines() if line.startswith("shunt_mohm"))
    path = changed(tmp_path, (key, "shunt_mohm = 80"))
    job.flash(path, port=board, confirm=lambda plan: asked.append(plan) or True)
    assert (read(settings_of(board), "bus"), read(settings_of(board), "amps")) == (VOLTS, NONE)
    page = " ".join(report.plan_text(asked[0]).split())
    assert "kept: volts" in page
    assert "correction of current dropped: it was another shunt's" in page
    # with the old shunt back an undo finds it
    job.flash(HUT, port=board, confirm=lambda plan: True)
    assert read(settings_of(board), "amps") == NONE
    undo(board, lambda plan: True, anchor=False)
    assert (read(settings_of(board), "bus"), read(settings_of(board), "amps")) == (VOLTS, AMPS)


def test_broken_settings_have_them_in_those_from_before(board):
    content = board.memory.content
    content[update.KEPT], content[update.SETTINGS] = content[update.SETTINGS], b"junk"
    job.flash(HUT, port=board, confirm=lambda plan: True)
    assert read(settings_of(board), "bus") == VOLTS


def test_an_older_version_keeps_them_too(board):
    old = {**settings_of(board), "version": 2}
    line = json.dumps(old).encode()
    board.memory.content[update.SETTINGS] = (
        b'{"crc": "%08x", "settings":\n%s\n}\n' % (zlib.crc32(line), line))
    job.flash(HUT, port=board, confirm=lambda plan: True)
    assert read(settings_of(board), "amps") == AMPS
