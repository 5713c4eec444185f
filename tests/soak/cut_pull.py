"""What the tests of cut pulls run in processes of their own, with as few imports as it takes:

    python cut_pull.py serve IMAGE            a virtual board, until it is killed
    python cut_pull.py pull PORT LIBRARY WHAT  until `WHAT` bytes, or seconds with an s behind
"""

from __future__ import annotations

import os
import signal
import sys
from pathlib import Path
from typing import Any

from steadyturn.board.link import Link
from steadyturn.board.stream import SerialStream


def serve(image: str) -> None:
    from steadyturn.rig.examples import example_path
    from steadyturn.rig.file import read_rig
    from steadyturn.twin.twin import Twin

    rig = read_rig(str(example_path("lakeside-hut")))
    with Twin(rig, image=Path(image), real_time=True) as twin:
        print(twin.port, flush=True)
        while True:
            twin.check()
            signal.sigtimedwait([signal.SIGUSR1], 1.0)


class Cut:
    """A line that does something once `count` bytes have passed, in either direction; what is
    on its way at that byte arrives up to there."""

    def __init__(self, stream: Any, count: int, what: Any) -> None:
        self.stream, self.left, self.what = stream, count, what

    def _pass(self, data: bytes) -> bytes:
        out = data[: max(self.left, 0)]
        self.left -= len(data)
        return out

    def read(self, most: int, timeout_s: float) -> bytes:
        self._act()
        return self._pass(self.stream.read(most, timeout_s))

    def write(self, data: bytes) -> None:
        self._act()
        out = self._pass(data)
        if out:
            self.stream.write(out)
        self._act()

    def _act(self) -> None:
        if self.left <= 0:
            self.what()

    def close(self) -> None:
        self.stream.close()


def pull_until(port: str, library: str, end: str) -> None:
    """Pull, and end by SIGKILL after so many bytes, or by a signal after so long."""
    from steadyturn.jobs.pull import pull_from
    from steadyturn.sessions.library import Library

    def die() -> None:
        os.kill(os.getpid(), signal.SIGKILL)

    stream: Any = SerialStream(port)
    if end.endswith("s"):
        signal.signal(signal.SIGALRM, signal.SIG_DFL)  # ends the process at once
        signal.setitimer(signal.ITIMER_REAL, float(end[:-1]))
    else:
        stream = Cut(stream, int(end), die)
    with Library(Path(library)) as shelf:
        link = Link(stream)
        link.wait(15)
        pull_from(link, shelf)


if __name__ == "__main__":
    {"serve": serve, "pull": pull_until}[sys.argv[1]](*sys.argv[2:])
