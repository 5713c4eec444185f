"""`steadyturn bench RIG --board`: what it refuses at once, and the whole way with a board in
memory, asked and unasked."""

from __future__ import annotations

import io
import json
import sys
from pathlib import Path
from types import SimpleNamespace

import click
import pytest
from steadyturn.cli.main import code
from steadyturn.jobs import bench_board, bench_plan
from steadyturn.jobs.bench_evening import Moment
from steadyturn.report import bench_board as report
from steadyturn.rig.file import read_rig

sys.path.insert(0, str(Path(__file__).parents[1] / "jobs"))
from bench_stand_in import Clock, machine, meant  # noqa: F401 - fixtures


@pytest.fixture
def at_board(machine, monkeypatch):  # noqa: F811
    """(rig file, board): the command meets the board in memory, in the board's time."""
    path, board = machine
    evening, run = bench_board.evening, bench_board.run
    monkeypatch.setattr(bench_board, "evening", lambda path, port, **more: evening(
        path, board, **more))
    monkeypatch.setattr(bench_board, "run", lambda made, there: run(made, there, Clock(board)))
    return path, board


@pytest.mark.parametrize(("words", "said"), [
    (["lakeside-hut", "--port", "x"], "go with --board"),
    (["lakeside-hut", "--board", "--beat", "60"], "leave --motor"),
    (["my.toml", "--board"], "--yes"),
    (["my.toml", "--board", "--yes", "--room", "90"], "-20 to 50"),
    (["lakeside-hut", "--board", "--yes"], "ships with the program"),
])
def test_refused_at_once(words, said, machine, capsys):  # noqa: F811
    assert code(["bench", *words]) == 2
    assert said in " ".join(capsys.readouterr().err.split())


def test_unasked_it_writes_and_prints_one_object(at_board, monkeypatch, capsys):
    path, board = at_board
    monkeypatch.setattr(bench_plan, "STEPS", 0)
    assert code(["bench", str(path), "--board", "--yes", "--json", "--slots", "60"]) == 0
    out = capsys.readouterr()
    found = json.loads(out.out)
    assert found["plateaus"] == 7
    assert found["bench"]["written"]
    assert {"key", "meant", "measured", "agrees"} <= set(found["meant"][0])
    assert read_rig(path).origins["motor.emf_v_per_krpm"].kind == "measured"
    assert board.said["on"] == 0


def test_asked_and_ended_by_hand(at_board, monkeypatch, capsys):
    """Questions are answered, then Ctrl-C comes at the first taken plateau."""
    path, board = at_board

    lines = ["abc\n", "15\n", "\n", "\n"]

    class Typed:
        def isatty(self):
            return True

        def readline(self):
            return lines.pop(0)

    monkeypatch.setattr(sys, "stdin", Typed())
    shown = []

    class Live:
        def __init__(self, quiet):
            assert not quiet

        def __call__(self, now):
            shown.append(now)
            if now.state == "taken":
                raise KeyboardInterrupt

        def end(self):
            pass

    monkeypatch.setattr(report, "Live", Live)
    assert code(["bench", str(path), "--board"]) == 1
    err = " ".join(capsys.readouterr().err.split())
    assert err.count("That is no number from -20 to 50.") == 1
    assert "No phone" in err
    assert "my-board.toml" in err
    assert "Ended by you" in err
    assert "room_c = 15" in Path("my-board.toml").read_text(encoding="utf-8")
    assert (board.ends, board.said["on"]) == (1, 0)
    assert not lines


def test_a_live_line_and_plain_ones(machine):  # noqa: F811
    path, board = machine
    out = io.StringIO()
    live = report.Live(out=out)
    with bench_board.evening(path, board) as (made, there):
        for moment in bench_board.run(made, there, Clock(board)):
            live(moment)
            if len(made.taken) == 2:
                break
    live.end()
    lines = out.getvalue().splitlines()
    assert lines[0].startswith("1/8 open at 69/min (a turn a flash)")
    assert sum("taken" in line for line in lines) == 2
    assert len(lines) <= 8  # one for each change


def test_before_the_question_it_says_what_a_yes_writes(at_board, monkeypatch, capsys):
    path, _ = at_board
    monkeypatch.setattr(bench_plan, "STEPS", 0)

    class Typed(io.StringIO):
        def isatty(self):
            return True

    asked = []

    def no(question, **_):
        asked.append(question)
        return False

    monkeypatch.setattr(click, "confirm", no)
    before = path.read_bytes()
    monkeypatch.setattr(sys, "stdin", Typed("\n\n\n"))
    assert code(["bench", str(path), "--board"]) == 1
    said = capsys.readouterr()
    out = " ".join(said.out.split())
    assert "To be written as measured: motor." in out
    assert "Worth taking next" not in out
    assert said.err.endswith("Nothing was written.\n")
    assert "failed" not in said.err
    assert (len(asked), path.read_bytes()) == (1, before)


def test_a_yes_that_would_change_nothing_is_said():
    done = SimpleNamespace(tells=(), kept=("terminal_ohm",))
    assert "Nothing would be written. Left as it is: terminal_ohm" in report.would(done)


@pytest.mark.parametrize("width", [48, 59, 79, 120])
@pytest.mark.parametrize(("state", "why"), [
    ("turn", ""), ("steady", ""), ("measure", ""), ("skipped", "protection"), ("jerked", "")])
def test_volts_amperes_and_pace_are_on_every_line(machine, width, state, why):  # noqa: F811
    path, board = machine
    with bench_board.evening(path, board) as (made, _):
        order = made.plan[-2]
    now = Moment(7, 8, order, state, 12.25, 0.75, 61.0, 1.0, 12.0, 90.0, why)
    text = report.line(now, width)
    assert len(text) <= width
    assert "12.25 V 0.75 A ~61/min" in text
