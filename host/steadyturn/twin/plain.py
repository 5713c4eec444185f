"""The virtual board on CPython, for systems without MicroPython's Unix port.

The firmware's logic runs unchanged, on stand-ins for MicroPython's own modules. What
is not exercised: MicroPython itself, its memory, littlefs, torn flash operations and a
serial port.
"""

from __future__ import annotations

import os
import queue
import signal
import subprocess
import sys
import threading
from pathlib import Path

from steadyturn.errors import Failed
from steadyturn.twin.flash import Operation
from steadyturn.twin.process import STAND_INS, Child, Question

NOT_EXERCISED = (
    "MicroPython and its memory", "littlefs and torn flash operations", "the serial port",
)


def folder_of(image: Path) -> Path:
    """Where the files of a board without an image are kept."""
    return image.with_name(image.name + ".files")


class PlainFlash:
    """A folder beside the image stands in for the flash; writing to it takes no time."""

    def __init__(self, image: Path, seed: int = 0) -> None:
        self.path = folder_of(image)
        self.unique: bytes | None = None  # none is kept: nobody can pull from this board
        self.log: list[Operation] | None = None
        self.erases = 0
        self.pages = 0
        try:
            self.path.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise Failed(f"{self.path}: {error.strerror or error}.",
                         "The virtual board keeps its files in this folder.") from None

    def cut(self) -> bool:
        return False

    def close(self) -> None:
        """Nothing is held."""


class PlainChild(Child):
    """CPython on two pipes. A thread reads them, since not every system can poll pipes."""

    def __init__(self, environment: dict[str, str]) -> None:
        super().__init__()
        self.process = subprocess.Popen(
            [sys.executable, "-I", "-S", str(STAND_INS / "_plain.py")],
            stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, bufsize=0,
            env={**os.environ, **environment},
        )
        assert self.process.stdin is not None
        assert self.process.stdout is not None
        self.to_child = self.process.stdin.fileno()
        self.from_child = self.process.stdout.fileno()
        self._questions: queue.SimpleQueue[Question | None] = queue.SimpleQueue()
        self._next: tuple[Question | None] | None = None
        self._reader = threading.Thread(target=self._read, name="questions", daemon=True)
        self._reader.start()

    def _read(self) -> None:
        while True:
            question = super().ask()
            self._questions.put(question)
            if question is None:
                return

    def ready(self, timeout_ms: int) -> bool:
        if self._next is None:
            try:
                self._next = (self._questions.get(timeout_ms > 0, timeout_ms / 1000),)
            except queue.Empty:
                return False
        return True

    def ask(self) -> Question | None:
        while not self.ready(1000):
            pass
        assert self._next is not None
        question = self._next[0]
        if question is not None:  # the end stays the end
            self._next = None
        return question

    def kill(self) -> None:
        self.process.kill()
        self._reader.join()
        self.close()

    def close(self) -> None:
        for pipe in (self.process.stdin, self.process.stdout):
            if pipe is not None:
                pipe.close()
        self.process.wait()

    def read_console(self) -> bytes:
        """Its console comes as questions."""
        return b""

    def write_console(self, data: bytes) -> None:
        """Its input goes with the answers."""

    def catches_interrupt(self) -> bool | None:
        return True

    def interrupt(self) -> None:
        if os.name == "posix":
            self.process.send_signal(signal.SIGINT)


def spawn_plain(environment: dict[str, str]) -> PlainChild:
    return PlainChild(environment)
