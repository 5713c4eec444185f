"""Finding the board: one is used, several are asked, none says what was looked at."""

from __future__ import annotations

from types import SimpleNamespace

import pytest
from fake_board import FakeBoard, PtyBoard
from steadyturn.board import ports
from steadyturn.board.connect import connect
from steadyturn.errors import Failed


@pytest.fixture
def plugged(monkeypatch):
    """Put ports on this machine: (device, USB vendor or None, description)."""

    def plug(*found):
        rows = [SimpleNamespace(device=d, vid=v, description=t) for d, v, t in found]
        monkeypatch.setattr("serial.tools.list_ports.comports", lambda: rows)

    return plug


def test_a_single_likely_one_is_used(plugged):
    plugged(("/dev/ttyS0", None, "n/a"), ("/dev/ttyACM3", 0x2E8A, "Board in FS mode"))
    assert ports.find() == "/dev/ttyACM3"
    assert ports.find("/dev/other") == "/dev/other"
    assert [str(p) for p in ports.every_port()] == [
        "/dev/ttyACM3 (Raspberry Pi)", "/dev/ttyS0 (not USB)"]


def test_none_says_what_was_looked_at_and_what_to_check(plugged):
    plugged(("/dev/ttyS0", None, "n/a"), ("/dev/ttyUSB9", 0x9999, "Modem\x1b[31m"))
    with pytest.raises(Failed, match=r"ttyS0.*ttyUSB9.*cable") as caught:
        ports.find()
    assert "\x1b" not in str(caught.value)
    plugged()
    with pytest.raises(Failed, match="has no serial port"):
        ports.find()


def test_of_several_the_one_that_answers_is_used(plugged):
    silent = FakeBoard()
    silent.answer = lambda line: b""
    with PtyBoard(FakeBoard()) as one, PtyBoard(silent) as two, PtyBoard(FakeBoard()) as three:
        plugged((two.port, 0x2E8A, ""), (one.port, 0x2E8A, ""))
        assert ports.find() == one.port
        plugged((one.port, 0x2E8A, ""), (three.port, 0x2E8A, ""), (two.port, 0x303A, ""))
        with pytest.raises(Failed, match="--port") as caught:
            ports.find()
        assert f"{two.port} (Espressif): no answer" in str(caught.value)
        assert str(caught.value).count("firmware 0.1.0") == 2


def test_connect_finds_the_board_and_lets_it_go(plugged):
    with PtyBoard(FakeBoard()) as board:
        plugged((board.port, 0x2E8A, ""))
        for _ in range(2):
            with connect() as found:
                assert found.name == board.port
                assert found.link.who().boot == 5


def test_a_board_without_a_port_works_through_the_same_connect():
    from fake_board import MemoryStream
    from memory_files import MemoryFiles

    files, streams = MemoryFiles({"/a": b"1"}), []

    class Direct:
        def stream(self):
            streams.append(MemoryStream(FakeBoard()))
            return streams[-1]

        def files(self):
            return files

    with connect(Direct()) as board:
        assert board.link.who().boot == 5
        assert board.files.read("/a") == b"1"
        assert board.link.who().boot == 5  # starts it again first
        assert files.restarts == 1
        assert len(streams) == 2
        assert board.files.read("/a") == b"1"
    assert files.restarts == 2  # not left with its program stopped
