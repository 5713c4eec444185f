"""The command, on a board in memory: written, read back, in force; asked once; taken back; cut off
at every step; guided at a terminal; and what is never written by itself."""

from __future__ import annotations

import io
import itertools
import json
import re
import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parents[1] / "board"))
from memory_board import MemoryBoard, hut_board
from steadyturn.board import update
from steadyturn.board.stream import gone
from steadyturn.cli.main import code
from steadyturn.jobs import calibrate, calibrate_board, flash
from steadyturn.jobs.meeting import note
from steadyturn.sessions.library import Library
from steadyturn.settings import corrections, corrections_before
from steadyturn.settings.file import decode, encode
from steadyturn_fw import frames

GOOD = ["--volts", "5.02=5.035", "--volts", "9.11=9.135", "--meter", "0.1+2/20000"]
ODD = ["--volts", "5.02=5.32", "--volts", "9.11=9.66"]


@pytest.fixture(scope="module")
def flashed():
    return dict(hut_board().memory.content)


@pytest.fixture
def board(flashed, monkeypatch, tmp_path):
    made = MemoryBoard(flashed)
    made.link.now.update(known=3, bus_mv=6000, bus_ma=400)
    real = calibrate_board.connect
    monkeypatch.setattr(calibrate_board, "connect", lambda port: real(made))
    monkeypatch.setattr(flash, "IN_FORCE_S", 0.2)
    monkeypatch.setenv("STEADYTURN_LIBRARY", str(tmp_path))
    return made


def in_force(board, quantity="bus"):
    return corrections.read(decode(board.memory.content[update.SETTINGS]), quantity)


def test_written_read_back_in_force_and_taken_back(board, capsys):
    first = dict(board.memory.content)
    assert code(["calibrate", *GOOD, "--yes"]) == 0
    out = capsys.readouterr().out
    assert "The board says that this is in force" in out
    assert max(map(len, out.splitlines())) <= 80
    one = in_force(board)
    assert 1.001 < one.gain_ppm / 1e6 < 1.004
    assert one.day
    assert one.within_ppm is not None
    again = [text.replace("5.02=", "5.035=").replace("9.11=", "9.135=") for text in GOOD]
    assert code(["calibrate", *again, "--yes", "--json", "--anyway"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert found["judged"][0]["gain"] == pytest.approx(one.gain_ppm / 1e6, abs=0.002)
    assert code(["calibrate", "--undo", "--yes"]) == 0
    assert in_force(board) == one
    assert "Taken back" in capsys.readouterr().out
    assert code(["calibrate", "--undo", "--yes"]) == 0
    assert board.memory.content[update.SETTINGS] == first[update.SETTINGS]
    assert code(["calibrate", "--undo", "--yes"]) == 0
    assert "nothing to take back" in capsys.readouterr().out


def test_the_library_knows_the_rig_still(board, tmp_path):
    """The rig file that flash left for the settings before is that of the corrected ones too."""
    with calibrate_board.connect(None) as here:
        note(here.link, kind="flash", library=tmp_path, rig_text="name = 1")
    assert code(["calibrate", *GOOD, "--yes"]) == 0
    with Library(tmp_path) as shelf:
        row = shelf.boards()[0]
        assert shelf.rig_text(row) == "name = 1"
        assert [contact.kind for contact in shelf.contacts(row)] == ["flash", "watch"]


def test_show_and_alone_without_a_terminal(board, capsys):
    for more in ([], ["--show"], ["--show", "--json"]):
        assert code(["calibrate", *more]) == 0
    assert "not corrected" in capsys.readouterr().out
    assert board.memory.steps == 0


def test_without_yes_nothing_is_written(board, capsys):
    assert code(["calibrate", *GOOD]) == 2
    assert "--yes" in capsys.readouterr().err
    assert in_force(board).none


def test_what_is_not_explained_is_written_only_with_anyway(board, capsys):
    assert code(["calibrate", *ODD, "--yes"]) == 1
    out = capsys.readouterr().out
    assert "do not explain this" in out
    assert "'--anyway'" in out
    assert in_force(board).none
    assert code(["calibrate", *ODD, "--yes", "--anyway"]) == 0
    assert not in_force(board).none


@pytest.mark.parametrize(("points", "said"), [
    (["--amps", "0.1=0.2", "--amps", "0.4=0.8"], "25 mohm would fit; set is 50"),
    (["--volts", "5=5050"], "factor of 1000"),
    (["--volts", "5=4.6", "--volts", "9=8.3"], "may not hide an over-voltage"),
    (["--volts", "9=4.5"], "meter less sensor, mV"),
    (["--volts", "5=-5"], "the other way round"),
])
def test_what_may_not_be_written_never_is(board, capsys, points, said):
    assert code(["calibrate", *points, "--yes", "--anyway"]) == 1
    out = capsys.readouterr().out
    assert said in " ".join(out.split())
    if "not written" in out:  # then nothing looks as if it were
        assert "corrected" not in out
    assert in_force(board).none
    assert in_force(board, "amps").none


def test_a_sensor_that_reads_high_is_corrected_by_a_word(board, capsys):
    """What `twin --misread volts:2` shows, by a usual meter; less sure than a sheet that does not
    hold, and it says so."""
    content = board.memory.content
    content[update.SETTINGS] = encode({**decode(content[update.SETTINGS]), "coil": "larger"})
    board.boot()
    high = ["--volts", "5.10=5.00", "--volts", "9.18=9.00", "--meter", "0.5+2", "--yes"]
    assert code(["calibrate", *high]) == 1
    seen = " ".join(capsys.readouterr().out.split())
    assert "which these points contradict" in seen
    assert "a second meter says the same, '--anyway'" in seen
    assert code(["calibrate", *high, "--anyway"]) == 0
    assert in_force(board).gain_ppm == pytest.approx(980_392, abs=500)
    assert code(["calibrate", *GOOD, "--yes"]) == 0  # once written, it is not doubted again
    assert code(["calibrate", *ODD, "--yes"]) == 1
    assert code(["calibrate", "--undo", "--yes"]) == 0
    assert code(["calibrate", "--undo", "--yes"]) == 0
    assert code(["calibrate", "--volts", "9.169=8.989", "--yes"]) == 1
    assert "the meter is 0.98" in " ".join(capsys.readouterr().out.split())


def test_nothing_to_do_is_no_failure(board, talk, capsys):
    assert code(["calibrate", "--amps", "412mA=0.40", "--yes"]) == 0
    assert "Nothing is to be written" in capsys.readouterr().out
    got, seen = talk([""], [])
    assert (got, "No point was taken" in seen.out) == (0, True)


def test_a_meter_that_is_no_better_changes_nothing(board, capsys):
    assert code(["calibrate", "--volts", "5.02=5.03", "--volts", "9.11=9.13", "--yes"]) == 0
    assert "nothing to correct" in " ".join(capsys.readouterr().out.split())
    assert in_force(board).none


@pytest.mark.parametrize("wrong", [
    ["--volts", "nan=5"], ["--volts", "5"], ["--amps", "0.4=4V/0ohm"], ["--meter", "x"],
    ["--volts", "5=5A"], ["--points", "nowhere.toml"], ["--volts", "5=5", "--undo"],
    ["--volts", "5=5", "--meter-amps", "99"]])
def test_wrong_input(board, capsys, wrong):
    more = wrong if "--meter" not in wrong else ["--volts", "5=5", *wrong]
    assert code(["calibrate", *more]) == 2
    assert "Traceback" not in capsys.readouterr().err


def test_there_is_no_output_on_this_board(board, capsys):
    assert code(["calibrate", "--out-volts", "5=5.1", "--yes"]) == 1
    assert "INA3221" in capsys.readouterr().err


def test_a_second_channel_is_corrected_by_a_meter_that_is_finer_than_its_limit(board, capsys):
    content = board.memory.content
    content[update.SETTINGS] = encode({
        **decode(content[update.SETTINGS]), "chip": "ina3221", "out_shunt_uohm": 50_000,
        "out_mv": 5100, "over_out_mv": 5462})
    board.boot()
    volts = ["--out-volts", "5.096=5.104", "--yes"]
    amps = ["--out-amps", "0.001=none", "--out-amps", "0.502=0.498"]
    assert code(["calibrate", *volts, *amps]) == 0
    assert "Take a point nearer to it, or a better meter" in " ".join(
        capsys.readouterr().out.split())
    assert in_force(board, "out_bus").none
    one = in_force(board, "out_amps")  # this meter knows the gain less well than the sheet
    assert (one.gain_ppm, one.offset) == (1_000_000, -1)
    assert code(["calibrate", *volts, "--meter", "0.1+2/20000"]) == 0
    assert in_force(board, "out_bus").gain_ppm == pytest.approx(1_001_570, abs=5)
    assert in_force(board, "out_amps") == one
    assert in_force(board).none
    assert code(["calibrate", "--show"]) == 0
    assert "volts at the output" in capsys.readouterr().out


def test_a_file_of_points(board, tmp_path, capsys):
    path = tmp_path / "points.toml"
    assert code(["calibrate", "--new", str(path)]) == 0
    text = path.read_text().replace("# [[volts]]\n# board = 5.02\n# meter = 5.03",
                                    "[[volts]]\nboard = 5.02\nmeter = 5.03")
    path.write_text(text)
    assert code(["calibrate", "--points", str(path), "--yes", "--json"]) == 0
    found = json.loads(capsys.readouterr().out[len(f"{path}: fill in"):].partition("{")[2]
                       .join(["{", ""]))
    assert found["judged"][0]["why"] == "one_point"


def test_the_figures_of_readme_and_template_are_those_of_a_healthy_board(board, tmp_path, capsys):
    readme = (Path(__file__).parents[3] / "README.md").read_text("utf-8")
    line = next(one for one in readme.splitlines() if "steadyturn calibrate --volts" in one)
    assert code([*line.split()[1:], "--yes"]) == 0
    assert not in_force(board).none
    assert code(["calibrate", "--undo", "--yes"]) == 0
    path = tmp_path / "points.toml"
    path.write_text(re.sub(r"^# (?=\[\[|[a-z_]+ = )", "", calibrate.NEW.read_text("utf-8"),
                           flags=re.MULTILINE))
    assert code(["calibrate", "--points", str(path), "--yes"]) == 0
    out = capsys.readouterr().out
    assert "do not explain" not in out
    assert "contradict" not in out


def test_a_board_without_settings_or_of_another_version(board, capsys, monkeypatch):
    content = board.memory.content
    content[update.SETTINGS] = b"junk"
    board.boot()
    assert code(["calibrate", "--show"]) == 1
    assert "steadyturn flash RIG" in " ".join(capsys.readouterr().err.split())


def test_a_cut_before_any_step_leaves_old_or_new(flashed, board):
    meter, points = calibrate_given()
    new = None
    for cut in range(12):
        made = MemoryBoard(flashed, cut_at=cut)
        try:
            with calibrate_board.connect(made):
                pass
            done = calibrate_on(made, meter, points)
            new = made.memory.content[update.SETTINGS]
            assert done.in_force
            break
        except calibrate.Failed:
            made.memory.cut_at = -1
            made.boot()
            assert made.link.state["settings_ok"] == 1
            decode(made.memory.content[update.SETTINGS])
            seen = made.memory.content[update.SETTINGS]
            assert seen == flashed[update.SETTINGS] or not corrections.read(
                decode(seen), "bus").none
            # and what was left over does not mislead an undo
            settings = decode(seen)
            before = corrections_before.decode(made.memory.content.get(corrections_before.FILE))
            assert corrections_before.back(settings, before)[0] == decode(
                flashed[update.SETTINGS])
    assert new is not None
    assert cut >= 3


def calibrate_given():
    from steadyturn.jobs.calibrate_points import given

    return given({"volts": ["5.02=5.035", "9.11=9.135"]}, None, "0.1+2/20000", None)


def calibrate_on(board, meter, points):
    from steadyturn.board.connect import connect

    calibrate_board.connect, kept = lambda port: connect(board), calibrate_board.connect
    try:
        return calibrate.calibrate(None, meter, points, lambda plan: ["volts"], anchor=False)
    finally:
        calibrate_board.connect = kept


# ---- guided


class Terminal(io.StringIO):
    def isatty(self):
        return True


MEASURE = calibrate_board.measure


@pytest.fixture
def quick(monkeypatch):
    """A board in memory answers at once: what takes 2.4 s takes a tenth."""
    monkeypatch.setattr(calibrate_board, "EVERY_S", 0.002)
    monkeypatch.setattr(calibrate_board, "BLOCK_S", 0.04)


@pytest.fixture
def talk(board, quick, monkeypatch, capsys):
    """Type these lines; the board reads so many mV and mA at each point in turn."""
    def typed(lines, readings):
        left = list(readings)

        def answer(line, real=board.link.answer):
            if line == frames.ASK_NOW:
                board.link.now["t_ms"] += 20
            return real(line)

        board.link.answer = answer
        def one(at, name, tell=None):
            values = left.pop(0)
            if isinstance(values, BaseException):
                raise values
            board.link.now.update(values)
            return MEASURE(at, name, 0.2, tell)

        monkeypatch.setattr(calibrate_board, "measure", one)
        monkeypatch.setattr("sys.stdin", Terminal("".join(f"{line}\n" for line in lines)))
        got = code(["calibrate", "--meter", "0.1+2/20000"])
        return got, capsys.readouterr()

    return typed


def test_guided_from_lead_to_yes(board, talk):
    got, seen = talk(
        ["v", "", "5,035", "", "hello", "9135mV", "d", "a", "", "none", "d", "", "y"],
        [{"bus_mv": 5020}, {"bus_mv": 9110}, {"bus_ma": 0}])
    assert got == 0, seen
    assert not in_force(board).none
    assert "red lead" in seen.err
    assert "Not that" in seen.err
    assert "in series" in " ".join(seen.err.split())
    amps = in_force(board, "amps")  # 0 with nothing connected: nothing to change, but known now
    assert (amps.gain_ppm, amps.offset) == (1_000_000, 0)
    assert amps.within_micro < 1000


def test_doubt_asks_for_the_word_yes(board, talk):
    points = [{"bus_mv": 5020}, {"bus_mv": 9110}]
    for word, stored in (("y", False), ("yes", True)):
        got, seen = talk(["v", "", "5.2", "", "9.44", "d", "", word], points)
        assert in_force(board).none is not stored, seen
        assert (got == 0) is stored
        assert seen.out.count("do not explain this") == 1


def test_an_answer_no_writes_nothing(board, talk):
    got, seen = talk(["v", "", "5.035", "", "9.135", "d", "", "n"],
                     [{"bus_mv": 5020}, {"bus_mv": 9110}])
    assert got == 1
    assert "Nothing was written" in seen.out
    assert in_force(board).none


def test_unplugged_or_interrupted_half_way_nothing_is_lost(board, talk):
    for end in (gone("memory"), KeyboardInterrupt()):
        got, seen = talk(["v", "", "5.07", ""], [{"bus_mv": 5020}, end])
        assert got != 0
        assert "--volts 5.0200=5.07" in seen.err
        assert in_force(board).none


def test_a_reading_that_wanders_is_said(board, quick):
    swing = itertools.cycle([5000] * 15 + [5400] * 15)
    board.link.now["t_ms"] = 0

    def answer(line, real=board.link.answer):
        if line == frames.ASK_NOW:
            board.link.now["t_ms"] += 20
            board.link.now["bus_mv"] = next(swing)
        return real(line)

    board.link.answer = answer
    with calibrate_board.reach(None) as at:
        mean = calibrate_board.measure(at, "volts", 0.3)
    assert not mean.steady
    assert mean.wandered > 0.03
    assert mean.amps == pytest.approx(0.4)


def test_a_sensor_that_is_lost_or_at_its_end_is_said(board):
    for known, said in ((0, "does not get"), (3 | frames.NOW_END, "end of its range")):
        board.link.now.update(known=known, t_ms=known)
        with calibrate_board.reach(None) as at, pytest.raises(calibrate.Failed, match=said):
            calibrate_board.measure(at, "volts", 0.2)


def test_settings_that_another_program_wrote_meanwhile_stay(board, monkeypatch):
    meter, points = calibrate_given()
    other = encode({**decode(board.memory.content[update.SETTINGS]), "dwell_ms": 707})

    def choose(plan):
        board.memory.content[update.SETTINGS] = other
        return ["volts"]

    with pytest.raises(calibrate.Failed, match="no longer those"):
        calibrate.calibrate(None, meter, points, choose, anchor=False)
    assert board.memory.content[update.SETTINGS] == other
