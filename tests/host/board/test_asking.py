"""Asking ports: nothing is disturbed, whoever holds a port is named, every wait ends."""

from __future__ import annotations

import errno
import os
import subprocess
import sys
import time

import pytest
from fake_board import FakeBoard, PtyBoard
from steadyturn.board import asking, holders, permission, stream
from steadyturn.board.asking import ask, ask_all
from steadyturn.board.ports import Port
from steadyturn_fw import frames

linux = pytest.mark.skipif(not sys.platform.startswith("linux"), reason="reads /proc")


def port(device: str) -> Port:
    return Port(device, "Raspberry Pi", True)


def test_ours_is_asked_who_it_is_and_nothing_that_changes_it():
    board = FakeBoard()
    seen = []
    answer = board.answer
    board.answer = lambda line: seen.append(line) or answer(line)
    board.settings = b'head\n{"label":"hut","rig":"Lakeside hut"}\ntail'
    with PtyBoard(board) as here:
        found = ask(port(here.port))
    assert (found.state, found.label, found.rig) == ("ours", "hut", "Lakeside hut")
    assert found.who is not None
    assert found.who.unique_id == bytes(range(8)).hex()
    assert {line.split()[0] for line in seen} == {
        frames.ASK_WHO, frames.ASK_SETTINGS, frames.ASK_STATE}
    assert b"\x03" not in b"".join(seen)


@pytest.mark.parametrize("text", [b"", b"[" * 3000, b"\xff", b'["label"]', b'{"label": 3}'])
def test_a_board_without_a_name_is_still_ours(text):
    board = FakeBoard()
    board.settings = b"head\n" + text + b"\ntail"
    with PtyBoard(board) as here:
        found = ask(port(here.port))
    assert (found.state, found.label, found.rig) == ("ours", "", "")


def test_other_versions_silence_and_missing_ports_have_their_states(monkeypatch):
    other, silent = FakeBoard(), FakeBoard()
    other.protocol = 99
    monkeypatch.setattr(asking, "ANSWER_S", 0.15)
    silent.answer = lambda line: b"ok\r\n"
    with PtyBoard(other) as one, PtyBoard(silent) as two:
        began = time.monotonic()
        found = ask_all([port(one.port), port(two.port), port("/dev/ttyNONE7")])
    assert [f.state for f in found] == ["other version", "no answer", "failed"]
    assert "flash" in found[0].how
    assert time.monotonic() - began < asking.LIMIT_S


def test_a_port_that_hangs_in_opening_does_not_hold_the_others(monkeypatch):
    real = asking.ask

    def slow(asked):
        if asked.device == "slow":
            time.sleep(2.0)
        return real(asked)

    monkeypatch.setattr(asking, "ask", slow)
    with PtyBoard(FakeBoard()) as here:
        began = time.monotonic()
        found = ask_all([port("slow"), port(here.port)], limit_s=0.4)
    assert time.monotonic() - began < 1.5
    assert [f.state for f in found] == ["no answer", "ours"]


@linux
def test_a_port_in_use_is_not_asked_and_its_program_is_named():
    board = FakeBoard()
    with PtyBoard(board) as here:
        with open(here.port, "rb", buffering=0) as held:
            program = subprocess.Popen(["sleep", "20"], stdin=held)
        try:
            found = ask(port(here.port))
        finally:
            program.kill()
            program.wait()
        assert found.state == "busy"
        assert [(h.program, h.pid) for h in found.held_by] == [("sleep", program.pid)]
        assert f"sleep (process {program.pid})" in found.says
        assert board.asked == []
        assert ask(port(here.port)).state == "ours"


def put(proc, pid, *, comm="", cmdline=(), parent=1, files=(), ttys=()):
    """A process in a folder made like /proc."""
    home = proc / str(pid)
    (home / "fd").mkdir(parents=True)
    (home / "fdinfo").mkdir()
    (home / "comm").write_text(comm + "\n")
    (home / "cmdline").write_bytes(b"\0".join(cmdline) + b"\0")
    (home / "stat").write_text(f"{pid} (a ) b) S {parent} 1 1")
    for number, target in enumerate(files):
        os.symlink(target, home / "fd" / str(number))
    for number, tty in ttys:
        os.symlink("/dev/ptmx", home / "fd" / str(number))
        (home / "fdinfo" / str(number)).write_text(f"pos:\t0\ntty-index:\t{tty}\n")


@linux
def test_holders_skips_what_may_not_be_read(tmp_path):
    put(tmp_path, 40, comm="reader\x1b[31m", files=("/dev/null", "/dev/ttyACM0"))
    put(tmp_path, 41, comm="other", files=("/dev/ttyACM1",))
    (tmp_path / "42").mkdir()  # no descriptors to be read
    (tmp_path / "self").mkdir()
    found = holders.holders("/dev/ttyACM0", tmp_path)
    assert [(h.program, h.pid) for h in found] == [("reader.[31m", 40)]
    assert holders.holders("/dev/ttyACM0", tmp_path / "none") == ()


@linux
def test_virtual_boards_are_found_by_their_process_without_its_console(tmp_path):
    put(tmp_path, 50, cmdline=(b"python", b"-m", b"steadyturn", b"twin", b"my.toml"),
        ttys=((7, 3), (9, 4)))
    put(tmp_path, 51, parent=50, files=("/dev/pts/4",))  # its interpreter
    put(tmp_path, 52, cmdline=(b"/x/bin/steadyturn", b"watch"), files=("/dev/pts/3",))
    put(tmp_path, 53, cmdline=(b"shell", b"twin"), ttys=((5, 8),))
    put(tmp_path, 54, cmdline=(b"py", b"/x/bin/steadyturn", b"twin"), ttys=((5, 9),))
    assert holders.virtual_boards(tmp_path) == (("/dev/pts/3", 50), ("/dev/pts/9", 54))


@linux
def test_no_permission_names_the_group_of_the_port(tmp_path, monkeypatch):
    class Refused:
        def __init__(self, *_, **__):
            raise OSError(errno.EACCES, "Permission denied")

    monkeypatch.setattr("serial.Serial", Refused)
    file = tmp_path / "ttyACM0"
    file.touch(mode=0o660)
    file.chmod(0o660)
    found = ask(port(str(file)))
    assert found.state == "no permission"
    monkeypatch.setattr("getpass.getuser", lambda: "ada")
    for name, members, may_write, said in (
        ("plugdev", [], True, "usermod -a -G plugdev $USER"),
        ("uucp", ["ada"], True, "already"),
        ("root", [], True, "udev"),
        ("dialout", [], False, "udev"),
    ):
        group = type("Group", (), {"gr_name": name, "gr_mem": members})
        monkeypatch.setattr("grp.getgrgid", lambda _, group=group: group)
        file.chmod(0o660 if may_write else 0o600)
        assert said in permission.remedy(str(file))
    monkeypatch.setattr("sys.platform", "darwin")
    assert "usermod" not in permission.remedy(str(file))


def test_names_of_another_system_are_recognised(monkeypatch):
    missing = OSError(errno.ENOENT, "No such file")
    assert "those of Windows" in stream._explained("com3", missing).what
    assert "Windows" not in stream._explained("/dev/ttyACM0", missing).what
    monkeypatch.setattr("sys.platform", "win32")
    assert "COM3" in stream._explained("/dev/ttyACM0", missing).what
    denied = PermissionError(13, "Access is denied.")
    assert isinstance(stream._explained("COM4", OSError(f"could not open: {denied!r}")),
                      stream.Busy)
