"""Commands at boards that do their worst: each ends in its time with a plain answer, and what it
shows holds nothing that a terminal would take as an order."""

from __future__ import annotations

import time

import pytest
from fake_board import PtyBoard
from hostile import KINDS, hostile
from steadyturn.board import asking, connect, link, repl
from steadyturn.cli.main import code
from steadyturn.jobs import pull_copy, watch_line

RIG = "lakeside-hut"
COMMANDS = {
    "pull": ["pull", "--free", "--port", "PORT", "--library", "HERE"],
    "watch": ["watch", "--plain", "--seconds", "0.5", "--port", "PORT", "--library", "HERE"],
    "ports": ["ports"],
    "home": [],
    "flash": ["flash", RIG, "--yes", "--port", "PORT", "--library", "HERE"],
}
LIMIT_S = {"pull": 20, "watch": 40, "ports": 8, "home": 6, "flash": 120}


ANSWERING = ("endless_lines", "endless_starts", "escapes", "huge_numbers")


@pytest.fixture
def hurried(monkeypatch, request):
    """Waits shortened, their number and order as they are; not where an answer does come."""
    answers = request.node.callspec.params["kind"] in ANSWERING
    answer_s, start_s = (1.0, 4.0) if answers else (0.08, 0.3)
    for where, name, value in (
        (link, "SETTINGS_S", 0.3), (asking, "ANSWER_S", 0.15),
        (connect, "START_S", start_s), (watch_line, "FIRST_S", 0.3), (pull_copy, "MOST_PAGES", 60),
        (pull_copy, "MOST_DAMAGED", 20), (repl, "ENTER_S", 0.3), (repl, "PROMPT_S", 0.1),
    ):
        monkeypatch.setattr(where, name, value)
    monkeypatch.setattr(link.Link.__init__, "__kwdefaults__", {"answer_s": answer_s, "tries": 2})
    monkeypatch.setattr("steadyturn.jobs.pull.STARTED_S", start_s)


def try_it(kind, command, tmp_path, monkeypatch, capsys, limit_s):
    with PtyBoard(hostile(kind)) as board:
        port = type("Port", (), {"device": board.port, "vid": 0x2E8A, "description": "\x1b[2J",
                                 "serial_number": "\x1b]0;owned\x07"})
        monkeypatch.setattr("serial.tools.list_ports.comports", lambda: [port])
        words = [{"PORT": board.port, "HERE": str(tmp_path)}.get(w, w) for w in COMMANDS[command]]
        began = time.monotonic()
        ended = code(words)
        assert time.monotonic() - began < limit_s
    said = capsys.readouterr()
    assert ended in (0, 1), said.err
    assert "Traceback" not in said.out + said.err
    bad = {c for c in said.out + said.err if not (c.isprintable() or c == "\n")}
    assert not bad
    return ended, said.out + said.err


@pytest.mark.parametrize("kind", KINDS)
def test_pull(kind, hurried, tmp_path, monkeypatch, capsys):
    ended, said = try_it(kind, "pull", tmp_path, monkeypatch, capsys, 10)
    assert (ended == 0) == (kind in ANSWERING), said
    if kind == "pages_without_end":
        assert "more than it can hold" in " ".join(said.split())


@pytest.mark.parametrize("command", ["ports", "home"])
@pytest.mark.parametrize("kind", ["endless_lines", "silence_after_each_byte", "escapes"])
def test_looking(kind, command, hurried, tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("STEADYTURN_LIBRARY", str(tmp_path))
    monkeypatch.setattr(asking, "LIMIT_S", 1.0)
    monkeypatch.setattr("steadyturn.jobs.ports.virtual_boards", lambda: ())
    monkeypatch.setattr("steadyturn.jobs.home.virtual_boards", lambda: ())
    try_it(kind, command, tmp_path, monkeypatch, capsys, 8)


@pytest.mark.soak
@pytest.mark.timeout(3600)
@pytest.mark.parametrize("command", COMMANDS)
@pytest.mark.parametrize("kind", KINDS)
def test_in_real_time(kind, command, tmp_path, monkeypatch, capsys):
    monkeypatch.setattr(pull_copy, "MOST_PAGES", 2_000)
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("STEADYTURN_LIBRARY", str(tmp_path))
    try_it(kind, command, tmp_path, monkeypatch, capsys, LIMIT_S[command])
