"""A terminal that is drawn over, one write a frame, and put back in order at any end.

A frame is a list of lines, a line a list of (text, style) or plain text. Only here does text
become escape sequences, and control characters in it become dots, so that whatever a board
calls itself reaches the screen as letters. Sequences: ECMA-48, and xterm's private modes 1049
(a screen of its own) and 25 (the cursor).
"""

from __future__ import annotations

import contextlib
import os
import signal
import sys
import threading
import time
from collections.abc import Callable, Mapping, Sequence
from types import FrameType, TracebackType
from typing import Any, TextIO

from rich.cells import cell_len, set_cell_size

from steadyturn.report import keyboard

Piece = tuple[str, str]
Line = str | Sequence[Piece]

ENTER = "\x1b[?1049h\x1b[?25l\x1b[2J"
# the frame is wiped first: a terminal without a screen of its own would keep it, and print
# what comes next into its last line
LEAVE = "\x1b[0m\x1b[2J\x1b[1;1H\x1b[?25h\x1b[?1049l"
COLOURS = {"red": "31", "green": "32", "yellow": "33", "magenta": "35", "cyan": "36"}
SHAPES = {"bold": "1", "dim": "2", "reverse": "7"}
# what the bars and big words need beyond ASCII
DRAWN = "\N{FULL BLOCK}\N{BLACK DOWN-POINTING TRIANGLE}\N{BOX DRAWINGS HEAVY HORIZONTAL}"
LAST_SIZE = (80, 24)


def can_draw(out: TextIO, environ: Mapping[str, str] = os.environ) -> bool:
    """Is `out` a terminal in the foreground that a screen can be drawn on?"""
    try:
        if not out.isatty():
            return False
    except ValueError:  # closed
        return False
    term = environ.get("TERM", "")
    if term == "dumb" or (not term and sys.platform != "win32"):
        return False
    return keyboard.in_foreground(out)


class Terminal:
    """`with Terminal() as terminal: terminal.draw(lines)`.

    unicode: may lines hold more than ASCII? colour: unless NO_COLOR (https://no-color.org)
    says no. Entered again it stays as it is, and the first exit ends it.
    Inside, keys are not echoed, a closed terminal (SIGHUP) is a KeyboardInterrupt like
    Ctrl-C, and Ctrl-Z gives the shell its own screen back.
    """

    def __init__(self, out: TextIO | None = None, source: TextIO | None = None,
                 environ: Mapping[str, str] = os.environ) -> None:
        self.out = out or sys.stdout
        self.unicode = _can_encode(self.out.encoding or "ascii", DRAWN)
        self.colour = not environ.get("NO_COLOR")
        self._keys = keyboard.Keyboard(source or sys.stdin)
        self._shown: list[str] = []
        self._size = (0, 0)
        self._entered = 0  # counts, so that a frame cut by Ctrl-Z is not taken as shown
        self._before: list[tuple[int, Any]] = []

    # ---- in and out

    def __enter__(self) -> Terminal:
        if self._entered:
            return self
        try:
            self._catch("SIGHUP", _hung_up)
            self._catch("SIGTSTP", self._suspend)
            self._begin()
        except BaseException:
            self.close()
            raise
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None,
                 trace: TracebackType | None) -> None:
        self.close()

    def _begin(self) -> None:
        self._keys.begin()
        self._entered += 1
        self._size, self._shown = (0, 0), []
        self._write(ENTER)

    def _end(self) -> None:
        with contextlib.suppress(OSError, ValueError):  # the terminal may have gone
            self._write(LEAVE)
        self._keys.end()

    def close(self) -> None:
        """Put the terminal back; another Ctrl-C meanwhile does not stop that."""
        with _undisturbed():
            if self._entered:
                self._entered = 0
                self._end()
            while self._before:
                signal.signal(*self._before.pop())

    def _catch(self, name: str, handler: Callable[[int, FrameType | None], None]) -> None:
        number = getattr(signal, name, None)
        if number is not None and threading.current_thread() is threading.main_thread():
            self._before.append((number, signal.signal(number, handler)))

    def _suspend(self, number: int, frame: FrameType | None) -> None:
        """Ctrl-Z: the shell has its screen until `fg`."""
        self._end()
        signal.signal(number, signal.SIG_DFL)
        os.kill(os.getpid(), number)
        signal.signal(number, self._suspend)
        self._begin()

    # ---- drawing

    def size(self) -> tuple[int, int]:
        """Columns and rows now."""
        try:
            found = os.get_terminal_size(self.out.fileno())
        except (OSError, ValueError, AttributeError):
            return LAST_SIZE
        return (found.columns or LAST_SIZE[0], found.lines or LAST_SIZE[1])

    def draw(self, lines: Sequence[Line]) -> None:
        """Show these lines from the top; what does not fit is cut off. Lines that stand
        already are not written again."""
        columns, rows = size = self.size()
        entered = self._entered
        anew = size != self._size
        text = [self._line(line, columns) for line in lines[:rows]]
        text += [" " * columns] * (rows - len(text))
        out = "\x1b[0m\x1b[2J" if anew else ""
        for row, line in enumerate(text):
            if anew or line != self._shown[row]:
                out += f"\x1b[{row + 1};1H{line}"
        if out:
            self._write(out)
        if entered == self._entered:
            self._size, self._shown = size, text

    def _line(self, line: Line, columns: int) -> str:
        """One row: exactly `columns` wide, so that it covers what stood there."""
        out, left = "", columns
        for piece, style in [(line, "")] if isinstance(line, str) else line:
            text = clean(piece)
            width = len(text) if text.isascii() else cell_len(text)
            if width > left:
                text = set_cell_size(text, left)
                width = left
            codes = self._codes(style)
            out += f"\x1b[{codes}m{text}\x1b[0m" if codes and text else text
            left -= width
        return out + " " * left

    def _codes(self, style: str) -> str:
        words = style.split()
        codes = [SHAPES[word] for word in words if word in SHAPES]
        if self.colour:
            codes += [COLOURS[word] for word in words if word in COLOURS]
        return ";".join(codes)

    def _write(self, text: str) -> None:
        """All of it in one write, as far as the system takes it so."""
        data = text.encode(self.out.encoding or "ascii", "replace")
        try:
            number = self.out.fileno()
        except (OSError, ValueError):
            self.out.write(text)
            self.out.flush()
            return
        self.out.flush()
        while data:
            data = data[os.write(number, data):]

    # ---- keys

    def keys(self, wait_s: float = 0.0) -> str:
        """Keys that were pressed; waits at most wait_s for the first. "" for none; "\\x03" for a
        Ctrl-C where it comes as a key; q when the keyboard has gone."""
        if self._keys.there:
            return self._keys.read(wait_s)
        time.sleep(wait_s)
        return ""


def clean(text: str) -> str:
    """Nothing in it that a terminal could take as an order."""
    return text if text.isprintable() else "".join(c if c.isprintable() else "." for c in text)


def plain(line: Line) -> str:
    """A line without its styles."""
    return line if isinstance(line, str) else "".join(text for text, _ in line)


def _can_encode(encoding: str, text: str) -> bool:
    try:
        text.encode(encoding)
    except (UnicodeEncodeError, LookupError):
        return False
    return True


def _hung_up(number: int, frame: FrameType | None) -> None:
    raise KeyboardInterrupt


@contextlib.contextmanager
def _undisturbed() -> Any:
    """Further signals to end wait until the terminal is in order."""
    names = [n for n in ("SIGINT", "SIGTERM", "SIGHUP", "SIGTSTP") if hasattr(signal, n)]
    if not hasattr(signal, "pthread_sigmask"):
        yield
        return
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {getattr(signal, n) for n in names})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)
