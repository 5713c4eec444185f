"""How far a pull is, on stderr: a bar with rate and time left at a terminal, else one line."""

from __future__ import annotations

import sys
import time
from collections import deque
from typing import TextIO

from steadyturn.report.style import columns, duration, fill

PAGE_BYTES = 220
EVERY_S = 0.1  # how often it is drawn
SPAN_S = 5.0  # the rate is that of the last seconds: a board may slow down


class Progress:
    """Called with page numbers done, in all, and pages that came; `end()` clears the line."""

    def __init__(self, quiet: bool = False, out: TextIO | None = None) -> None:
        self._out = out or sys.stderr
        self._quiet = quiet
        self._moving = self._out.isatty()
        self._drawn_s = 0.0
        self._shown = 0
        self._seen: deque[tuple[float, int, int]] = deque()

    def __call__(self, done: int, total: int, came: int) -> None:
        if self._quiet or not total:
            return
        now = time.monotonic()
        if not self._seen and not self._moving:
            self._write(f"pulling {total:,} page{'s' if total > 1 else ''} ...\n")
        if not self._seen or now - self._seen[-1][0] >= EVERY_S:
            self._seen.append((now, done, came))
            while now - self._seen[0][0] > SPAN_S and len(self._seen) > 2:
                self._seen.popleft()
        if self._moving and (now - self._drawn_s >= EVERY_S or done == total):
            self._drawn_s = now
            self._draw(self.line(now, done, total, came))

    def line(self, now: float, done: int, total: int, came: int) -> str:
        """What is drawn: how much, how fast, how long still; in a narrow window less."""
        width = columns() - 1
        begun, first_done, first_came = self._seen[0]
        passed = now - begun
        words = f"{done:,} of {total:,} pages"
        rate = left = ""
        if passed >= 0.5 and done > first_done:
            rate = f"  {(came - first_came) * PAGE_BYTES / passed / 1000:.0f} kB/s"
            left = f"  {duration((total - done) * passed / (done - first_done))} left"
        bar = f"{fill(done / total, 20)} "
        for line in (bar + words + rate + left, words + rate + left, words + left):
            if len(line) <= width:
                return line
        return words[:width]

    def waits(self) -> None:
        """The board does not answer yet."""
        if self._quiet:
            return
        said = "waiting for the board's answer ..."
        if self._moving:
            self._draw(said)
        else:
            self._write(said + "\n")

    def end(self) -> None:
        if self._shown:
            self._draw("")
            self._write("\r")

    def _draw(self, line: str) -> None:
        self._write("\r" + line.ljust(self._shown))
        self._shown = len(line)

    def _write(self, text: str) -> None:
        self._out.write(text)
        self._out.flush()
