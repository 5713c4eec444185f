"""Back to the machine from before: the rig file from what was kept beside it, or from the library
where `flash` left it; then the board."""

from __future__ import annotations

from pathlib import Path

from steadyturn.errors import Failed, WrongInput
from steadyturn.jobs import kept_file
from steadyturn.jobs.retune import Retuned, Way, carry_out, swaps
from steadyturn.rig.file import read_rig_text
from steadyturn.rig.toml_text import read_text
from steadyturn.rig.types import Rig
from steadyturn.sessions.library import Library


def restore(path: Path, way: Way, *, forward: bool = False) -> Retuned:
    """One step back through what is kept beside the file, or forward again.

    Raises Failed where there is no such step, neither a kept file nor (back from a file with none
    beside it) one in the library; WrongInput where the file cannot be written or none of what was
    kept can be read.
    """
    text = read_text(path) if path.exists() else None
    if not way.dry_run:
        kept_file.refuse_unwritable(path)
    old, steps = _rig(text, path), kept_file.steps(path, text, forward=forward)
    found = None
    for at in steps:  # a file that was broken in between is stepped over
        if _rig(read_text(at), at) is not None or at == steps[-1]:
            found = read_text(at), str(path.with_name(at.name))
            break
    if found is None:
        found = _elsewhere(path, old, text, way.library, forward)
    new = read_rig_text(*found)
    changed = () if old is None else swaps(old, new)
    plan = Retuned("forward" if forward else "restore", str(path), new.name, "same", changed, None,
                   came_from=found[1])
    return carry_out(plan, old, new, text, found[0], way)


def _elsewhere(path: Path, rig: Rig | None, text: str | None, library: Path | None,
               forward: bool) -> tuple[str, str]:
    """The library's, where nothing is kept beside the file; else Failed."""
    kept = kept_file.history(path)
    if forward:
        raise Failed(f"{path} is the newest already: nothing that is kept beside it came later.",
                     "--restore goes back." if kept else "")
    if kept:
        raise Failed(f"{path} is the first one already: nothing that is kept beside it is older.",
                     "--forward goes to the next one again.")
    target = _from_library(rig, text, library)
    if target is None:
        raise Failed(f"Nothing from before {path} is known: no {kept_file.beside(path).name} "
                     "stands beside it, and the library has no other rig file of that name.",
                     "A backup of your own, then 'steadyturn flash', does the same.")
    return target, "the library"


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
