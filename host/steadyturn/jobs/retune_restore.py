"""Back to the machine from before: the rig file from what was kept beside it, or from the library
where `flash` left it; then the board."""

from __future__ import annotations

import dataclasses
from pathlib import Path

from steadyturn.errors import Failed, WrongInput
from steadyturn.jobs import kept_file
from steadyturn.jobs.retune import Retuned, Way, carry_out, swaps
from steadyturn.rig.file import read_rig_text
from steadyturn.rig.toml_text import read_text
from steadyturn.rig.types import Rig
from steadyturn.sessions.library import Library


def restore(path: Path, way: Way) -> Retuned:
    """Twice in a row goes to and fro: what is left is kept in its turn.

    Raises Failed where neither a kept file nor the library has another rig file, WrongInput
    where the file cannot be written or what was kept cannot be read.
    """
    text = read_text(path) if path.exists() else None
    if not way.dry_run:
        kept_file.refuse_unwritable(path)
    old = _rig(text, path)
    target, came_from = kept_file.kept(path), str(kept_file.beside(path))
    if target is None or target == text:
        target, came_from = _from_library(old, text, way.library), "the library"
    if target is None:
        raise Failed(f"Nothing from before {path} is known: no {kept_file.beside(path).name} "
                     "stands beside it, and the library has no other rig file of that name.",
                     "A backup of your own, then 'steadyturn flash', does the same.")
    new = read_rig_text(target, came_from)
    found = () if old is None else swaps(old, new)
    plan = Retuned("restore", str(path), new.name, "same", found, None, came_from=came_from)
    done = carry_out(plan, old, new, text, target, way)
    return dataclasses.replace(done, came_from=came_from)


def _rig(text: str | None, path: Path) -> Rig | None:
    """The rig as it is; None where it cannot be read, which is a reason to go back."""
    try:
        return None if text is None else read_rig_text(text, str(path))
    except WrongInput:
        return None


def _from_library(rig: Rig | None, text: str | None, folder: Path | None) -> str | None:
    """The newest rig file of that name that a board was set from and that says something else."""
    if rig is None:
        return None
    try:
        with Library(folder, readonly=True) as shelf:
            for found in shelf.rig_texts():
                if found != (text or "").replace("\r\n", "\n") and _name(found) == rig.name:
                    return found
    except Failed:
        return None
    return None


def _name(text: str) -> str:
    try:
        return read_rig_text(text, "the library").name
    except WrongInput:
        return ""
