"""Files straight onto a flash image, for tests and for a board that starts complete.

The normal way onto a virtual board is its serial port; this one needs none.
"""

from __future__ import annotations

import os
import tempfile
from collections.abc import Mapping
from pathlib import Path

from steadyturn.errors import Failed
from steadyturn.firmware import MAIN, MAIN_PY, package_files
from steadyturn.twin.flash import Flash
from steadyturn.twin.interpreter import Interpreter
from steadyturn.twin.process import STAND_INS, UnixChild
from steadyturn.twin.stand_ins import _ops

SETTINGS = "/settings.json"
PATIENCE_MS = 20_000


def firmware() -> dict[str, bytes]:
    """The firmware's files and main.py, by their paths on a board."""
    return {**package_files(), MAIN: MAIN_PY}


def lay_out(folder: Path, files: Mapping[str, bytes]) -> None:
    """Write the files below `folder`, as they stand below a board's root."""
    for name, data in files.items():
        path = folder / name.lstrip("/")
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(data)


def install(flash: Flash, interpreter: Interpreter, files: Mapping[str, bytes]) -> None:
    """Copy the files onto the image (formatted first if it holds no file system)."""
    with tempfile.TemporaryDirectory(prefix="steadyturn-") as folder:
        lay_out(Path(folder), files)
        child = UnixChild(
            interpreter,
            {"TWIN_IMAGE": str(flash.path.resolve()), "TWIN_SOURCE": folder},
            STAND_INS / "_install.py",
        )
        said = b""
        try:
            while child.ready(PATIENCE_MS):
                got = child.ask()
                if got is None:
                    break
                words, data = got
                op = words[_ops.A_OP]
                if op == _ops.PROMPT:
                    break
                if op in (_ops.PROGRAM, _ops.ERASE):
                    flash.start(0.0, words[_ops.A_1], data if op == _ops.PROGRAM else None)
                    flash.finish()
                child.answer((words[_ops.A_SEQ],) + (0,) * (_ops.ANSWER_WORDS - 1))
            said = child.read_console()
        finally:
            child.kill()
    if b"installed" not in said:
        lines = said.decode("utf-8", "replace").strip().splitlines()
        raise Failed(f"{os.fspath(flash.path)}: the files could not be put on the flash image"
                     + (f": {lines[-1]}." if lines else "."))
