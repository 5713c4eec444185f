"""The raw REPL's adapter on ports that do not behave: every operation ends, in time and
in words. A real interpreter on the other end: test_flash_twin.py."""

from __future__ import annotations

import os
import select
import threading
import time
import tty

import pytest
from steadyturn.board import repl
from steadyturn.board.files import Missing
from steadyturn.board.repl import ReplFiles
from steadyturn.board.stream import Busy, Gone, SerialStream, Stuck
from steadyturn.errors import Failed

PROMPT = b"raw REPL; CTRL-B to exit\r\n>"


class FakePrompt:
    """A port that enters the raw REPL and then answers each piece of code by `reply`:
    bytes to send after the code; None: nothing more, ever."""

    def __init__(self, reply, *, enters=True, babble=b""):
        self.reply, self.enters, self.babble = reply, enters, babble
        self.code = []
        self._master, self._slave = os.openpty()
        tty.setraw(self._slave)
        self.port = os.ttyname(self._slave)
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._serve, daemon=True)
        self._thread.start()

    def _send(self, data):
        while data and not self._stop.is_set():
            if select.select([], [self._master], [], 0.02)[1]:
                data = data[os.write(self._master, data[:1000]):]

    def _serve(self):
        held = b""
        while not self._stop.is_set():
            if self.babble:
                self._send(self.babble)
            if not select.select([self._master], [], [], 0.01)[0]:
                continue
            held += os.read(self._master, 4096)
            if not self.enters:
                continue
            if held.endswith(b"\r\x01"):
                self._send(PROMPT)
            elif held.endswith(b"\x05A\x01"):  # raw paste: not known here
                self._send(b"ra" + PROMPT)
            elif held.endswith(b"\x04") and len(held.strip(b"\r\x02\x03\x01\x04")) == 0:
                self._send(b"OK\r\nMPY: soft reboot\r\n" + PROMPT)
            elif held.endswith(b"\x04"):
                self.code.append(held[:-1])
                answer = self.reply(held[:-1])
                if answer is not None:
                    self._send(b"OK" + answer)
            else:
                continue
            held = b""

    def close(self):
        if not self._stop.is_set():
            self._stop.set()
            self._thread.join()
            os.close(self._slave)
            os.close(self._master)

    __enter__ = lambda self: self  # noqa: E731
    __exit__ = lambda self, *_: self.close()  # noqa: E731


def out(text: bytes = b"", error: bytes = b"") -> bytes:
    return text + b"\x04" + error + b"\x04>"


@pytest.fixture(autouse=True)
def _short(monkeypatch):
    monkeypatch.setattr(repl, "ENTER_S", 0.5)
    monkeypatch.setattr(repl, "PROMPT_S", 0.1)
    monkeypatch.setattr(repl, "STEP_S", 0.6)
    monkeypatch.setattr(repl, "LONG_WAIT", 0.2)


@pytest.mark.parametrize("babble", [b"", b"\x1b[2J no prompt here \xff" * 20])
def test_a_port_without_a_prompt_ends(babble, capsys):
    with FakePrompt(None, enters=False, babble=babble) as board:
        start = time.monotonic()
        with pytest.raises(Stuck, match="prompt cannot be reached"):
            ReplFiles(board.port)
        assert time.monotonic() - start < 5
        assert capsys.readouterr().out == ""
        SerialStream(board.port).close()  # it was let go


def test_code_that_never_answers_ends():
    with FakePrompt(lambda code: None) as board:
        files = ReplFiles(board.port)
        start = time.monotonic()
        with pytest.raises(Stuck):
            files.write("/a", b"1")
        assert time.monotonic() - start < 3
        files.close()


def test_output_that_never_ends_ends(monkeypatch):
    monkeypatch.setattr(repl, "READ_MOST", 5000)
    with FakePrompt(lambda code: b"x" * 6000) as board:
        files = ReplFiles(board.port)
        with pytest.raises(Stuck):
            files.read("/a")
        files.close()


@pytest.mark.parametrize(
    ("error", "kind", "words"),
    [
        (b"Traceback:\r\n File\r\nOSError: [Errno 2] ENOENT\r\n", Missing, "not on the board"),
        (b"OSError: [Errno 28] ENOSPC\r\n", Failed, "flash is full"),
        (b"OSError: 28\r\n", Failed, "flash is full"),
        (b"MemoryError: memory allocation failed\r\n", Failed, "out of memory"),
        (b"ValueError: \x1b[31mred\xff\r\n", Failed, "reports 'ValueError: .[31mred.'"),
    ],
)
def test_an_error_on_the_board_names_the_path(error, kind, words):
    with FakePrompt(lambda code: out(error=error)) as board:
        files = ReplFiles(board.port)
        with pytest.raises(kind) as caught:
            files.rename("/a.new", "/a")
        text = str(caught.value)
        assert "/a" in text
        assert words in text
        assert all(" " <= c <= "~" for c in text)
        files.close()


@pytest.mark.parametrize("answer", [b"hello\r\n", b"\x1b[2J" * 9, b"ab" * 32 + b" 2f\x1b\r\n"])
def test_nonsense_instead_of_hashes_is_refused(answer):
    with FakePrompt(lambda code: out(answer)) as board:
        files = ReplFiles(board.port)
        with pytest.raises(Failed) as caught:
            files.hashes("/lib")
        assert all(" " <= c <= "~" for c in str(caught.value))
        files.close()


def test_paths_cannot_smuggle_code():
    with FakePrompt(lambda code: out()) as board:
        files = ReplFiles(board.port)
        files.remove("/a');import machine;('")
        assert board.code[-1].splitlines()[-1] == b"""os.remove("/a');import machine;('")"""
        files.close()


def test_unplugged_while_the_prompt_is_open():
    with FakePrompt(lambda code: out()) as board:
        files = ReplFiles(board.port)
        board.close()
        with pytest.raises((Gone, Stuck)):
            files.read("/a")
        files.close()


def test_busy_and_missing_ports_say_so():
    with FakePrompt(lambda code: out()) as board:
        held = SerialStream(board.port)
        with pytest.raises(Busy):
            ReplFiles(board.port)
        held.close()
    with pytest.raises(Failed, match="no such port"):
        ReplFiles("/dev/ttyNONE7")
