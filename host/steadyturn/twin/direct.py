"""The virtual board without a serial port: the console as a stream, the flash as files.

It offers what a serial port and the raw REPL offer, to clients in this process. While
one is open the board has USB power and time is real, as with a port.
"""

from __future__ import annotations

import hashlib
import os
import time
from pathlib import Path
from typing import TYPE_CHECKING

from steadyturn.errors import Failed
from steadyturn.twin.engine import PROMPT

if TYPE_CHECKING:
    from steadyturn.twin.twin import Twin

STOP_S = 12.0  # the program may still be saving a page when it is stopped
AGAIN_S = 1.0


class Direct:
    def __init__(self, twin: Twin) -> None:
        self._twin = twin

    def stream(self) -> DirectStream:
        """The console; close it when done."""
        return DirectStream(self._twin)

    def files(self) -> DirectFiles:
        """The board's files; its program is stopped until `restart`."""
        return DirectFiles(self._twin)


class _Client:
    """Somebody at the console, until close()."""

    def __init__(self, twin: Twin) -> None:
        self._twin = twin
        self._wires = twin._engine.wires
        self._open = True
        self._wires.clients += 1

    def close(self) -> None:
        if self._open:
            self._open = False
            self._wires.clients -= 1

    def _check(self) -> None:
        if not self._open or self._twin.stopped:
            raise Failed("virtual board: it has been stopped.")


class DirectStream(_Client):
    def read(self, max_bytes: int, timeout_s: float) -> bytes:
        self._check()
        data: bytes = self._wires.read(max_bytes, timeout_s)
        return data

    def write(self, data: bytes) -> None:
        self._check()
        self._wires.write(bytes(data))


class DirectFiles(_Client):
    """Paths are the board's: absolute, with forward slashes."""

    def __init__(self, twin: Twin) -> None:
        super().__init__(twin)
        try:
            self._stop_program()
        except BaseException:
            self.close()
            raise

    def _stop_program(self) -> None:
        end = time.monotonic() + STOP_S
        again = 0.0
        engine = self._twin._engine
        while engine.state != PROMPT:
            now = time.monotonic()
            self._check()
            if now > end:
                raise Failed("virtual board: its program does not stop.")
            if engine.takes_input and now > again:
                self._wires.write(b"\x03")
                again = now + AGAIN_S
            self._wires.read(65536, 0.005)  # what it prints would hold it up

    def _path(self, name: str) -> Path:
        self._check()
        root: Path = self._twin._engine.flash.path
        path = Path(os.path.normpath(root / name.lstrip("/")))
        if not path.is_relative_to(root):
            raise Failed(f"{name}: this path leads off the board.")
        return path

    def hashes(self, folder: str) -> dict[str, str]:
        root = self._path("/")
        return {
            "/" + path.relative_to(root).as_posix(): hashlib.sha256(path.read_bytes()).hexdigest()
            for path in sorted(self._path(folder).rglob("*"))
            if path.is_file()
        }

    def read(self, path: str) -> bytes:
        """Raises FileNotFoundError when it is not there."""
        return self._path(path).read_bytes()

    def write(self, path: str, data: bytes) -> None:
        self._path(path).write_bytes(data)

    def rename(self, old: str, new: str) -> None:
        self._path(old).replace(self._path(new))

    def remove(self, path: str) -> None:
        target = self._path(path)
        if target.is_dir():
            target.rmdir()
        else:
            target.unlink()

    def mkdir(self, path: str) -> None:
        self._path(path).mkdir(parents=True, exist_ok=True)

    def mpy_version(self) -> int:
        return 0  # CPython reads source

    def restart(self) -> None:
        self._check()
        with self._twin._turn() as engine:
            engine.restart()
