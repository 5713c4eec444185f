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
from steadyturn.sessions.one_page import seq_of, totals_of

LOOK_S = 2.0  # for all ports together
HIGHEST = 1 << 32  # above every page's number, a u32
VIRTUAL = "virtual board"
NO_LIBRARY = "Make that folder readable, or name another in STEADYTURN_LIBRARY."
LEAST_UJ = 1_000_000  # as sessions.grouping.LEAST_J: less is the sensor's zero that drifts
Stored = dict[tuple[str, int], bytes]  # by board and journal: the newest page
MOST_RIGS = 20  # files looked into


@dataclass(frozen=True, slots=True)
class Home:
    """drawers: parts files in this folder. next_step: a command, or what mends the library
    where that cannot be used; because: why that one."""

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
    stored, last, problem, remedy = _library(shelf_folder)
    boards = _boards(stored)
    step, because = next_step(rigs, drawers, boards, last, lambda file: _works(here / file),
                              _changed(here, rigs, boards, shelf_folder))
    if problem:  # else each pull and review ends at it
        step, because = remedy, "nothing can be pulled or reviewed until then."
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


def _turned(totals: tuple[int, int], newest: bytes) -> bool:
    """Was the handle turned since that page, as far as a board's totals tell? Energy too: at a
    pace that cannot be measured no turns are counted."""
    turns_m, energy_uj = totals_of(newest) if newest else (0, 0)
    return totals[0] != turns_m or abs(totals[1] - energy_uj) >= LEAST_UJ


def _changed(here: Path, rigs: tuple[RigHere, ...], boards: tuple[BoardHere, ...],
             library: Path) -> frozenset[str]:
    """Ids of the boards that were set from a rig file which says something else by now, as
    `retune` without the board leaves it."""
    files = {rig.name: here / rig.file for rig in rigs if not rig.problems}
    ours = {board.unique_id: files[board.rig] for board in boards if board.rig in files}
    if not ours:
        return frozenset()
    try:
        with Library(library, readonly=True) as shelf:
            was: dict[str, str | None] = {}
            for row in shelf.boards():
                if row.unique_id in ours:
                    was.setdefault(row.unique_id, shelf.rig_text(row))
        return frozenset(id for id, text in was.items() if text is not None
                         and text != ours[id].read_text("utf-8"))
    except (Failed, OSError, ValueError):
        return frozenset()


def _works(path: Path) -> bool:
    """Has the rig a band? True where that cannot be found out."""
    from steadyturn.model.edges import find_edges  # numpy: only where a board is to be flashed

    try:
        return find_edges(read_rig(path)).widest() is not None
    except (OSError, Failed, WrongInput):
        return True


def _library(folder: Path) -> tuple[Stored, LastPull | None, str, str]:
    """The newest page stored by board and journal, the last pull, what is wrong and what
    mends it."""
    stored: Stored = {}
    went_back: set[tuple[str, int]] = set()  # the journals whose last row is in `stored`
    latest: tuple[Contact, str] | None = None
    try:
        if not (folder.exists() and any(folder.iterdir())):
            return {}, None, "", ""
        with Library(folder, readonly=True) as shelf:
            for board in sorted(shelf.boards(), key=lambda row: -row.format_id):
                newest = shelf.page_before(board, HIGHEST)
                key = board.unique_id, board.format_id % FORMATS
                if newest and key not in went_back:
                    stored[key] = newest
                    went_back |= {key} if board.format_id >= FORMATS else set()
                pulls = [c for c in shelf.contacts(board) if c.kind == "pull"]
                if pulls and (latest is None or pulls[-1].host_s > latest[0].host_s):
                    latest = (pulls[-1], board.unique_id)
    except Failed as failed:
        return {}, None, failed.what, failed.how or NO_LIBRARY
    except OSError as failed:
        return {}, None, f"The library at {folder}: {failed.strerror or failed}.", NO_LIBRARY
    if latest is None:
        return stored, None, "", ""
    contact, board_id = latest
    ago = max(time.time() - contact.host_s, 0.0)
    return stored, LastPull(board_id, ago, contact.pages, bool(contact.finished)), "", ""


def _boards(stored: Stored) -> tuple[BoardHere, ...]:
    try:
        likely = candidates()[:MANY]
    except OSError:
        likely = []
    virtual = [Port(device, VIRTUAL, True) for device, _ in virtual_boards()][:MANY]
    return tuple(_board(asked, asked.port in virtual, stored)
                 for asked in ask_all([*likely, *virtual], LOOK_S))


def _board(asked: Asked, virtual: bool, stored: Stored) -> BoardHere:
    port, who = asked.port, asked.who
    if who is None:
        return BoardHere(port.device, port.what, virtual, asked.state, "", "", "", None, 0,
                         asked.says, asked.how)
    newest = stored.get((who.unique_id, who.format_id), b"")
    last_seq = seq_of(newest) if newest else who.first_seq - 1
    waiting = max(0, min(who.last_seq - last_seq, who.stored))
    if asked.totals is not None and not _turned(asked.totals, newest):
        waiting = 0  # pages at rest: each start of a board on USB power makes some
    return BoardHere(port.device, port.what, virtual, asked.state, who.unique_id, asked.label,
                     asked.rig, who.firmware, waiting, "", "")
