"""Finding the board: one is used, several are asked, none says what was looked at."""

from __future__ import annotations

import json
from types import SimpleNamespace

import pytest
from fake_board import FakeBoard, PtyBoard
from steadyturn.board import finding, ports, stream
from steadyturn.board.connect import connect
from steadyturn.board.stream import SerialStream
from steadyturn.errors import Failed


@pytest.fixture(autouse=True)
def _soon(monkeypatch):
    """Who is silent here need not be waited for."""
    monkeypatch.setattr("steadyturn.board.asking.ANSWER_S", 0.15)


@pytest.fixture
def plugged(monkeypatch):
    """Put ports on this machine: (device, USB vendor or None, description)."""

    def plug(*found):
        rows = [SimpleNamespace(device=d, vid=v, description=t, serial_number=f"E66{n}")
                for n, (d, v, t) in enumerate(found)]
        monkeypatch.setattr("serial.tools.list_ports.comports", lambda: rows)

    return plug


def test_a_single_likely_one_is_used(plugged):
    plugged(("/dev/ttyS0", None, "n/a"), ("/dev/ttyACM3", 0x2E8A, "Board in FS mode"))
    assert finding.find() == "/dev/ttyACM3"
    assert finding.find("/dev/other") == "/dev/other"
    assert [str(p) for p in ports.every_port()] == [
        "/dev/ttyACM3 (Raspberry Pi)", "/dev/ttyS0 (not USB)"]


def test_none_says_what_was_looked_at_and_what_to_check(plugged):
    plugged(("/dev/ttyS0", None, "n/a"), ("/dev/ttyUSB9", 0x9999, "Modem\x1b[31m"))
    with pytest.raises(Failed, match=r"ttyS0.*ttyUSB9.*cable") as caught:
        finding.find()
    assert "\x1b" not in str(caught.value)
    plugged()
    with pytest.raises(Failed, match="has no serial port"):
        finding.find()


def test_of_several_the_one_that_answers_is_used(plugged):
    silent = FakeBoard()
    silent.answer = lambda line: b""
    with PtyBoard(FakeBoard()) as one, PtyBoard(silent) as two, PtyBoard(FakeBoard()) as three:
        plugged((two.port, 0x2E8A, ""), (one.port, 0x2E8A, ""))
        assert finding.find() == one.port
        plugged((one.port, 0x2E8A, ""), (three.port, 0x2E8A, ""), (two.port, 0x303A, ""))
        with pytest.raises(Failed, match="--port") as caught:
            finding.find()
        assert f"{two.port} (Espressif): no answer" in str(caught.value)
        assert str(caught.value).count("firmware 0.1.0") == 2
        assert "serial number E660" in str(caught.value)


def settings(**fields):
    return b"\n".join((b"head", json.dumps(fields).encode(), b"tail"))


def test_several_are_told_apart_by_label(plugged):
    hut, boat = FakeBoard(), FakeBoard()
    hut.settings = settings(label="hut", rig="Lakeside hut")
    boat.settings = settings(label="boat\x1b[31m", rig=7)
    with PtyBoard(hut) as one, PtyBoard(boat) as two:
        plugged((one.port, 0x2E8A, ""), (two.port, 0x2E8A, ""))
        with pytest.raises(Failed, match="Several boards answer") as caught:
            finding.find()
    assert "'hut', board 050607, serial number E660" in str(caught.value)
    assert "'boat.[31m'" in str(caught.value)


def test_where_none_of_several_answers_the_remedies_are_named(plugged):
    silent = FakeBoard()
    silent.answer = lambda line: b""
    with PtyBoard(FakeBoard()) as held, PtyBoard(silent) as two:
        plugged((held.port, 0x2E8A, ""), (two.port, 0x2E8A, ""))
        stream = SerialStream(held.port)
        with pytest.raises(Failed, match="none answers as ours") as caught:
            finding.find()
        stream.close()
        assert "another program has this port" in caught.value.what
        assert "Close the serial monitor" in caught.value.how
        assert "--port" in caught.value.how
        assert finding.find() == held.port  # the one that answers


def test_windows_is_told_where_its_ports_are_listed(plugged, monkeypatch):
    plugged()
    monkeypatch.setattr("sys.platform", "win32")
    with pytest.raises(Failed, match="Device Manager"):
        finding.find()


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


def test_what_is_no_serial_port_says_so(tmp_path):
    (tmp_path / "notes").write_text("mine")
    with pytest.raises(Failed, match="no serial port"):
        SerialStream(str(tmp_path / "notes"))
    assert (tmp_path / "notes").read_text() == "mine"


def test_linux_inside_windows_is_told_of_usbipd(tmp_path, monkeypatch):
    version = tmp_path / "version"
    version.write_bytes(b"Linux version 5.15.90.1-microsoft-standard-WSL2 (oe-user@oe-host)")
    assert finding.wsl(version)
    version.write_bytes(b"Linux version 6.1.0-18-amd64 (debian-kernel@lists.debian.org)")
    assert not finding.wsl(version)
    assert not finding.wsl(tmp_path / "none")
    monkeypatch.setattr("sys.platform", "linux")
    monkeypatch.setattr(finding, "wsl", lambda: True)
    assert "usbipd" in finding.checks()[-1]
    monkeypatch.setattr("sys.platform", "win32")
    assert "Device Manager" in finding.checks()[-1]


def test_a_busy_port_without_a_name_tells_of_the_modem_service(monkeypatch):
    monkeypatch.setattr("sys.platform", "linux")
    assert "modem service" in stream.busy("/dev/ttyACM0", ()).how
    assert "lsof /dev/ttyACM0" in stream.busy("/dev/ttyACM0", ()).how
    monkeypatch.setattr("sys.platform", "win32")
    assert "modem" not in stream.busy("COM3", ()).how
