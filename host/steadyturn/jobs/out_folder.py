"""A folder that a command fills: which files in it are ours, and writing all of one or nothing.

A list of names and checksums lies beside the files, so that what somebody changed, or put there,
is neither written over nor taken away.
"""

from __future__ import annotations

import hashlib
import json
import os
import tempfile
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from steadyturn.errors import Problem, WrongInput


def ours(folder: Path, listing: str, example: str) -> dict[str, str]:
    """Files of an earlier run in this folder and their checksums, by its list; WrongInput where
    it is no folder, or nothing may be written there."""
    if folder.exists() and not folder.is_dir():
        raise WrongInput(Problem("--out", "", str(folder), "this is not a folder.",
                                 f"Name a new one, for example {example}"))
    there = folder.absolute()
    while not there.exists() and there != there.parent:
        there = there.parent
    if not os.access(there, os.W_OK | os.X_OK):
        raise WrongInput(Problem("--out", "", str(folder), "nothing may be written there.",
                                 "Name a folder within one of your own, or allow it: chmod u+w "
                                 f"{there}"))
    try:
        read: Any = json.loads((folder / listing).read_text(encoding="utf-8"))
        found = read["files"]
        return {n: s for n, s in found.items()
                if isinstance(n, str) and isinstance(s, str) and Path(n).name == n}
    except (OSError, ValueError, KeyError, TypeError, AttributeError):
        return {}


def refuse(folder: Path, names: Sequence[str], mine: Mapping[str, str], *, force: bool) -> None:
    """WrongInput where the folder holds files of these names that are not ours."""
    foreign = []
    for name in names:
        path = folder / name
        if not os.path.lexists(path):
            continue
        if path.is_dir() or (not force and checksum_of(path) != mine.get(name)):
            foreign.append(name)
    if foreign:
        some = ", ".join(foreign[:4]) + (f" and {len(foreign) - 4} more" if len(foreign) > 4
                                         else "")
        raise WrongInput(Problem(
            "--out", "", str(folder), f"{some}: not written by this command, or changed since.",
            "Choose another folder, or --force to write over them."))


def tidy(folder: Path, old: Mapping[str, str]) -> list[str]:
    """Take away these older files of ours; those that somebody changed stay, and are returned."""
    kept = []
    for name, was in old.items():
        path = folder / name
        if not path.is_file():
            continue
        if checksum_of(path) == was:
            path.unlink()
        else:
            kept.append(name)
    return kept


def record(folder: Path, listing: str, made_for: str, sums: Mapping[str, str]) -> None:
    """Write the list of what is ours."""
    text = json.dumps({"made_for": made_for, "files": dict(sorted(sums.items()))}, indent=2,
                      ensure_ascii=False)
    whole(folder / listing, (text + "\n").encode())


def checksum(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()


def checksum_of(path: Path) -> str:
    """"" for one that cannot be read."""
    try:
        return checksum(path.read_bytes())
    except OSError:
        return ""


def whole(path: Path, data: bytes) -> None:
    """All of a file or nothing."""
    handle, unseen = tempfile.mkstemp(prefix=".", dir=path.parent)
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(data)
        os.chmod(unseen, 0o644)
        os.replace(unseen, path)
    except BaseException:
        Path(unseen).unlink(missing_ok=True)
        raise
