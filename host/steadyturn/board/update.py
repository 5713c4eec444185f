"""Bringing a board up to date: what should be on it, what differs, and the order of writing.

A power cut at any moment leaves the settings that were in force before or the new
ones, whole, never a part: every file is written under a temporary name and checked
on the board first; only then are they renamed, which littlefs does as one step. The
firmware's files come first, then the settings, then main.py, then the clearing up.
A cut among the renames may leave files of two versions: the board then says so by
its lamp or not at all, and the same command finishes the work.
"""

from __future__ import annotations

import contextlib
import re
import zlib
from collections.abc import Callable
from dataclasses import dataclass

import steadyturn_fw
from steadyturn_fw import fields

from steadyturn.board.files import TEMPORARY, Files, not_as_written, read_or_none, sha256
from steadyturn.board.link import settings_line
from steadyturn.board.stream import Gone, Stuck
from steadyturn.board.text import printable
from steadyturn.errors import Failed
from steadyturn.firmware import MAIN, MAIN_PY, PACKAGE, package_files

SETTINGS = fields.FILE

Progress = Callable[[int, int, str], None]  # bytes done, bytes in all, what is being done


@dataclass(frozen=True, slots=True)
class FileChange:
    """kind: new, changed, stale (removed from the board). bytes: its size when written."""

    path: str
    kind: str
    bytes: int


@dataclass(frozen=True, slots=True)
class Difference:
    """What must change on the board. settings_before: the bytes there now, None if none."""

    changes: tuple[FileChange, ...]
    settings_change: bool
    settings_before: bytes | None
    firmware_before: str | None

    @property
    def none(self) -> bool:
        return not self.changes and not self.settings_change


def version_of(hashes: dict[str, str], version: str) -> str:
    """Firmware named by its version and by what is in it, as 0.1.0+1a2b3c4d."""
    every = "".join(f"{path} {digest}\n" for path, digest in sorted(hashes.items()))
    return f"{version}+{sha256(every.encode())[:8]}"


def firmware_version() -> str:
    """This program's firmware, as `version_of` names it."""
    hashes = {path: sha256(data) for path, data in package_files().items()}
    return version_of(hashes, steadyturn_fw.VERSION)


def settings_crc(settings: bytes) -> int:
    """CRC-32 of the settings' line, as the file says it and a board reports it."""
    return zlib.crc32(settings_line(settings))


def compare(files: Files, settings: bytes) -> Difference:
    """What differs between the board and this program's firmware with these settings."""
    wanted = package_files()
    present = files.hashes(PACKAGE)
    changes = []
    for path, data in wanted.items():
        if path not in present:
            changes.append(FileChange(path, "new", len(data)))
        elif present[path] != sha256(data):
            changes.append(FileChange(path, "changed", len(data)))
    main = read_or_none(files, MAIN)
    if main != MAIN_PY:
        changes.append(FileChange(MAIN, "new" if main is None else "changed", len(MAIN_PY)))
    stale = [path for path in present if path not in wanted]
    # left by an update that was cut off
    for path in (MAIN + TEMPORARY, SETTINGS + TEMPORARY):
        if read_or_none(files, path) is not None:
            stale.append(path)
    changes += [FileChange(path, "stale", 0) for path in sorted(stale)]
    before = read_or_none(files, SETTINGS)
    return Difference(tuple(changes), before != settings, before, _version(files, present))


def _version(files: Files, present: dict[str, str]) -> str | None:
    """The firmware on the board; None when there is none."""
    ours = {path: digest for path, digest in present.items() if path.endswith(".py")}
    if not ours:
        return None
    init = read_or_none(files, f"{PACKAGE}/__init__.py") or b""
    match = re.search(rb'^VERSION = "([^"\n]*)"', init, re.M)
    return version_of(ours, printable(match[1], 16) if match else "?")


def apply(
    files: Files, settings: bytes, difference: Difference, progress: Progress | None = None
) -> None:
    """Write what differs, in the order above. Raises Failed; the settings in force are
    then the old ones or the new ones."""
    wanted = package_files()
    first = [c.path for c in difference.changes if c.kind != "stale" and c.path in wanted]
    content = {path: wanted[path] for path in first}
    if difference.settings_change:
        content[SETTINGS] = settings
    if any(c.path == MAIN and c.kind != "stale" for c in difference.changes):
        content[MAIN] = MAIN_PY
    total = sum(len(data) for data in content.values())
    done = 0

    def tell(what: str) -> None:
        if progress is not None:
            progress(done, total, what)

    begun: list[str] = []
    try:
        if first:
            files.mkdir(PACKAGE)
        for path, data in content.items():
            tell(f"writing {path}")
            begun.append(path + TEMPORARY)
            files.write(path + TEMPORARY, data)
            done += len(data)
        tell("checking what was written")
        _check(files, content)
    except (Gone, Stuck):
        raise  # nothing can be tidied now; the next update does it
    except Failed:  # a full flash above all: the journal needs the room
        for path in begun:
            with contextlib.suppress(Failed, OSError):
                files.remove(path)
        raise

    tell("putting it in force")
    for path in content:
        files.rename(path + TEMPORARY, path)
    for change in difference.changes:
        if change.kind == "stale" and change.path.removesuffix(TEMPORARY) not in content:
            files.remove(change.path)
    tell("done")


def _check(files: Files, content: dict[str, bytes]) -> None:
    """Is every temporary file on the board what was sent? Raises Failed."""
    stored = files.hashes(PACKAGE) if any(path.startswith(PACKAGE) for path in content) else {}
    for path, data in content.items():
        temporary = path + TEMPORARY
        if path.startswith(PACKAGE):
            right = stored.get(temporary) == sha256(data)
        else:
            right = read_or_none(files, temporary) == data
        if not right:
            raise not_as_written(path)
