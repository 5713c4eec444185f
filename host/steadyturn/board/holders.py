"""Which programs have a port open, and on which ports virtual boards run: what Linux tells
in /proc, as far as this user may read it. Elsewhere nothing is found.
"""

from __future__ import annotations

import contextlib
import os
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

from steadyturn.board.text import printable

PROC = Path("/proc")
MASTERS = ("/dev/ptmx", "/dev/pts/ptmx")  # a pseudo-terminal's near side, where its maker is


@dataclass(frozen=True, slots=True)
class Holder:
    """A program that has the port open; pid: its number."""

    program: str
    pid: int

    def __str__(self) -> str:
        return f"{self.program} (process {self.pid})"


def holders(device: str, proc: Path = PROC) -> tuple[Holder, ...]:
    """Programs other than this one that have the port open."""
    wanted = {device, os.path.realpath(device)}
    found = []
    for pid in _processes(proc):
        if pid != os.getpid() and any(target in wanted for _, target in _open(proc, pid)):
            found.append(Holder(_program(proc, pid), pid))
    return tuple(found)


def virtual_boards(proc: Path = PROC) -> tuple[tuple[str, int], ...]:
    """(port, process) of each virtual board that runs here. A `steadyturn twin` makes two
    pseudo-terminals: that for clients, and its interpreter's console, which its child holds."""
    twins = [pid for pid in _processes(proc) if _is_twin(proc, pid)]
    found = []
    for pid in twins:
        ports = {port for number, target in _open(proc, pid) if target in MASTERS
                 and (port := _far_side(proc, pid, number))}
        consoles = {target for child in _processes(proc) if _parent(proc, child) == pid
                    for _, target in _open(proc, child)} if len(ports) > 1 else set()
        found += [(port, pid) for port in sorted(ports - consoles)]
    return tuple(found)


def _processes(proc: Path) -> list[int]:
    try:
        return sorted(int(name) for name in os.listdir(proc) if name.isdigit())
    except OSError:
        return []


def _open(proc: Path, pid: int) -> list[tuple[str, str]]:
    """(descriptor, what it is) of a process; nothing where it may not be read."""
    found = []
    folder = f"{proc}/{pid}/fd"
    with contextlib.suppress(OSError):
        for number in os.listdir(folder):
            with contextlib.suppress(OSError):  # closed meanwhile
                found.append((number, os.readlink(f"{folder}/{number}")))
    return found


def _read(path: str) -> bytes:
    try:
        with open(path, "rb") as file:
            return file.read(4096)
    except OSError:
        return b""


def _program(proc: Path, pid: int) -> str:
    return printable(_read(f"{proc}/{pid}/comm").strip(), 32) or "a program"


def _is_twin(proc: Path, pid: int) -> bool:
    words = _read(f"{proc}/{pid}/cmdline").split(b"\0")
    return any(
        word == b"twin" and (os.path.basename(before) == b"steadyturn"
                             or before.endswith(b"steadyturn/__main__.py"))
        for before, word in pairwise(words))


def _parent(proc: Path, pid: int) -> int:
    after_name = _read(f"{proc}/{pid}/stat").rpartition(b")")[2].split()  # state, parent, ...
    return int(after_name[1]) if len(after_name) > 1 else 0


def _far_side(proc: Path, pid: int, number: str) -> str:
    for line in _read(f"{proc}/{pid}/fdinfo/{number}").splitlines():
        name, _, value = line.partition(b":")
        if name == b"tty-index" and value.strip().isdigit():
            return f"/dev/pts/{int(value)}"
    return ""
