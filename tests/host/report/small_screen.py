"""What a terminal shows: as much of one as the screens here use, for tests. Raises ValueError
on any sequence that they should not send. `run` gives a command a terminal of its own."""

from __future__ import annotations

import contextlib
import fcntl
import os
import re
import select
import signal
import struct
import subprocess
import sys
import termios
import time
from pathlib import Path

ROOT = Path(__file__).parents[3]
SEQUENCE = re.compile(r"\x1b\[(\??)([\d;]*)([A-Za-z])|([^\x1b]+)|(.)", re.S)


class SmallScreen:
    """rows: its text; at: row and column of the cursor, from 0;
    own_screen, cursor: as the last sequences left them; sgr: every style that
    was used."""

    def __init__(self, columns: int = 80, lines: int = 24) -> None:
        self.columns, self.lines = columns, lines
        self.own_screen, self.cursor = False, True
        self.sgr: set[str] = set()
        self.wipes = 0
        self._wipe()

    def _wipe(self) -> None:
        self.rows = [" " * self.columns] * self.lines
        self.at = (0, 0)

    def feed(self, text: str) -> None:
        for private, numbers, letter, plain, wrong in SEQUENCE.findall(text):
            if plain:
                self._print(plain)
            elif wrong or not letter:
                raise ValueError(f"not a sequence: {wrong!r}")
            elif private and numbers == "1049":
                self.own_screen = letter == "h"
            elif private and numbers == "25":
                self.cursor = letter == "h"
            elif letter == "J" and numbers == "2":
                self.wipes += 1
                self._wipe()
            elif letter == "H":
                row, column = (int(n) for n in numbers.split(";"))
                self.at = (row - 1, column - 1)
            elif letter == "m":
                self.sgr |= set(numbers.split(";"))
            else:
                raise ValueError(f"not used here: {private}{numbers}{letter}")

    def _print(self, text: str) -> None:
        if not text.isprintable():
            raise ValueError(f"control characters: {text!r}")
        row, column = self.at
        if column + len(text) > self.columns or row >= self.lines:
            raise ValueError(f"beyond the edge: {text!r} at {self.at}")
        old = self.rows[row]
        self.rows[row] = old[:column] + text + old[column + len(text):]
        self.at = (row, column + len(text))

    @property
    def text(self) -> str:
        return "\n".join(row.rstrip() for row in self.rows)


def _own_terminal() -> None:
    """The pseudo-terminal becomes the new session's own, as a shell's is."""
    fcntl.ioctl(0, termios.TIOCSCTTY, 0)


class OnTerminal:
    """A command on a pseudo-terminal, with what it has written; `settings` are the terminal's
    own, to be compared. Ended with the context."""

    def __init__(self, *arguments: str, columns: int = 80, lines: int = 24,
                 environ: dict[str, str] | None = None) -> None:
        self.near, far = os.openpty()
        self.far = far
        self.resize(columns, lines)
        self.raw = b""
        self.settings_before = termios.tcgetattr(far)
        env = {**os.environ, "TERM": "xterm", "PYTHONIOENCODING": "utf-8",
               "PYTHONPATH": os.pathsep.join(map(str, (ROOT / "host", ROOT / "firmware"))),
               **(environ or {})}
        self.process = subprocess.Popen(
            [sys.executable, "-m", "steadyturn", *arguments], stdin=far, stdout=far, stderr=far,
            env=env, start_new_session=True, preexec_fn=_own_terminal)  # noqa: PLW1509 - an ioctl

    def resize(self, columns: int, lines: int) -> None:
        fcntl.ioctl(self.far, termios.TIOCSWINSZ, struct.pack("HHHH", lines, columns, 0, 0))

    def press(self, keys: str) -> None:
        os.write(self.near, keys.encode())

    def until(self, text: str, seconds: float = 20.0) -> str:
        """What has been written, once `text` is in it."""
        end = time.monotonic() + seconds
        while text not in (said := self.raw.decode("utf-8", "replace")):
            if time.monotonic() > end or (not self.pump(0.1) and self.process.poll() is not None):
                raise AssertionError(f"no {text!r} in {said[-3000:]!r}")
        return said

    def pump(self, seconds: float) -> bool:
        """Take in what comes within this time; False: nothing came."""
        end, some = time.monotonic() + seconds, False
        while (left := end - time.monotonic()) > 0:
            ready, _, _ = select.select([self.near], [], [], left)
            if ready:
                with contextlib.suppress(OSError):
                    self.raw += os.read(self.near, 65536)
                some = True
        return some

    def end(self, number: int | None = signal.SIGINT, seconds: float = 10.0) -> int:
        """Its exit code, once it has ended (of a signal, if one is given)."""
        if number is not None:
            self.process.send_signal(number)
        end = time.monotonic() + seconds
        while self.process.poll() is None and time.monotonic() < end:
            self.pump(0.02)
        self.pump(0.02)
        assert self.process.poll() is not None, "it does not end"
        return self.process.returncode

    def in_order(self) -> bool:
        """Is the terminal as it was: its own settings, its screen, its cursor?"""
        said = self.raw.decode("utf-8", "replace")
        return (termios.tcgetattr(self.far) == self.settings_before
                and said.rfind("\x1b[?1049l") >= said.rfind("\x1b[?1049h")
                and said.rfind("\x1b[?25h") >= said.rfind("\x1b[?25l"))

    def after(self) -> SmallScreen:
        """What it shows in the end if it has no screen of its own: all of it on one."""
        shown = SmallScreen()
        shown.feed(self.raw.decode("utf-8", "replace").rpartition("\x1b[?1049l")[0])
        return shown

    def screen(self, columns: int = 80, lines: int = 24) -> SmallScreen:
        """What it shows in its own screen."""
        shown = SmallScreen(columns, lines)
        shown.feed(self.raw.decode("utf-8", "replace").partition("\x1b[?1049h")[2]
                   .rpartition("\x1b[?1049l")[0] or
                   self.raw.decode("utf-8", "replace").partition("\x1b[?1049h")[2])
        return shown

    def __enter__(self) -> OnTerminal:
        return self

    def __exit__(self, *_: object) -> None:
        if self.process.poll() is None:
            self.process.kill()
            self.process.wait()
        os.close(self.near)
        os.close(self.far)

