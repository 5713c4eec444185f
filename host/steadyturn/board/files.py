"""The files on a board: what any way to them must offer, and what is built on that.

Board paths are absolute, with forward slashes.
"""

from __future__ import annotations

import hashlib
from typing import Protocol

from steadyturn.board.text import printable
from steadyturn.errors import Failed

TEMPORARY = ".new"  # a file is written under its name plus this, checked, then renamed


class Missing(Failed):
    """There is no such file on the board."""


class Files(Protocol):
    """While it is open the board's program is stopped. All raise Failed; reading what is
    not there raises Missing."""

    def hashes(self, folder: str) -> dict[str, str]:
        """SHA-256 in hex, worked out on the board, of every file below a folder, by its
        full path; {} when there is no such folder."""
        ...

    def read(self, path: str) -> bytes: ...

    def write(self, path: str, data: bytes) -> None:
        """Not safe against a power cut: see `put`."""
        ...

    def rename(self, old: str, new: str) -> None:
        """A file takes the place of one that is there, a folder that of an empty one."""
        ...

    def remove(self, path: str) -> None:
        """A file, or an empty folder."""
        ...

    def mkdir(self, path: str) -> None:
        """With its parents; one that is there is left as it is."""
        ...

    def mpy_version(self) -> int:
        """Of the .mpy files that the board's MicroPython reads; 0: it reads none."""
        ...

    def restart(self) -> None:
        """Start the board anew so that its program runs; these files are closed then."""
        ...

    def close(self) -> None: ...


def sha256(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()


def read_or_none(files: Files, path: str) -> bytes | None:
    try:
        return files.read(path)
    except (Missing, FileNotFoundError):
        return None


def not_as_written(path: str) -> Failed:
    return Failed(
        f"{printable(path)}: what the board stored is not what was sent.",
        "Try again with a shorter cable and without a hub. If it stays, the board's flash is "
        "worn out. What was in force before still is.",
    )


def put(files: Files, path: str, data: bytes) -> None:
    """Write a small file so that a power cut leaves the old one or the new one, whole."""
    temporary = path + TEMPORARY
    files.write(temporary, data)
    if files.read(temporary) != data:
        raise not_as_written(path)
    files.rename(temporary, path)
