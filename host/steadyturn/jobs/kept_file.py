"""A person's file with a new text, the old one kept beside it: `my.toml` and `my.toml.before`."""

from __future__ import annotations

import os
import stat
from pathlib import Path

from steadyturn.errors import Failed, Problem, WrongInput
from steadyturn.jobs.new import write_whole
from steadyturn.rig.examples import FOLDER as EXAMPLES
from steadyturn.rig.toml_text import read_text


def beside(path: Path) -> Path:
    """Where the old one is kept; no .toml at its end, so that no command takes it for a rig.

    >>> beside(Path("my.toml")).name
    'my.toml.before'
    """
    return path.with_name(path.name + ".before")


def refuse_unwritable(path: Path) -> None:
    """WrongInput where the rig file at `path` may not be changed; to be asked before a question
    is. An example stays as it ships, a file that its owner made read-only too."""
    if path.resolve().parent == EXAMPLES.resolve():
        raise WrongInput(Problem("RIG", "", path.stem, "this example ships with the program and "
                                 "is not changed.", f"Copy it first: cp {path} my.toml"))
    for at in (path, beside(path)):
        if at.exists() and not (at.stat().st_mode & stat.S_IWUSR and os.access(at, os.W_OK)):
            raise WrongInput(Problem("RIG", "", str(at), "it may only be read.",
                                     f"Allow it: chmod u+w {at}"))
    folder = path.resolve().parent
    if not os.access(folder, os.W_OK):
        raise WrongInput(Problem("RIG", "", str(path), "nothing may be written into its folder.",
                                 f"Allow it: chmod u+w {folder}"))


def put(path: Path, text: str, before: str | None) -> Path:
    """Write `text` to `path`, what stood there kept beside it; returns where. before: what was
    read from it, None where there was no such file. Failed, and nothing is written, where it
    says something else by now.

    Stopped at any moment, the file is the old one or the new one, and `kept` finds the other.
    """
    if _text(path) != before:
        raise Failed(f"{path} was changed by another program meanwhile; nothing was written.",
                     "Run the same command again: it reads the file anew.")
    real = path.resolve()  # a link stays a link
    if before is not None:
        write_whole(_coming(real), before, force=True)
    write_whole(real, text, force=True)
    if before is not None:
        _coming(real).replace(beside(real))
    return beside(real if path.is_symlink() else path)


def kept(path: Path) -> str | None:
    """What stood in the file before its last change; None where nothing was kept."""
    real = path.resolve()
    coming, now = _text(_coming(real)), _text(real)
    if coming is not None and coming != now:  # stopped after the file was written
        return coming
    return _text(beside(real))


def _coming(path: Path) -> Path:
    return path.with_name(path.name + ".before.new")


def _text(path: Path) -> str | None:
    try:
        return read_text(path)
    except WrongInput:
        return None
