"""What a board's outings have taught of its machine, out of the library."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from steadyturn.errors import Failed, WrongInput
from steadyturn.jobs.boards_called import boards_called
from steadyturn.rig.file import read_rig_text
from steadyturn.rig.types import Rig
from steadyturn.sessions.learned import (
    Learned,
    Taught,
    correction,
    learn,
    same_machine,
)
from steadyturn.sessions.library import Library
from steadyturn.sessions.rows import BoardRow, OutingRow
from steadyturn.settings.file import read_any

DAY_S = 86_400.0


@dataclass(frozen=True, slots=True)
class LearnedMachine:
    """board: its id; rig: the name in the settings of its newest outing. outings: of this
    machine as it is set now; left_out: older ones, of another machine or before its constants
    were set anew. constants: what they taught, those that are known. not_drawn: where a picture
    was asked for, and there was nothing to draw."""

    board: str
    label: str | None
    rig: str | None
    outings: int
    left_out: int
    constants: tuple[Learned, ...]
    plot: Path | None = None
    not_drawn: Path | None = None


def learned_machine(library: Path | None = None, *, board: str | None = None,
                    rig: Rig | None = None, plot: Path | None = None) -> LearnedMachine:
    """Of a board (its label, id, or the id's end; None: the one whose turning was pulled last).
    rig: to hold it against (None: the one that flash left). plot: also draw it there (.png or
    .svg). Changes nothing. Raises WrongInput (board, plot) and Failed (no library, no
    board)."""
    if plot is not None:
        from steadyturn.report import plots_learned

        plots_learned.check(plot)
    with Library(library, readonly=True) as shelf:
        rows = shelf.pulled_last()
        if not rows:
            raise Failed(f"The library at {shelf.folder} has no boards yet.",
                         "Connect one and run 'steadyturn pull'.")
        row = rows[0] if board is None else next(
            r for r in rows if r.id in boards_called(board, rows, shelf.outings()))
        found = of_board(shelf, row, rig)
    if plot is not None:
        if not any(one.points for one in found.constants):
            return replace(found, not_drawn=plot)
        found = replace(found, plot=plot)
        plots_learned.write(found, plot)
    return found


def of_board(shelf: Library, row: BoardRow, rig: Rig | None = None) -> LearnedMachine:
    """The same of a board of an open library."""
    outings = shelf.outings(row)
    if not outings:
        return LearnedMachine(row.unique_id, None, None, 0, 0, ())
    last = outings[-1]
    own = rig if rig is not None else _left(shelf, row, last)
    same, constants = of_outings(shelf, outings, own)
    return LearnedMachine(row.unique_id, last.label, last.rig, same, len(outings) - same,
                          constants)


def of_outings(shelf: Library, outings: Sequence[OutingRow],
               rig: Rig | None) -> tuple[int, tuple[Learned, ...]]:
    """How many of a board's outings (the oldest first) are of the machine of the last one, and
    what these have taught."""
    if not outings:
        return 0, ()
    texts: dict[int | None, Mapping[str, Any]] = {}

    def settings_of(row: OutingRow) -> Mapping[str, Any]:
        if row.settings_id not in texts:
            texts[row.settings_id] = read_any(shelf.outing_settings(row))
        return texts[row.settings_id]

    now = settings_of(outings[-1])
    same: list[OutingRow] = []
    for row in reversed(outings):  # what came before another machine is not looked at again
        if not same_machine(settings_of(row), now):
            break
        same.append(row)
    same.reverse()
    taught = [Taught(row.id, _day(row), correction(settings_of(row)), row.lessons)
              for row in same]
    return len(same), learn(taught, rig, now.get("shunt_uohm", 0) / 1e6)


def _day(row: OutingRow) -> float | None:
    known = [s for s in (row.end_s, row.until_s, row.after_s) if s is not None]
    return known[0] / DAY_S if known else None


def _left(shelf: Library, row: BoardRow, outing: OutingRow) -> Rig | None:
    text = shelf.rig_text(row, outing)
    if text is None:
        return None
    try:
        return read_rig_text(text, "library")
    except WrongInput:
        return None
