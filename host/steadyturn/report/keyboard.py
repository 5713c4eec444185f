"""Single keys from a terminal, without echo, until it is put back."""

from __future__ import annotations

import os
import sys
import time
from typing import Any, TextIO

if sys.platform == "win32":
    # from memory, not tried here: the console's own keys, and escape sequences switched on
    import ctypes
    import msvcrt

    def in_foreground(out: TextIO) -> bool:
        return True

    class Keyboard:
        """there: is `source` a keyboard?"""

        def __init__(self, source: TextIO | None) -> None:
            self.there = source is not None and source.isatty()

        def begin(self) -> None:
            kernel = ctypes.windll.kernel32
            handle, mode = kernel.GetStdHandle(-11), ctypes.c_ulong()
            if kernel.GetConsoleMode(handle, ctypes.byref(mode)):
                kernel.SetConsoleMode(handle, mode.value | 4)

        def end(self) -> None:
            while msvcrt.kbhit():
                msvcrt.getwch()

        def read(self, wait_s: float) -> str:
            end = time.monotonic() + wait_s
            while not msvcrt.kbhit():
                if time.monotonic() >= end:
                    return ""
                time.sleep(0.005)
            keys = ""
            while msvcrt.kbhit():
                keys += msvcrt.getwch()
            return keys
else:
    import select
    import termios
    import tty

    def in_foreground(out: TextIO) -> bool:
        """May this process change the terminal? One in the background would be stopped."""
        try:
            return os.tcgetpgrp(out.fileno()) == os.getpgrp()
        except (OSError, ValueError):  # no terminal of this session's: nobody is in the way
            return True

    class Keyboard:
        """there: is `source` a keyboard?"""

        def __init__(self, source: TextIO | None) -> None:
            self._before: list[Any] | None = None
            try:
                self._number = source.fileno() if source is not None else -1
                self.there = os.isatty(self._number)
            except (OSError, ValueError):  # closed, or no file
                self._number, self.there = -1, False

        def begin(self) -> None:
            """Keys come one by one and are not echoed; Ctrl-C and Ctrl-Z stay signals."""
            if self.there:
                self._before = termios.tcgetattr(self._number)
                tty.setcbreak(self._number, termios.TCSANOW)

        def end(self) -> None:
            """As it was; keys not read are thrown away, so that no shell runs them."""
            before, self._before = self._before, None
            if before is not None:
                try:
                    termios.tcflush(self._number, termios.TCIFLUSH)
                    termios.tcsetattr(self._number, termios.TCSANOW, before)
                except termios.error:  # it has gone
                    pass

        def read(self, wait_s: float) -> str:
            """Keys; "" for none within wait_s, "q" when nobody can press one any more."""
            end = time.monotonic() + wait_s
            ready, _, _ = select.select([self._number], [], [], max(end - time.monotonic(), 0.0))
            if not ready:
                return ""
            try:
                return os.read(self._number, 256).decode("ascii", "replace") or "q"
            except OSError:
                return "q"
