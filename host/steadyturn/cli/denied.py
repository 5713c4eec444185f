"""A file that may not be written or read: which option named it, and what to do."""

from __future__ import annotations

import errno
from collections.abc import Iterator, Sequence
from pathlib import Path

from steadyturn.errors import Problem

DENIED = (errno.EACCES, errno.EPERM, errno.EROFS)


def problem(failed: OSError, args: Sequence[str]) -> Problem | None:
    """args: the command line. None where it is no matter of permission, or nothing that was typed
    names that place.

    >>> str(problem(PermissionError(13, "Permission denied", "w/parts.csv"), ["--out", "w"]))
    '--out: w: w/parts.csv may not be written or read. Name a place in a folder of your own, \
or allow it (chmod u+rw).'
    >>> problem(PermissionError(13, "Permission denied", "/dev/ttyACM0"), ["wiring", "hut"])
    """
    if failed.errno not in DENIED or not isinstance(failed.filename, str):
        return None
    file = Path(failed.filename).absolute()
    for option, value in _named(args):
        place = Path(value).absolute()
        kept = file.parent == place.parent and file.name.startswith(f"{place.name}.")
        if value and (place in (file, *file.parents) or kept):
            what = "it" if file == place else failed.filename
            return Problem(option, "", value, f"{what} may not be written or read.",
                           "Name a place in a folder of your own, or allow it (chmod u+rw).")
    return None


def _named(args: Sequence[str]) -> Iterator[tuple[str, str]]:
    """What may be a file's name, and the option before it."""
    before = ""
    for word in args:
        if word.startswith("--") and "=" in word:
            option, _, value = word.partition("=")
            yield option, value
        elif not word.startswith("-"):
            yield before if before.startswith("--") else "the file", word
        before = word
