"""Where things stand: which rig file and board are here, the last pull, one next step.

For orientation, so it is quick and never fails: what cannot be read is reported as
such and the rest is shown.
"""

from __future__ import annotations

import time
from dataclasses import dataclass
from pathlib import Path

import steadyturn_fw

from steadyturn.board import ports
from steadyturn.board.link import NotUnderstood, Who
from steadyturn.errors import Failed, WrongInput
from steadyturn.rig.file import read_rig
from steadyturn.rig.toml_text import is_parts_file
from steadyturn.sessions.library import Contact, Library, default_folder

LOOK_S = 0.3  # a board that runs our firmware answers within a tick
MOST_RIGS = 20  # files looked into


@dataclass(frozen=True, slots=True)
class RigHere:
    """A rig file in this folder; problems: how many there are in it."""

    file: str
    name: str
    problems: int


@dataclass(frozen=True, slots=True)
class BoardHere:
    """A port that may be a board. firmware: None when nobody answers; problem: why."""

    port: str
    what: str
    unique_id: str
    firmware: str | None
    pages_waiting: int
    problem: str


@dataclass(frozen=True, slots=True)
class LastPull:
    board: str
    seconds_ago: float
    pages: int
    finished: bool


@dataclass(frozen=True, slots=True)
class Home:
    """drawers: parts files in this folder. next_step: a command; because: why that one."""

    folder: str
    rigs: tuple[RigHere, ...]
    drawers: tuple[str, ...]
    boards: tuple[BoardHere, ...]
    library: str
    last_pull: LastPull | None
    library_problem: str
    next_step: str
    because: str


def home(folder: Path | None = None, library: Path | None = None) -> Home:
    """Look round. folder: where rig files are looked for (None: here); library: its
    folder (None: the user's)."""
    here = Path.cwd() if folder is None else folder
    rigs, drawers = _files(here)
    shelf_folder = default_folder() if library is None else library
    stored, last, problem = _library(shelf_folder)
    boards = _boards(stored)
    step, because = _next(rigs, drawers, boards, last)
    return Home(
        folder=str(here), rigs=rigs, drawers=drawers, boards=boards,
        library=str(shelf_folder), last_pull=last, library_problem=problem,
        next_step=step, because=because,
    )


def _files(folder: Path) -> tuple[tuple[RigHere, ...], tuple[str, ...]]:
    """The folder's TOML files that are rig files, right or not, and its parts files; others
    are left out."""
    found, drawers = [], []
    try:
        files = sorted(p for p in folder.glob("*.toml")
                       if p.name != "pyproject.toml" and p.is_file())
    except OSError:
        return (), ()
    for path in files[:MOST_RIGS]:
        if is_parts_file(path):
            drawers.append(path.name)
            continue
        try:
            found.append(RigHere(path.name, read_rig(path).name, 0))
        except WrongInput as wrong:
            if _is_rig(path):
                found.append(RigHere(path.name, "", len(wrong.problems)))
        except (OSError, Failed):
            continue
    return tuple(found), tuple(drawers)


def _is_rig(path: Path) -> bool:
    """Does a file that cannot be read as a rig look like one?"""
    try:
        text = path.read_text("utf-8", "replace")[:100_000]
    except OSError:
        return False
    return any(f"[{part}]" in text for part in ("motor", "converter"))


def _library(folder: Path) -> tuple[dict[tuple[str, int], int], LastPull | None, str]:
    """Highest page number stored by board and journal, the last pull, and what is wrong."""
    stored: dict[tuple[str, int], int] = {}
    latest: tuple[Contact, str] | None = None
    try:
        if not (folder.exists() and any(folder.iterdir())):
            return {}, None, ""
        with Library(folder, readonly=True) as shelf:
            for board in shelf.boards():
                stored[board.unique_id, board.format_id] = max(shelf.seqs(board), default=-1)
                pulls = [c for c in shelf.contacts(board) if c.kind == "pull"]
                if pulls and (latest is None or pulls[-1].host_s > latest[0].host_s):
                    latest = (pulls[-1], board.unique_id)
    except (Failed, OSError) as failed:
        return {}, None, str(failed)
    if latest is None:
        return stored, None, ""
    contact, board_id = latest
    ago = max(time.time() - contact.host_s, 0.0)
    return stored, LastPull(board_id, ago, contact.pages, bool(contact.finished)), ""


def _boards(stored: dict[tuple[str, int], int]) -> tuple[BoardHere, ...]:
    found = []
    try:
        likely = ports.candidates()
    except OSError:
        return ()
    for port in likely[:4]:
        try:
            found.append(_board(port, ports.probe(port.device, LOOK_S), stored))
        except NotUnderstood:
            found.append(BoardHere(port.device, port.what, "", "another version", 0, ""))
        except Failed as failed:
            found.append(BoardHere(port.device, port.what, "", None, 0, failed.what))
    return tuple(found)


def _board(port: ports.Port, who: Who, stored: dict[tuple[str, int], int]) -> BoardHere:
    newest = stored.get((who.unique_id, who.format_id), who.first_seq - 1)
    waiting = max(0, min(who.last_seq - newest, who.stored))
    return BoardHere(port.device, port.what, who.unique_id, who.firmware, waiting, "")


def _next(
    rigs: tuple[RigHere, ...], drawers: tuple[str, ...], boards: tuple[BoardHere, ...],
    last: LastPull | None,
) -> tuple[str, str]:
    rig = next((r.file for r in rigs if not r.problems), "RIG")
    answering = [b for b in boards if b.firmware is not None]
    if any(b.pages_waiting for b in answering):
        return "steadyturn pull", "the board has pages that the library does not have yet."
    for wrong in rigs:
        if wrong.problems and len(rigs) == 1:
            return f"steadyturn check {wrong.file}", "the rig file here cannot be used yet."
    if not rigs:
        if last is not None and not boards:
            return "steadyturn review", "it shows what the last pull brought."
        if drawers:
            return (f"steadyturn size {drawers[0]}",
                    "it lists what can be built from these parts, and writes a rig file of it.")
        if boards:
            return "steadyturn new my.toml", "a board is here, but no rig file in this folder."
        return (
            "steadyturn demo",
            "it plays the whole job without hardware; then 'steadyturn new my.toml' makes "
            "your own rig file.",
        )
    old = [b for b in answering if b.firmware != steadyturn_fw.VERSION]
    if old or (boards and not answering):
        return f"steadyturn flash {rig}", "the board does not run this version's firmware."
    if answering:
        return "steadyturn watch", "the board is up; crank and watch."
    return f"steadyturn pace {rig}", "it shows how fast to turn, and what limits it."
