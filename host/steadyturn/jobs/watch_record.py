"""A watch written down: one JSON object a line, as `--json` prints them."""

from __future__ import annotations

import os
from collections.abc import Generator, Iterable
from pathlib import Path
from typing import TypeVar

from steadyturn.errors import Failed, Problem, WrongInput
from steadyturn.report.objects import to_line

T = TypeVar("T")


class Record:
    """The file, made at once, so that what is wrong with its name is said before anything
    else; lines reach it whole, one at a time."""

    def __init__(self, path: Path, *, force: bool = False) -> None:
        """Raises WrongInput: it is there already (unless `force`), or cannot be made."""
        self.path = path
        self.lines = 0
        how = os.O_TRUNC if force else os.O_EXCL
        try:
            self._number = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_APPEND | how, 0o644)
        except FileExistsError:
            raise WrongInput(Problem(
                "--record", "", str(path), "this file is already there.",
                "Choose another name, or --force to write over it.")) from None
        except (OSError, ValueError) as failed:
            said = getattr(failed, "strerror", None) or failed
            raise WrongInput(Problem(
                "--record", "", str(path), f"this file cannot be made ({said}).",
                "Name one in a folder that is there and that you may write to.")) from None

    def add(self, look: object) -> None:
        """Raises Failed where the file takes no more; it then ends with a whole line."""
        data = (to_line(look) + "\n").encode()
        written = 0
        try:
            while written < len(data):
                written += os.write(self._number, data[written:])
        except OSError as failed:
            self._cut(written)
            raise Failed(
                f"{self.path}: the record cannot be written further ({failed.strerror}); the "
                f"{self.lines} looks before are in it.",
                "The board was not disturbed and goes on. Make room, or record elsewhere.",
            ) from None
        self.lines += 1

    def _cut(self, half: int) -> None:
        try:
            os.ftruncate(self._number, os.fstat(self._number).st_size - half)
        except OSError:  # a device or a pipe has no end to cut
            return

    def close(self) -> None:
        os.close(self._number)


def recorded(looks: Iterable[T], path: Path | None, *, force: bool = False
             ) -> Generator[T, None, None]:
    """The same looks, each written to `path` first (None: nowhere). The file is made at once."""
    record = None if path is None else Record(path, force=force)
    return _recorded(looks, record)


def _recorded(looks: Iterable[T], record: Record | None) -> Generator[T, None, None]:
    try:
        for look in looks:
            if record is not None:
                record.add(look)
            yield look
    finally:
        if record is not None:
            record.close()
