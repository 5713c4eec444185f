"""`steadyturn ports`: each port with what it is, and what to check where no board answers."""

from __future__ import annotations

import json
import sys
from pathlib import Path
from types import SimpleNamespace

import pytest

sys.path.insert(0, str(Path(__file__).parents[1] / "board"))
from fake_board import FakeBoard, PtyBoard
from steadyturn.board.holders import Holder
from steadyturn.cli.main import code


@pytest.fixture
def plugged(monkeypatch):
    def plug(*found, virtual=()):
        rows = [SimpleNamespace(device=d, vid=v, description="", serial_number="E661") for d, v
                in found]
        monkeypatch.setattr("serial.tools.list_ports.comports", lambda: rows)
        monkeypatch.setattr("steadyturn.jobs.ports.virtual_boards", lambda: virtual)

    return plug


def named(label):
    board = FakeBoard()
    board.settings = b'head\n{"label":"%s","rig":"Lakeside hut"}\ntail' % label
    return board


def test_ours_are_listed_real_and_virtual(plugged, capsys):
    with PtyBoard(named(b"hut")) as real, PtyBoard(named(b"toy")) as virtual:
        plugged((real.port, 0x2E8A), ("/dev/ttyS0", None), virtual=((virtual.port, 9),))
        assert code(["ports"]) == 0
        shown = capsys.readouterr().out
        assert code(["ports", "--json"]) == 0
        seen = json.loads(capsys.readouterr().out)
    assert f"{real.port} (Raspberry Pi), serial number E661: a board of ours" in shown
    assert "'hut', rig Lakeside hut, firmware 0.1.0, id 0001020304050607" in shown
    assert f"{virtual.port} (virtual board): a board of ours" in shown
    assert "/dev/ttyS0 (not USB), serial number E661: not asked" in shown
    assert "Check that" not in shown
    assert max(map(len, shown.splitlines())) <= 80
    assert seen["answering"] == 2
    assert {(p["label"], p["virtual"]) for p in seen["ports"]} == {
        ("hut", False), ("toy", True), ("", False)}


def test_none_at_all_is_no_failure(plugged, capsys):
    plugged()
    assert code(["ports"]) == 0
    shown = capsys.readouterr().out
    assert "there is none" in shown
    assert "cable carries data" in shown
    assert code(["ports", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["ports"] == []


def test_all_asks_unlikely_ports_too(plugged, capsys):
    with PtyBoard(named(b"hut")) as here:
        plugged((here.port, 0x9999))
        assert code(["ports"]) == 0
        assert "not asked" in capsys.readouterr().out
        assert code(["ports", "--all"]) == 0
        assert "a board of ours" in capsys.readouterr().out


def test_a_busy_port_says_by_whom(plugged, capsys, monkeypatch):
    monkeypatch.setattr("steadyturn.board.asking.holders", lambda _: (Holder("monitor", 77),))
    plugged(("/dev/ttyACM0", 0x2E8A))
    assert code(["ports"]) == 0
    shown = capsys.readouterr().out
    assert "/dev/ttyACM0 (Raspberry Pi), serial number E661: busy" in shown
    assert "monitor (process 77)" in " ".join(shown.split())
    assert code(["ports", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["ports"][0]["held_by"] == [
        {"program": "monitor", "pid": 77}]


def test_a_board_without_our_program_needs_no_other_cable(plugged, capsys):
    bare = FakeBoard()
    bare.answer = lambda line: b">>> "
    with PtyBoard(bare) as here:
        plugged((here.port, 0x2E8A))
        assert code(["ports"]) == 0
    shown = " ".join(capsys.readouterr().out.split())
    assert "steadyturn's program does not run" in shown
    assert "No board of ours answers." in shown
    assert "cable" not in shown


def test_port_names_that_are_none(tmp_path, capsys):
    assert code(["pull", "--port", ""]) == 2
    said = capsys.readouterr().err
    assert said.startswith("wrong: --port: ''")
    assert "steadyturn ports" in said
    assert code(["pull", "--port", str(tmp_path), "--library", str(tmp_path)]) == 1
    said = capsys.readouterr().err
    assert "this is no serial port" in " ".join(said.split())
    assert "Errno" not in said
