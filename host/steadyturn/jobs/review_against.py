"""A review beside that of another outing: each figure of both, and what truly differs."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from steadyturn.errors import Failed, Problem, WrongInput
from steadyturn.sessions.accuracy import Accuracy
from steadyturn.sessions.against import Compared, compare, rates, same_constants
from steadyturn.sessions.estimates import Estimate
from steadyturn.sessions.figures import Figures
from steadyturn.sessions.rows import OutingRow

PREVIOUS = "previous"


@dataclass(frozen=True, slots=True)
class Side:
    """What is compared: who and when of it, and its figures. settings: those in force."""

    board: str
    outings: tuple[OutingRow, ...]
    settings: Mapping[str, Any]
    figures: Figures
    estimates: Sequence[Estimate]
    accuracy: Accuracy


@dataclass(frozen=True, slots=True)
class Against:
    """outing: the other one, board and label its own. these: numbers of the outings that are
    reviewed. same_board; same_constants: one sensor, one correction and one set of constants in
    both, so that an error of these is no difference. figures: side by side."""

    outing: OutingRow
    board: str
    these: tuple[int, ...]
    same_board: bool
    same_constants: bool
    figures: tuple[Compared, ...]


def other_outing(wanted: str, earlier: Sequence[OutingRow]) -> int:
    """The number of the outing that is meant: a number, or "previous" for the newest of the
    earlier ones. Raises WrongInput, and Failed where there is no earlier one."""
    text = wanted.strip().lower()
    if text == PREVIOUS:
        if not earlier:
            raise Failed("There is no earlier outing of this board to set it against.",
                         "'steadyturn sessions' lists the outings; --against takes a number.")
        return earlier[-1].id
    if not (text.isascii() and text.isdigit()) or len(text) > 9:
        raise WrongInput(Problem("--against", "", wanted,
                                 "the number of an outing, or 'previous'.",
                                 "'steadyturn sessions' lists them with their numbers."))
    return int(text)


def against(ours: Side, theirs: Side) -> Against:
    """Both sides' figures; theirs is one outing."""
    same_board = ours.board == theirs.board
    alike = same_board and same_constants(ours.settings, theirs.settings)

    def known(side: Side) -> list[Estimate]:
        return [*side.estimates, *rates(side.figures, side.estimates, side.accuracy)]

    return Against(
        outing=theirs.outings[-1], board=theirs.board, these=tuple(o.id for o in ours.outings),
        same_board=same_board, same_constants=alike,
        figures=compare(known(ours), known(theirs), same_sensor=alike))
