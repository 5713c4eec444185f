"""A person's file with a new text, the old ones kept beside it: `my.toml`, and
`my.toml.before`, `my.toml.before.2` and so on, the newest with the highest number."""

from __future__ import annotations

import os
import re
import stat
from pathlib import Path

from steadyturn.errors import Failed, Problem, WrongInput
from steadyturn.jobs.new import write_whole
from steadyturn.rig.examples import FOLDER as EXAMPLES
from steadyturn.rig.toml_text import read_text


def beside(path: Path) -> Path:
    """Where the first one is kept; no .toml at its end, so that no command takes it for a rig.

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
    if path.exists() and not (path.stat().st_mode & stat.S_IWUSR and os.access(path, os.W_OK)):
        raise WrongInput(Problem("RIG", "", str(path), "it may only be read.",
                                 f"Allow it: chmod u+w {path}"))
    folder = path.resolve().parent
    if not os.access(folder, os.W_OK):
        raise WrongInput(Problem("RIG", "", str(path), "nothing may be written into its folder.",
                                 f"Allow it: chmod u+w {folder}"))


def put(path: Path, text: str, before: str | None, *, walking: bool = False) -> Path:
    """Write `text` to `path`, what stood there kept beside it; returns where. before: what was
    read from it, None where there was no such file. walking: from one kept file to another, so
    that their order stays. Failed, and nothing is written, where it says something else by now.

    No text that was kept is ever lost. Stopped at any moment, the file is the old one
    or the new one, and the old one is kept.
    """
    if _text(path) != before:
        raise Failed(f"{path} was changed by another program meanwhile; nothing was written.",
                     "Run the same command again: it reads the file anew.")
    real = path.resolve()  # a link stays a link
    at = beside(real)
    if before is not None:
        at = _keep(real, before, walking)
    write_whole(real, text, force=True)
    for one in history(real) if not walking else ():
        if one != at and _text(one) == text:  # made anew, it is the newest, and no step back
            one.unlink()
    return at if path.is_symlink() else path.with_name(at.name)


def history(path: Path) -> list[Path]:
    """All that is kept of a file, the oldest first: my.toml.before, my.toml.before.2, ..."""
    real = path.resolve()
    form = re.compile(re.escape(beside(real).name) + r"(?:\.([0-9]+))?")
    found = [(int(match[1] or 1), one) for one in real.parent.iterdir()
             if (match := form.fullmatch(one.name))]
    return [one for _, one in sorted(found)]


def steps(path: Path, text: str | None, *, forward: bool = False) -> list[Path]:
    """The kept files before (or after) what the file says now, the next one first. A text that
    is not kept yet comes after all of them."""
    found = history(path)
    at = next((i for i, one in enumerate(found) if text is not None and _text(one) == text),
              len(found))
    return found[at + 1 :] if forward else found[:at][::-1]


def _keep(real: Path, text: str, walking: bool) -> Path:
    """Each text is kept once; a change from one that was gone back to makes it the newest."""
    found = history(real)
    old = next((one for one in found if _text(one) == text), None)
    if old is not None and (walking or old == found[-1]):
        return old
    new = beside(real)
    if found:
        last = found[-1].name.removeprefix(new.name + ".")
        new = new.with_name(f"{new.name}.{int(last) + 1 if last.isdigit() else 2}")
    if old is not None:
        return old.replace(new)
    write_whole(new, text, force=False)
    return new


def _text(path: Path) -> str | None:
    try:
        return read_text(path)
    except WrongInput:
        return None
