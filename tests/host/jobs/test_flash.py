"""Flashing, on a board in memory: one difference, one question, what is in force after,
and a power cut before every step. On the real interpreter: test_flash_twin.py."""

from __future__ import annotations

import functools
import json
import re
import sys
import zlib
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parents[1] / "board"))
from memory_board import MemoryBoard
from steadyturn.board import update
from steadyturn.board.link import settings_line
from steadyturn.cli.main import code
from steadyturn.errors import Failed, WrongInput
from steadyturn.jobs import flash as job
from steadyturn.model.band import find_band
from steadyturn.model.remedies import Remedy
from steadyturn.report import flash as report
from steadyturn.rig.examples import example_names, example_path
from steadyturn.rig.file import read_rig
from steadyturn.settings.file import decode, encode


def _sorted_rigs():
    """Example rigs by what they are for: good, without a band, dangerous."""
    found: dict[str, list[Path]] = {"good": [], "none": [], "danger": []}
    for name in example_names():
        path = example_path(name)
        rig = read_rig(path)
        band = find_band(rig, deep=False)
        hazards = job.hazards_of(rig, band)
        kind = "none" if not band.feasible else \
            "danger" if any(h.refuses for h in hazards) else "good"
        found[kind].append(path)
    return found


RIGS = _sorted_rigs()
BANDS = functools.cache(job._band)
GOOD = RIGS["good"][0]


@pytest.fixture(autouse=True)
def _bands_once(monkeypatch):
    """A rig's band is worked out once for all tests here; it is not what they test."""
    monkeypatch.setattr(job, "_band", BANDS)


def yes(plan):
    return True


def never(plan):
    raise AssertionError("asked although nothing differs")


def test_a_fresh_board_then_no_difference_then_one_setting():
    board = MemoryBoard()
    first = job.flash(GOOD, port=board, confirm=yes)
    assert (first.outcome, first.in_force, first.firmware_before) == ("written", True, None)
    assert first.firmware_after == update.firmware_version()
    assert first.settings_problem == "none on the board"
    assert {c.kind for c in first.files_changed} == {"new"}
    assert first.crc == first.crc_in_force
    assert first.crc == f"{zlib.crc32(settings_line(board.link.settings)):08x}"

    steps = board.memory.steps
    second = job.flash(GOOD, port=board, confirm=never)
    assert (second.outcome, second.in_force, second.different) == ("same", True, False)
    assert second.firmware_before == second.firmware_after
    assert board.memory.steps == steps  # nothing was written

    settings = decode(board.memory.content[update.SETTINGS])
    settings["dwell_ms"] += 7
    board.memory.content[update.SETTINGS] = encode(settings)
    asked = []
    third = job.flash(GOOD, port=board, confirm=lambda plan: asked.append(plan) or True)
    change = job.SettingChange("dwell_ms", settings["dwell_ms"], settings["dwell_ms"] - 7)
    assert third.settings_changed == (change,)
    assert third.files_changed == ()
    assert len(asked) == 1
    page = report.plan_text(asked[0])
    assert all(figure.isdigit() for figure in re.findall(r"turn at (\S+) to (\S+) .*best (\S+)",
                                                         page)[0])
    assert "1 changed" in page
    assert "dwell_ms" in page


def test_no_and_dry_run_change_nothing_and_leave_it_running():
    board = MemoryBoard()
    done = job.flash(GOOD, port=board, confirm=lambda plan: False)
    assert (done.outcome, done.in_force) == ("declined", None)
    done = job.flash(GOOD, port=board, confirm=never, dry_run=True)
    assert done.outcome == "dry_run"
    assert done.different
    assert board.memory.content == {}
    assert board.memory.restarts == 2


@pytest.mark.parametrize("told", ["at all", "before"])
def test_a_failure_while_writing_says_what_runs_until_then(told, monkeypatch):
    board = MemoryBoard()
    if told == "before":
        job.flash(GOOD, port=board, confirm=yes)
        path = next(p for p in board.memory.content if p.endswith(("fields.py", "fields.mpy")))
        board.memory.content[path] = b"other"

    def full(path, data):
        raise Failed(f"{path}: the board's flash is full.", "Pull the journal.")

    monkeypatch.setattr(board.memory, "write", full)
    with pytest.raises(Failed, match="flash is full") as caught:
        job.flash(GOOD, port=board, confirm=yes)
    assert "Pull the journal. Then flash again; until then" in caught.value.how
    assert ("runs what it had before" in caught.value.how) == (told == "before")


def test_a_board_that_does_not_start_after_it_is_told(monkeypatch):
    board = MemoryBoard()
    monkeypatch.setattr(job, "START_S", 0.1)
    board.link.answer = lambda line: b""
    with pytest.raises(Failed, match="written and read back, but since its start") as caught:
        job.flash(GOOD, port=board, confirm=yes)
    assert "steadyturn watch" in caught.value.how


def test_progress_ends_at_its_total():
    seen = []
    job.flash(GOOD, port=MemoryBoard(), confirm=yes, progress=lambda *step: seen.append(step))
    assert seen[-1][0] == seen[-1][1] > 10_000
    assert [s[0] for s in seen] == sorted(s[0] for s in seen)


def test_a_power_cut_before_any_step_leaves_old_or_new_settings_in_force():
    board = MemoryBoard()
    job.flash(GOOD, port=board, confirm=yes)
    good = dict(board.memory.content)
    settings = decode(good[update.SETTINGS])
    settings["dwell_ms"] += 7
    before = {**good, update.SETTINGS: encode(settings), "/lib/steadyturn_fw/pages.py": b"old"}
    crcs = {zlib.crc32(settings_line(before[update.SETTINGS])),
            zlib.crc32(settings_line(good[update.SETTINGS]))}
    seen = set()
    whole = MemoryBoard(before)
    job.flash(GOOD, port=whole, confirm=yes)
    last = whole.memory.steps
    for cut in (0, 1, 5, *range(last - 8, last)):
        board = MemoryBoard(before, cut_at=cut)
        try:
            job.flash(GOOD, port=board, confirm=yes)
        except Failed:
            board.boot()
            assert board.link.state["settings_ok"], cut
        seen.add(board.link.state["settings_crc"])
        assert seen <= crcs
        board.memory.cut_at = -1
        assert job.flash(GOOD, port=board, confirm=yes).in_force
        found = board.memory.content
        assert {p: d for p, d in found.items() if p in good} == good
    assert seen == crcs


@pytest.mark.parametrize(
    "junk", [b"", b"{}", b"\x00\xff" * 700, b'{"crc": "00000000", "settings":\n']
)
def test_settings_that_are_not_valid_are_replaced_and_said_so(junk):
    board = MemoryBoard({update.SETTINGS: junk})
    done = job.flash(GOOD, port=board, confirm=yes)
    assert done.in_force
    assert done.settings_problem.startswith("not valid")
    assert all(c.before is None for c in done.settings_changed)


def test_settings_of_an_older_version_are_shown_beside_the_new_ones():
    board = MemoryBoard()
    job.flash(GOOD, port=board, confirm=yes)
    old = {**decode(board.memory.content[update.SETTINGS]), "version": 2, "target_dtpm": 601}
    del old["watchdog"]
    line = json.dumps(old).encode()
    board.memory.content[update.SETTINGS] = (
        b'{"crc": "%08x", "settings":\n%s\n}\n' % (zlib.crc32(line), line))
    asked = []
    assert job.flash(GOOD, port=board, confirm=lambda plan: asked.append(plan) or True).in_force
    changed = {c.name: c.before for c in asked[0].settings_changed}
    assert changed["target_dtpm"] == 601
    assert changed["watchdog"] is None
    page = report.plan_text(asked[0])
    assert "of version 2 on the board, 3 is needed" in page
    assert max(map(len, page.splitlines())) <= 80


def test_a_board_that_took_the_previous_settings_is_told(monkeypatch):
    monkeypatch.setattr(job, "IN_FORCE_S", 0.2)
    board = MemoryBoard()
    board.boot = lambda: board.link.state.update(settings_ok=2, settings_crc=77, fault=1)
    done = job.flash(GOOD, port=board, confirm=yes)
    assert (done.in_force, done.previous_in_force) == (False, True)
    assert "those from before" in " ".join(report.text(done).split())


def test_a_board_that_runs_other_settings_is_told_apart(monkeypatch):
    monkeypatch.setattr(job, "IN_FORCE_S", 0.2)
    board = MemoryBoard()
    board.boot = lambda: board.link.state.update(settings_ok=1, settings_crc=77, fault=3)
    done = job.flash(GOOD, port=board, confirm=yes)
    assert done.in_force is False
    assert done.crc_in_force == "0000004d"
    assert "NOT" in report.text(done)
    assert "too many volts" in report.text(done)


def test_a_board_that_lies_about_its_crc_is_not_believed():
    board = MemoryBoard()
    good = board.boot
    board.boot = lambda: good() or setattr(board.link, "settings", b"{}")
    assert job.flash(GOOD, port=board, confirm=yes).in_force is False


def test_a_rig_without_a_band_is_refused_before_the_board_is_touched(monkeypatch):
    # the search itself takes seconds and has its own tests
    found = (Remedy("one motor more in parallel", 44.4, 58.8, ()),)
    monkeypatch.setattr(job, "remedies", lambda rig: found)
    with pytest.raises(Failed, match="No pace works") as caught:
        job.flash(RIGS["none"][0], port=None, confirm=never)
    assert "Two limits clash, 'starting' and 'comfort, fast end'" in str(caught.value)
    assert "one motor more in parallel (44 to 59 turns/min)" in str(caught.value)
    assert "steadyturn pace" in str(caught.value)


def test_a_dangerous_rig_shows_its_hazards():
    asked = []
    job.flash(RIGS["danger"][0], port=MemoryBoard(), confirm=asked.append)
    assert asked[0].dangerous
    page = report.plan_text(asked[0])
    assert "DANGER" in page
    assert max(map(len, page.splitlines())) <= 80


def test_a_wrong_rig_file(tmp_path):
    (tmp_path / "a.toml").write_text("[motor]\n")
    with pytest.raises(WrongInput):
        job.flash(tmp_path / "a.toml", port=MemoryBoard(), confirm=yes)


# ---- the command


@pytest.fixture
def here(monkeypatch):
    """The command's board is this one."""
    board = MemoryBoard()
    real = job.connect
    monkeypatch.setattr(job, "connect", lambda port: real(board))
    return board


def test_the_command_writes_reports_and_is_idempotent(here, capsys):
    assert code(["flash", str(GOOD), "--yes"]) == 0
    seen = capsys.readouterr()
    out = seen.out
    assert seen.err.startswith("stopping the program of the board")
    assert "new" in out
    assert re.search(r"  to write  [\d.]+ kB in all", out)
    assert "are in force" in out
    assert "\nnext: steadyturn watch" in out
    assert max(map(len, out.splitlines())) <= 80
    assert code(["flash", str(GOOD), "--yes", "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert found["outcome"] == "same"
    assert found["in_force"] is True
    assert {"rig", "port", "firmware_before", "firmware_after", "files_changed",
            "settings_changed", "crc"} <= set(found)


def test_it_asks_for_yes_where_it_cannot_ask(here, capsys):
    assert code(["flash", str(GOOD)]) == 2
    assert "--dry-run" in capsys.readouterr().err
    assert code(["flash", str(GOOD), "--dry-run"]) == 0
    assert "nothing was changed" in capsys.readouterr().out
    assert here.memory.content == {}
    assert code(["flash", str(GOOD), "--yes"]) == 0
    assert code(["flash", str(GOOD)]) == 0  # nothing to ask: it is up to date


def test_yes_is_not_enough_for_a_dangerous_rig(here, capsys):
    danger = str(RIGS["danger"][0])
    assert code(["flash", danger, "--yes"]) == 1
    assert "DANGER" in (seen := capsys.readouterr()).out
    assert "--despite-danger" in seen.err
    assert here.memory.content == {}
    assert code(["flash", danger, "--despite-danger"]) == 0
    assert update.SETTINGS in here.memory.content
    capsys.readouterr()
    # up to date, and dangerous all the same: said first, and not a success
    assert code(["flash", danger, "--yes"]) == 1
    assert capsys.readouterr().out.startswith("DANGER")
    assert code(["flash", danger, "--despite-danger"]) == 0


@pytest.mark.parametrize(
    ("rig", "typed", "result"), [("good", "n\n", 1), ("good", "\n", 0), ("danger", "y\n", 1),
                                 ("danger", "yes\n", 0)])
def test_at_a_terminal_it_asks_once(here, monkeypatch, capsys, rig, typed, result):
    import io

    class Terminal(io.StringIO):
        def isatty(self):
            return True

    monkeypatch.setattr("sys.stdin", Terminal(typed))
    assert code(["flash", str(RIGS[rig][0])]) == result
    out = capsys.readouterr().out
    assert ("nothing was changed" in out.lower()) is (result == 1)
