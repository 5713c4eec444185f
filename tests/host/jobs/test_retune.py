"""Another motor for a rig that stands: the file, the board in memory, and the way back. On the
real interpreter: test_retune_twin.py."""

from __future__ import annotations

import functools
import json
import re
import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parents[1] / "board"))
from memory_board import MemoryBoard
from steadyturn.board import update
from steadyturn.cli.main import code
from steadyturn.errors import Failed, WrongInput
from steadyturn.jobs import flash as flash_job
from steadyturn.jobs import kept_file
from steadyturn.jobs import retune as job
from steadyturn.jobs import retune_compare as comparing
from steadyturn.jobs.flash import flash
from steadyturn.jobs.retune import Way, retune
from steadyturn.jobs.retune_compare import compare
from steadyturn.jobs.retune_restore import restore
from steadyturn.model.band import find_band
from steadyturn.model.gears import ratio
from steadyturn.model.remedies import Remedy
from steadyturn.rig.examples import example_path
from steadyturn.rig.file import read_rig
from steadyturn.sessions.library import Library
from steadyturn.settings.file import decode, encode

HUT = example_path("lakeside-hut").read_text(encoding="utf-8")
NEW = {"motor": "7xx can, 12 V", "gear_ratio": "20"}
BANDS = functools.cache(find_band)
BUILDS = functools.cache(functools.partial(comparing.weigh, builds=64))
HELPS = (Remedy("one motor more in series", 50.0, 90.0, ()),)  # of the model: tests/host/model


@functools.cache
def _compared(old, new):
    return compare(old, new, BANDS(new, deep=False))


@pytest.fixture(autouse=True)
def _worked_out_once(monkeypatch):
    monkeypatch.setattr(job, "find_band", BANDS)
    monkeypatch.setattr(job, "compare", lambda old, new, band: _compared(old, new))
    monkeypatch.setattr(job, "candidates", list)
    monkeypatch.setattr(comparing, "remedies", lambda rig: HELPS)
    monkeypatch.setattr(comparing, "find_band", BANDS)
    monkeypatch.setattr(comparing, "weigh", BUILDS)
    monkeypatch.setattr(flash_job, "find_band", BANDS)


@pytest.fixture
def hut(tmp_path):
    path = tmp_path / "my.toml"
    path.write_text(HUT, encoding="utf-8")
    return path


def yes(plan):
    return True


def test_the_rig_file_alone_where_no_board_is_there_and_back(hut):
    seen = []
    done = retune(hut, Way(confirm=lambda plan: not seen.append(plan)), **NEW)
    assert (done.outcome, done.board_absent, done.flashed) == ("prepared", True, None)
    (plan,) = seen
    assert [(s.what, s.after) for s in plan.swaps] == [
        ("motor", "7xx can, 12 V"), ("gear ratio", "20")]
    both = plan.compared
    assert both.before.high_tpm == pytest.approx(90.0, abs=0.01)
    assert (both.after.low_tpm, both.after.width_tpm) == (
        pytest.approx(68.8, abs=0.1), pytest.approx(21.2, abs=0.1))
    assert both.after.open_circuit_v == pytest.approx(20.5125 * 20 / 25, rel=1e-4)
    assert both.remedies == HELPS  # the new band has not 0.6 of the old one's width
    assert {"pinion and mount", "gear train", "the motor's constants"} <= {
        m.what for m in both.musts}
    assert both.settings_after["low_dtpm"] == 688
    new = read_rig(hut)
    assert (new.motor.name, new.motor.emf_v_s) == ("7xx can, 12 V", None)
    assert new.origins["motor.terminal_ohm"].kind == "assumed"
    assert new.origins["stage[1].efficiency"].kind == "measured"
    assert Path(done.kept).read_text() == HUT

    back = restore(hut, Way(confirm=yes))
    assert (back.outcome, back.came_from) == ("prepared", done.kept)
    assert hut.read_text() == HUT
    restore(hut, Way(confirm=yes), forward=True)  # to and fro
    assert read_rig(hut) == new


def test_every_file_from_before_is_kept_and_gone_through_in_order(hut, capsys):
    said = []
    for step in (["--ratio", "26"], ["--ratio", "24"], ["--restore"], ["--restore"],
                 ["--restore"], ["--forward"], ["--ratio", "24.5"], ["--restore"], ["--restore"]):
        said.append((code(["retune", str(hut), *step, "--prepare", "--yes"]),
                     round(ratio(read_rig(hut).stages), 2)))
    assert said == [(0, 26), (0, 24), (0, 26), (0, 25), (1, 25), (0, 26), (0, 24.5), (0, 26),
                    (0, 24)]
    told = capsys.readouterr()
    assert "No board was asked" in told.out
    assert "No board is connected" not in told.out
    assert "as it was with that machine: gear train" in told.out
    assert "is the first one already" in told.err
    texts = [one.read_text() for one in kept_file.history(hut)]
    assert len(set(texts)) == len(texts) == 4
    assert HUT in texts


def test_the_board_gets_its_settings_and_gets_the_old_ones_back(hut, tmp_path):
    board, library = MemoryBoard(), tmp_path / "library"
    flash(hut, port=board, confirm=yes, library=library)
    corrected = decode(board.memory.content[update.SETTINGS]) | {"bus_gain_ppm": 1_008_000}
    before = board.memory.content[update.SETTINGS] = encode(corrected)
    board.boot()
    done = retune(hut, Way(confirm=yes, port=board, library=library), **NEW)
    assert (done.outcome, done.flashed.in_force) == ("written", True)
    assert decode(board.link.settings)["low_dtpm"] == 688
    assert decode(board.link.settings)["bus_gain_ppm"] == 1_008_000  # the sensor is the same
    assert board.memory.content[update.KEPT] == before or update.KEPT not in board.memory.content
    with Library(library, readonly=True) as shelf:
        assert shelf.rig_texts() == [hut.read_text(), HUT]
    Path(done.kept).unlink()  # the library has it too
    back = restore(hut, Way(confirm=yes, port=board, library=library))
    assert (back.outcome, back.came_from) == ("written", "the library")
    assert board.link.settings == before
    assert hut.read_text() == HUT


def test_a_file_that_is_gone_or_broken_comes_back_too(hut):
    retune(hut, Way(confirm=yes), **NEW)
    for spoil in (hut.unlink, lambda: hut.write_text("[motor\n")):
        spoil()
        done = restore(hut, Way(confirm=yes))
        assert done.compared is None
        assert hut.read_text() == HUT
        kept_file.beside(hut).write_text(HUT)


def test_the_same_change_made_again_goes_back_to_the_same(hut):
    second = HUT + "# second\n"
    for _ in range(3):
        kept_file.put(hut, second, HUT)
        (back,) = kept_file.steps(hut, second)
        assert back.read_text() == HUT
        kept_file.put(hut, HUT, second, walking=True)
        (again,) = kept_file.steps(hut, HUT, forward=True)
        assert again.read_text() == second


def test_a_link_to_a_rig_file_stays_one(hut, tmp_path):
    (tmp_path / "elsewhere").mkdir()
    link = tmp_path / "elsewhere" / "link.toml"
    link.symlink_to(hut)
    kept = kept_file.put(link, HUT + "# new\n", HUT)
    assert link.is_symlink()
    assert (hut.read_text(), kept) == (HUT + "# new\n", kept_file.beside(hut))
    assert [one.read_text() for one in kept_file.steps(link, HUT + "# new\n")] == [HUT]


def test_nothing_to_go_back_to(hut, tmp_path):
    with pytest.raises(Failed, match=r"no my\.toml\.before"):
        restore(hut, Way(confirm=yes, library=tmp_path / "none"))


def test_no_changes_nothing(hut):
    for way in (Way(confirm=lambda plan: False), Way(confirm=lambda plan: False,
                                                     port=MemoryBoard())):
        done = retune(hut, way, **NEW)
        assert done.outcome == "declined"
        assert hut.read_text() == HUT
        assert not kept_file.beside(hut).exists()
    assert update.SETTINGS not in way.port.memory.content


def test_a_board_that_fails_midway_says_how_both_are_left(hut):
    board = MemoryBoard(cut_at=3)
    with pytest.raises(Failed) as caught:
        retune(hut, Way(confirm=yes, port=board), **NEW)
    assert f"'steadyturn flash {hut}' ends it" in caught.value.how
    assert "--restore" in caught.value.how
    assert read_rig(hut).motor.name == "7xx can, 12 V"


def test_a_power_cut_before_any_step_leaves_one_of_the_two_in_force(hut):
    """Every step on the chip: test_retune_twin.py."""
    board = MemoryBoard()
    flash(hut, port=board, confirm=yes, anchor=False)
    good, left = dict(board.memory.content), []
    for cut in range(200):
        hut.write_text(HUT, encoding="utf-8")
        board = MemoryBoard(good, cut_at=cut)
        way = Way(confirm=yes, port=board, library=hut.parent / "library")
        try:
            retune(hut, way, **NEW)
        except Failed:
            board.boot()
        assert board.link.state["settings_ok"], cut
        left.append(decode(board.link.settings)["low_dtpm"])
        if left[-1] == 688:
            break
        board.memory.cut_at = -1
        if cut == 1:  # either command ends it
            restore(hut, way)
            assert decode(board.link.settings)["low_dtpm"] == 500
        elif cut == 2:
            flash(hut, port=board, confirm=yes, anchor=False)
            assert decode(board.link.settings)["low_dtpm"] == 688
    assert set(left[:-1]) == {500}
    assert len(left) > 3


def test_ctrl_c_at_the_question_and_while_the_board_is_written(hut):
    def stop(*_):
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        retune(hut, Way(confirm=stop, port=MemoryBoard()), **NEW)
    assert hut.read_text() == HUT
    with pytest.raises(Failed, match="Stopped by you"):
        retune(hut, Way(confirm=yes, port=MemoryBoard(), progress=stop), **NEW)
    assert read_rig(hut).motor.name == "7xx can, 12 V"


def test_a_file_that_changed_meanwhile_is_left_alone(hut):
    def meanwhile(plan):
        hut.write_text(HUT + "# mine\n")
        return True

    board = MemoryBoard()
    with pytest.raises(Failed, match="changed by another program"):
        retune(hut, Way(confirm=meanwhile, port=board), **NEW)
    assert hut.read_text() == HUT + "# mine\n"
    assert update.SETTINGS not in board.memory.content


def test_what_may_only_be_read_is_refused_before_any_question(hut):
    hut.chmod(0o444)
    with pytest.raises(WrongInput, match="may only be read"):
        retune(hut, Way(confirm=lambda plan: pytest.fail("asked")), **NEW)
    assert retune(hut, Way(confirm=yes, dry_run=True), **NEW).outcome == "dry_run"
    with pytest.raises(WrongInput, match="ships with the program"):
        retune(example_path("lakeside-hut"), Way(confirm=yes), **NEW)


@pytest.mark.parametrize("stop", range(2))
def test_stopped_at_any_write_the_file_is_whole_and_the_others_are_kept(hut, monkeypatch, stop):
    """Before the copy, and between copy and file."""
    second, third = HUT + "# second\n", HUT + "# third\n"
    kept_file.put(hut, second, HUT)
    real, count = kept_file.write_whole, [0]

    def write(*args, **more):
        if count[0] == stop:
            raise KeyboardInterrupt
        count[0] += 1
        real(*args, **more)

    with monkeypatch.context() as patch:
        patch.setattr(kept_file, "write_whole", write)
        with pytest.raises(KeyboardInterrupt):
            kept_file.put(hut, third, second)
    assert hut.read_text() == second
    assert [one.read_text() for one in kept_file.steps(hut, second)] == [HUT]
    kept_file.put(hut, third, second)
    assert [one.read_text() for one in kept_file.steps(hut, third)] == [second, HUT]


def test_a_machine_that_can_harm_asks_for_more_than_yes(hut, capsys, monkeypatch):
    board = MemoryBoard()
    monkeypatch.setattr(job, "connect", lambda port: _reached(board))
    args = ["retune", str(hut), "--ratio", "60", "--port", "x", "--library", str(hut.parent)]
    assert code([*args, "--yes"]) == 1
    told = capsys.readouterr()
    assert "NEW  " in told.out
    assert "can harm what is connected" in told.err
    assert (hut.read_text(), update.SETTINGS in board.memory.content) == (HUT, False)
    assert code([*args[:-4], "--prepare", "--yes"]) == 1  # the file alone, by the same rule
    assert "next:" not in capsys.readouterr().out
    assert hut.read_text() == HUT
    assert code([*args[:-4], "--prepare", "--despite-danger"]) == 0
    told = capsys.readouterr().out
    assert f"next: steadyturn check {hut}" in told
    assert "steadyturn flash" not in told
    assert code(["retune", str(hut), "--ratio", "62", "--prepare", "--despite-danger"]) == 0
    assert re.search(r"already before: [0-9.]+ V, now [0-9.]+ V", capsys.readouterr().out)
    assert code([*args, "--despite-danger"]) == 0
    assert update.SETTINGS in board.memory.content


def _reached(board):
    from steadyturn.board.connect import connect

    return connect(board)


def test_the_command_prints_for_people_and_programs(hut, capsys):
    args = ["retune", str(hut), "--motor", NEW["motor"], "--ratio", "20"]
    assert code([*args, "--dry-run"]) == 0
    text = capsys.readouterr().out
    assert all(len(line) <= 80 for line in text.splitlines() if str(hut.parent) not in line)
    assert "50-69-90" in text
    assert "69-72-90" in text
    assert "not for yours: volts per turn, ohms" in " ".join(text.split())
    assert code([*args, "--dry-run", "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert found["compared"]["after"]["arm_w_per_w"] == pytest.approx(4.26, abs=0.01)
    assert code(args) == 2  # no question can be asked here
    assert "--yes" in capsys.readouterr().err
    assert code([*args, "--motor", "x"]) == 2
    assert code(["retune", str(hut), "--ratio", "6"]) == 1
    assert "NO PACE WORKS" in capsys.readouterr().out
    assert hut.read_text() == HUT
