"""Where things stand: which rig file and board are here, the last pull, one next step.

For orientation, so it is quick and never fails: what cannot be read is reported as
such and the rest is shown.
"""

from __future__ import annotations

import time
from dataclasses import dataclass
from pathlib import Path

from steadyturn.board.asking import Asked, ask_all
from steadyturn.board.finding import MANY
from steadyturn.board.holders import virtual_boards
from steadyturn.board.ports import Port, candidates
from steadyturn.errors import Failed, WrongInput
from steadyturn.jobs.home_next import BoardHere, LastPull, RigHere, next_step
from steadyturn.jobs.pull_place import FORMATS
from steadyturn.rig.file import read_rig
from steadyturn.rig.toml_text import is_parts_file
from steadyturn.sessions.library import Contact, Library, default_folder
from steadyturn.sessions.one_page import seq_of

LOOK_S = 2.0  # for all ports together
HIGHEST = 1 << 32  # above every page's number, a u32
VIRTUAL = "virtual board"
MOST_RIGS = 20  # files looked into


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
    step, because = next_step(rigs, drawers, boards, last)
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
    went_back: set[tuple[str, int]] = set()  # the journals whose last row is in `stored`
    latest: tuple[Contact, str] | None = None
    try:
        if not (folder.exists() and any(folder.iterdir())):
            return {}, None, ""
        with Library(folder, readonly=True) as shelf:
            for board in sorted(shelf.boards(), key=lambda row: -row.format_id):
                newest = shelf.page_before(board, HIGHEST)
                key = board.unique_id, board.format_id % FORMATS
                if newest and key not in went_back:
                    stored[key] = seq_of(newest)
                    went_back |= {key} if board.format_id >= FORMATS else set()
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
    try:
        likely = candidates()[:MANY]
    except OSError:
        likely = []
    virtual = [Port(device, VIRTUAL, True) for device, _ in virtual_boards()][:MANY]
    return tuple(_board(asked, asked.port in virtual, stored)
                 for asked in ask_all([*likely, *virtual], LOOK_S))


def _board(asked: Asked, virtual: bool, stored: dict[tuple[str, int], int]) -> BoardHere:
    port, who = asked.port, asked.who
    if who is None:
        return BoardHere(port.device, port.what, virtual, asked.state, "", "", "", None, 0,
                         asked.says, asked.how)
    newest = stored.get((who.unique_id, who.format_id), who.first_seq - 1)
    waiting = max(0, min(who.last_seq - newest, who.stored))
    return BoardHere(port.device, port.what, virtual, asked.state, who.unique_id, asked.label,
                     asked.rig, who.firmware, waiting, "", "")
