"""Bringing a board up to date: what should be on it, what differs, and the order of writing.

A power cut at any moment leaves a board that charges: every file is written beside the
ones in force and checked on the board; then main.py and the settings are renamed, which
littlefs does as one step, and last the folder of the firmware is exchanged as a whole by two
renames. Between these two, and where the new files turn out broken, main.py takes the
folder from before. Old firmware that does not understand the new settings takes those that
it had (steadyturn_fw.settings). The same command finishes the work.
"""

from __future__ import annotations

import contextlib
import re
import zlib
from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass

import steadyturn_fw
from steadyturn_fw import fields

from steadyturn.board.files import (
    TEMPORARY,
    Files,
    Missing,
    not_as_written,
    read_or_none,
    sha256,
)
from steadyturn.board.link import settings_line
from steadyturn.board.stream import Gone, Stuck
from steadyturn.board.text import printable
from steadyturn.errors import Failed
from steadyturn.firmware import MAIN, MAIN_PY, PACKAGE, files_for, package_files

SETTINGS = fields.FILE
KEPT = SETTINGS.removesuffix(".json") + ".old.json"  # the previous ones, kept by the board
NEXT = "/next/steadyturn_fw"  # the new folder while it is written,
BEFORE = "/prev/steadyturn_fw"  # and the one before the last update
LEFT_OVER = tuple(path + TEMPORARY for path in (MAIN, SETTINGS, KEPT))

Progress = Callable[[int, int, str], None]  # bytes done, bytes in all, what is being done


@dataclass(frozen=True, slots=True)
class FileChange:
    """kind: new, changed, stale (removed from the board). bytes: its size when written."""

    path: str
    kind: str
    bytes: int


@dataclass(frozen=True, slots=True)
class Difference:
    """What must change on the board. wanted: the package's files by their paths there.
    settings_before: the bytes there now, None if none. compiled: as .mpy."""

    changes: tuple[FileChange, ...]
    settings_change: bool
    settings_before: bytes | None
    firmware_before: str | None
    firmware_after: str
    wanted: Mapping[str, bytes]
    keep_settings: bool = False

    @property
    def compiled(self) -> bool:
        return any(path.endswith(".mpy") for path in self.wanted)

    @property
    def package_changes(self) -> bool:
        return any(c.path.startswith(PACKAGE) for c in self.changes)

    @property
    def none(self) -> bool:
        return not self.changes and not self.settings_change


def version_of(hashes: dict[str, str], version: str) -> str:
    """Firmware named by its version and by what is in it, as 0.1.0+1a2b3c4d."""
    every = "".join(f"{path} {digest}\n" for path, digest in sorted(hashes.items()))
    return f"{version}+{sha256(every.encode())[:8]}"


def firmware_version(files: Mapping[str, bytes] | None = None) -> str:
    """This program's firmware, as `version_of` names it."""
    found = package_files() if files is None else files
    hashes = {path: sha256(data) for path, data in found.items()}
    return version_of(hashes, steadyturn_fw.VERSION)


def settings_crc(settings: bytes) -> int:
    """CRC-32 of the settings' line, as the file says it and a board reports it."""
    return zlib.crc32(settings_line(settings))


def compare(files: Files, settings: bytes) -> Difference:
    """What differs between the board and this program's firmware with these settings."""
    wanted = files_for(files.mpy_version())
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
    stale += files.hashes(NEXT)
    stale += [path for path in LEFT_OVER if read_or_none(files, path) is not None]
    changes += [FileChange(path, "stale", 0) for path in sorted(stale)]
    alone = settings_alone(files, settings)
    return Difference(
        tuple(changes), alone.settings_change, alone.settings_before, _version(files, present),
        firmware_version(wanted), wanted, alone.keep_settings,
    )


def settings_alone(files: Files, settings: bytes) -> Difference:
    """The same where only the settings are to be written: the firmware stays, whatever it is."""
    before = read_or_none(files, SETTINGS)
    keep = before != settings and _is_whole(before) and read_or_none(files, KEPT) is None
    return Difference((), before != settings, before, None, "", {}, keep)


def _is_whole(settings: bytes | None) -> bool:
    """Are these settings that some firmware may take?"""
    if settings is None:
        return False
    crc = f'"{settings_crc(settings):08x}"'.encode()
    return bool(settings_line(settings)) and crc in settings.split(b"\n")[0]


def _version(files: Files, present: dict[str, str]) -> str | None:
    """The firmware on the board; None when there is none."""
    ours = {p: digest for p, digest in present.items() if p.endswith((".py", ".mpy"))}
    if not ours:
        return None
    init = read_or_none(files, f"{PACKAGE}/__init__.py") or b""
    match = re.search(rb'^VERSION = "([^"\n]*)"', init, re.M)
    return version_of(ours, printable(match[1], 16) if match else "?")


def to_write(settings: bytes, difference: Difference) -> dict[str, bytes]:
    """What is written, by the paths under which it is: of the firmware all of it or nothing."""
    content: dict[str, bytes] = {}
    if difference.package_changes:
        content = {NEXT + p.removeprefix(PACKAGE): d for p, d in difference.wanted.items()}
    if any(c.path == MAIN and c.kind != "stale" for c in difference.changes):
        content[MAIN + TEMPORARY] = MAIN_PY
    if difference.keep_settings and difference.settings_before is not None:
        content[KEPT + TEMPORARY] = difference.settings_before
    if difference.settings_change:
        content[SETTINGS + TEMPORARY] = settings
    return content


def apply(
    files: Files, settings: bytes, difference: Difference, progress: Progress | None = None
) -> None:
    """Write what differs, in the order above. Raises Failed; the board then runs with what
    it had, or with the new."""
    content = to_write(settings, difference)
    total = sum(len(data) for data in content.values())
    done = 0

    def tell(what: str) -> None:
        if progress is not None:
            progress(done, total, what)

    begun: list[str] = []
    try:
        if difference.package_changes:
            tell("making room")
            _make_room(files, difference)
        else:
            _remove_folder(files, NEXT, ())  # left by an update that was cut off
        there = files.hashes(NEXT)
        for path, data in content.items():
            tell(f"writing {_final(path)}")
            if there.get(path) != sha256(data):
                begun.append(path)
                files.write(path, data)
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
        if path.endswith(TEMPORARY):
            files.rename(path, path.removesuffix(TEMPORARY))
    if difference.package_changes:
        if files.hashes(PACKAGE):
            files.mkdir(BEFORE.rsplit("/", 1)[0])
            files.rename(PACKAGE, BEFORE)
        else:
            _remove_folder(files, PACKAGE, ())  # an empty one
        files.mkdir(PACKAGE.rsplit("/", 1)[0])
        files.rename(NEXT, PACKAGE)
    for change in difference.changes:
        if change.path in LEFT_OVER and change.path not in content:
            files.remove(change.path)
    tell("done")


def _final(path: str) -> str:
    """Where a file ends up that is written under this path."""
    return PACKAGE + path.removeprefix(NEXT) if path.startswith(NEXT) \
        else path.removesuffix(TEMPORARY)


def _make_room(files: Files, difference: Difference) -> None:
    """No more than two sets of the firmware are on the board at a time: the one before goes,
    unless it is the only one, and of one that was cut off whatever does not belong."""
    if files.hashes(PACKAGE):
        _remove_folder(files, BEFORE, ())
    _remove_folder(files, NEXT, {NEXT + p.removeprefix(PACKAGE) for p in difference.wanted})
    files.mkdir(NEXT)


def _remove_folder(files: Files, folder: str, but: Collection[str]) -> None:
    left = 0
    for path in files.hashes(folder):
        if path in but:
            left += 1
        else:
            files.remove(path)
    if not left:
        with contextlib.suppress(Missing, FileNotFoundError):
            files.remove(folder)


def _check(files: Files, content: Mapping[str, bytes]) -> None:
    """Is everything on the board what was sent? Raises Failed."""
    stored = files.hashes(NEXT) if any(path.startswith(NEXT) for path in content) else {}
    for path, data in content.items():
        if path.startswith(NEXT):
            right = stored.get(path) == sha256(data)
        else:
            right = read_or_none(files, path) == data
        if not right:
            raise not_as_written(_final(path))
