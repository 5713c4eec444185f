"""steadyturn watch as a command: its three forms, what it writes down, every way it ends."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parents[1] / "board"))
sys.path.insert(0, str(Path(__file__).parents[1] / "report"))
from fake_board import FakeBoard, PtyBoard
from steadyturn.board.ports import Port
from steadyturn.board.stream import SerialStream
from steadyturn.cli.main import code
from steadyturn.jobs import watch as job
from steadyturn.jobs import watch_line
from steadyturn.report import watch as report
from steadyturn.report.terminal import LEAVE
from steadyturn_fw import pages

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="needs pseudo-terminals")


def board_in_hold() -> FakeBoard:
    board = FakeBoard()
    board.settings = b'{"crc": "00000000", "settings":\n%s\n}\n' % json.dumps({
        "low_dtpm": 400, "target_dtpm": 500, "high_dtpm": 600, "percent_mj": 720_000}).encode()
    board.state.update(
        t_ms=61_000, boot=7, bus_mv=4920, bus_ma=830, pace_dtpm=523, cue=pages.HOLD, connected=1,
        settings_ok=1, settings_crc=5)
    return board


@pytest.fixture
def pty(monkeypatch, tmp_path):
    monkeypatch.setenv("STEADYTURN_LIBRARY", str(tmp_path / "library"))
    with PtyBoard(board_in_hold()) as board:
        yield board


def only_quiet_questions(board: FakeBoard) -> bool:
    return bool(board.asked) and all(line.startswith(b":") and b"\x03" not in line
                                     for line in board.asked)


def answers(lines: str) -> list[dict]:
    """The looks that were answered: before them a busy machine may have been connecting."""
    return [look for look in map(json.loads, lines.splitlines()) if look["answering"]]


def test_over_a_port_by_the_command_in_its_plain_forms(pty, capsys):
    assert code(["watch", "--port", pty.port, "--seconds", "0.3"]) == 0
    *connecting, line = capsys.readouterr().out.splitlines()
    assert all("connecting" in each for each in connecting)  # on a busy machine
    for part in ("hold", "4.92 V  0.83 A  4.08 W", "charging"):
        assert part in line
    assert code(["watch", "--port", pty.port, "--seconds", "0.5", "--json"]) == 0
    objects = answers(capsys.readouterr().out)
    assert 2 <= len(objects) <= 6  # ten a second
    assert objects[0]["pace_tpm"] == 52.3
    assert {"bus_v", "since_percent", "cue", "why", "energy_in_wh"} <= set(objects[0])
    assert only_quiet_questions(pty.board)


def test_ctrl_c_ends_the_watch_with_0_and_lets_the_port_go(pty, monkeypatch):
    def interrupted(glances, out):
        next(glances)
        raise KeyboardInterrupt

    monkeypatch.setattr(report, "show_lines", interrupted)
    assert code(["watch", "--port", pty.port]) == 0
    SerialStream(pty.port).close()
    assert only_quiet_questions(pty.board)


def test_each_connection_leaves_a_time_anchor(pty, capsys, monkeypatch, tmp_path):
    assert code(["watch", "--port", pty.port, "--seconds", "0.2", "--json"]) == 0
    assert answers(capsys.readouterr().out)[0]["remark"] == ""
    from steadyturn.sessions.library import Library

    with Library(tmp_path / "library") as shelf:
        board, = shelf.boards()
        assert board.unique_id == bytes(range(8)).hex()
        assert [contact.kind for contact in shelf.contacts(board)] == ["watch"]
    # a library that cannot be written is a remark, and the watch goes on
    (tmp_path / "file").write_text("")
    assert code(["watch", "--port", pty.port, "--seconds", "0.2", "--json",
                 "--library", str(tmp_path / "file" / "in")]) == 0
    looks = answers(capsys.readouterr().out)
    assert "not in the library" in looks[0]["remark"]
    assert len(looks) > 1
    assert code(["watch", "--port", pty.port, "--seconds", "0.2", "--plain",
                 "--library", str(tmp_path / "file" / "in")]) == 0
    assert capsys.readouterr().out.count("not in the library") == 1
    (tmp_path / "damaged").mkdir()
    (tmp_path / "damaged" / "library.sqlite").write_bytes(bytes(range(256)) * 64)
    from small_screen import OnTerminal

    with OnTerminal("watch", "--port", pty.port, "--seconds", "0.3",
                    "--library", str(tmp_path / "damaged")) as terminal:
        assert terminal.end(None) == 0
        said = terminal.raw.decode().rpartition("\x1b[?1049l")[2]
        assert " ".join(said.split()).startswith("This meeting is not in the library")


def test_a_board_that_has_not_come_back_at_the_end_is_exit_1(pty, monkeypatch, capsys):
    monkeypatch.setattr(job, "AGAIN_S", 0.02)
    monkeypatch.setattr(job, "GONE_HZ", 50.0)
    monkeypatch.setattr(watch_line, "_ports", list)
    add = report.to_line

    def unplugged(look):
        if look.answering:
            pty.unplug()
        return add(look)

    monkeypatch.setattr(report, "to_line", unplugged)
    assert code(["watch", "--port", pty.port, "--seconds", "0.5", "--json"]) == 1
    said = capsys.readouterr()
    assert "At the end no board was there" in said.err


@pytest.mark.parametrize("seconds", ["nan", "inf", "1e400", "-1", "0", "1e9", "5s"])
def test_a_time_that_is_none_is_refused(seconds, capsys):
    assert code(["watch", "--seconds", seconds]) == 2
    assert "--seconds" in capsys.readouterr().err


# ---- written down

def test_a_record_has_the_same_objects_and_is_not_written_over(pty, tmp_path, capsys):
    file = tmp_path / "looks.jsonl"
    arguments = ["watch", "--port", pty.port, "--seconds", "0.4", "--record", str(file)]
    assert code([*arguments, "--json"]) == 0
    assert file.read_text() == capsys.readouterr().out
    asked = len(pty.board.asked)
    assert code(arguments) == 2
    assert "already there" in capsys.readouterr().err
    assert len(pty.board.asked) == asked  # said before the board is spoken to
    assert code([*arguments, "--force"]) == 0
    plain = capsys.readouterr().out
    assert plain.count("hold") == 1  # a line a second, and all looks in the record
    assert 2 <= len(answers(file.read_text())) <= 5


def test_a_record_that_cannot_be_made_or_is_full_ends_the_watch_alone(
        pty, tmp_path, monkeypatch, capsys):
    arguments = ["watch", "--port", pty.port, "--seconds", "2", "--record"]
    assert code([*arguments, str(tmp_path / "no" / "looks")]) == 2
    assert "cannot be made" in capsys.readouterr().err
    file = tmp_path / "looks.jsonl"
    real = os.write

    def full(number, data):  # room for two looks and a half
        left = 2000 - os.fstat(number).st_size if len(data) > 300 else len(data)
        if left <= 0:
            raise OSError(28, "No space left on device")
        return real(number, data[:left])

    monkeypatch.setattr("steadyturn.jobs.watch_record.os.write", full)
    assert code([*arguments, str(file)]) == 1
    said = capsys.readouterr().err
    assert "No space left on device" in said
    lines = file.read_text().splitlines()
    assert f"the {len(lines)} looks" in " ".join(said.split())
    assert answers("\n".join(lines))  # no half line
    assert only_quiet_questions(pty.board)


def test_a_reader_that_has_enough_is_a_clean_end(pty):
    environ = {**os.environ, "PYTHONPATH": os.pathsep.join(
        str(Path(__file__).parents[3] / name) for name in ("host", "firmware"))}
    process = subprocess.Popen(
        [sys.executable, "-m", "steadyturn", "watch", "--json", "--port", pty.port],
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, env=environ)
    while not (look := json.loads(process.stdout.readline()))["answering"]:
        pass
    assert look["cue"] == "hold"  # each line comes at once
    process.stdout.close()
    assert process.wait(10) == 0
    assert process.stderr.read() == b""
    process.stderr.close()


# ---- the port, and the board that comes back

def test_a_board_that_comes_back_under_another_name_is_found(pty, monkeypatch):
    monkeypatch.setattr(job, "AGAIN_S", 0.02)
    monkeypatch.setattr(job, "GONE_HZ", 50.0)
    there = [Port(pty.port, "", True)]
    monkeypatch.setattr(watch_line, "_ports", lambda: there)
    looks = job.watch(pty.port, rate_hz=50)
    assert next(look for look in looks if look.answering).port == pty.port
    stranger = FakeBoard()
    stranger.who = lambda: FakeBoard.who(stranger)[:21] + b"stranger" + b"0.1.0"
    with PtyBoard(stranger) as other, PtyBoard(board_in_hold()) as back:
        pty.unplug()
        gone = next(look for look in looks if not look.answering)
        assert "gone" in gone.problem or "no such port" in gone.problem
        there = [Port(other.port, "", True), Port(back.port, "", True)]
        found = next(look for look in looks if look.answering)
        assert found.port == back.port
        assert f"now on {back.port}" in found.event
        looks.close()
        SerialStream(back.port).close()


def test_a_port_that_was_there_before_is_never_asked(pty, monkeypatch):
    monkeypatch.setattr(job, "AGAIN_S", 0.02)
    monkeypatch.setattr(job, "GONE_HZ", 50.0)
    with PtyBoard(FakeBoard()) as modem:
        there = [Port(pty.port, "", True), Port(modem.port, "", True)]
        monkeypatch.setattr(watch_line, "_ports", lambda: there)
        looks = job.watch(pty.port, rate_hz=50)
        next(look for look in looks if look.answering)
        pty.unplug()
        assert sum(not look.answering for _, look in zip(range(20), looks, strict=False)) > 10
        looks.close()
        assert not modem.board.asked


# ---- on a terminal

@pytest.mark.parametrize("end", [
    signal.SIGINT, *(pytest.param(end, marks=pytest.mark.soak)
                     for end in (signal.SIGHUP, signal.SIGTERM, "q"))])
def test_the_terminal_is_in_order_after_any_end(pty, end):
    from small_screen import OnTerminal

    with OnTerminal("watch", "--port", pty.port) as terminal:
        terminal.until("just right")
        if end == "q":
            terminal.press("q")
            assert terminal.end(None) == 0
        else:
            assert terminal.end(end) == 0
        assert terminal.in_order()
        assert terminal.raw.endswith(LEAVE.encode())  # and nothing lands in the last frame
        assert (terminal.after().text.strip(), terminal.after().at) == ("", (0, 0))
        assert "██" in terminal.raw.decode()
    assert only_quiet_questions(pty.board)


@pytest.mark.skipif(not os.path.exists("/dev/full"), reason="no /dev/full here")
def test_a_full_disk_as_the_system_says_it(pty, capsys):
    assert code(["watch", "--port", pty.port, "--record", "/dev/full", "--force"]) == 1
    assert "No space left on device" in " ".join(capsys.readouterr().err.split())


def test_resized_in_ascii_and_without_colour(pty):
    from small_screen import OnTerminal

    with OnTerminal("watch", "--port", pty.port,
                    environ={"PYTHONIOENCODING": "ascii", "NO_COLOR": "1"}) as terminal:
        terminal.until("just right")
        terminal.pump(0.2)
        assert terminal.raw.isascii()
        assert "##" in terminal.screen().text
        assert not {"31", "32", "33", "35"} & set(";".join(terminal.screen().sgr).split(";"))
        terminal.raw = b"\x1b[?1049h"
        terminal.resize(40, 12)
        terminal.until("turns/min")
        terminal.pump(0.2)
        shown = terminal.screen(40, 12)
        assert "52 turns/min" in shown.text
        assert "4.92 V" in shown.text
        assert terminal.end() == 0


@pytest.mark.soak
def test_a_dumb_terminal_gets_lines(pty):
    from small_screen import OnTerminal

    with OnTerminal("watch", "--port", pty.port, "--seconds", "0.3",
                    environ={"TERM": "dumb"}) as terminal:
        assert terminal.end(None) == 0
        assert b"\x1b" not in terminal.raw
        assert b"hold" in terminal.raw
