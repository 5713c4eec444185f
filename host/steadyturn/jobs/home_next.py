"""One next step, from what is here."""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass

import steadyturn_fw

from steadyturn.board.asking import BUSY, OTHER, OURS, SILENT

ANY = "RIG"  # several would do: the person names one
FRESH_S = 86_400.0  # what was pulled so lately is most likely still to be looked at

Step = tuple[str, str]  # a command, and why that one
Works = Callable[[str], bool]  # whether a rig file has a band


@dataclass(frozen=True, slots=True)
class RigHere:
    """A rig file in this folder; problems: how many there are in it."""

    file: str
    name: str
    problems: int


@dataclass(frozen=True, slots=True)
class BoardHere:
    """A port that may be a board. state: as in board.asking.Asked; label, rig: in its settings;
    firmware: None when no board of ours answers; problem, how: what is wrong, what to do."""

    port: str
    what: str
    virtual: bool
    state: str
    unique_id: str
    label: str
    rig: str
    firmware: str | None
    pages_waiting: int
    problem: str
    how: str


@dataclass(frozen=True, slots=True)
class LastPull:
    board: str
    seconds_ago: float
    pages: int
    finished: bool


def next_step(
    rigs: Sequence[RigHere], drawers: Sequence[str], boards: Sequence[BoardHere],
    last: LastPull | None, works: Works = lambda _: True, changed: Collection[str] = (),
) -> Step:
    """What most helps on. A command says --port where it would not find the board by itself.
    works: asked only where a board is to be flashed, since it takes the model. changed: ids of
    boards whose rig file says something else than when they were set."""
    real = [b for b in boards if not b.virtual]
    # a person who has a board at the computer means that one
    return (_board_step(rigs, real, boards, last, works, changed)
            or _board_step(rigs, [b for b in boards if b.virtual], boards, last, works, changed)
            or _without_board(rigs, drawers, boards, last))


def _board_step(
    rigs: Sequence[RigHere], here: Sequence[BoardHere], boards: Sequence[BoardHere],
    last: LastPull | None, works: Works, changed: Collection[str],
) -> Step | None:
    ours = [b for b in here if b.state == OURS]
    for board in ours:
        if board.pages_waiting:
            return (f"steadyturn pull{_port(board, boards)}",
                    "the board has pages that the library does not have yet.")
    wrong = [r for r in rigs if r.problems]
    if wrong and len(rigs) == 1:
        return f"steadyturn check {wrong[0].file}", "the rig file here cannot be used yet."
    if not rigs:
        return None
    old = [b for b in here if b.state == OTHER
           or (b.state == OURS and b.firmware != steadyturn_fw.VERSION)]
    bare = [b for b in here if b.state == SILENT] if not ours else []
    for board in (*old, *bare):
        return _flash(_rig(rigs, board), _port(board, boards), works,
                      "the board does not run this version's firmware.")
    for board in ours:
        if not board.rig:
            return _flash(_rig(rigs, board), _port(board, boards), works,
                          "the board has no settings yet, so it keeps the phone disconnected.")
        if board.unique_id in changed:
            return _flash(_rig(rigs, board), _port(board, boards), works,
                          "the rig file has changed since the board was set from it.")
        if last is not None and last.pages and last.board == board.unique_id and (
                last.seconds_ago < FRESH_S / 24):
            return "steadyturn review", "it shows what the pull just now brought."
        if not board.virtual and last is None:
            return (f"steadyturn bringup {_rig(rigs, board)} --html bringup.html",
                    "the board is set up, and nothing it did was ever pulled: the sheet brings "
                    "the machine up step by step. Once it charges, 'steadyturn watch'.")
        return f"steadyturn watch{_port(board, boards)}", "the board is up; crank and watch."
    busy = [b for b in here if b.state == BUSY]
    if busy:
        return "steadyturn ports", "another program has the board's port; this says which."
    if here:
        return "steadyturn ports", "the port cannot be used; this says why, and what to do."
    return None


def _flash(rig: str, port: str, works: Works, because: str) -> Step:
    """A rig without a band has nothing to be set on a board."""
    if rig != ANY and not works(rig):
        return (f"steadyturn pace {rig}", "no pace works for this rig, so a board cannot be set "
                                          "up for it; this says why and what would help.")
    return f"steadyturn flash {rig}{port}", because


def _without_board(
    rigs: Sequence[RigHere], drawers: Sequence[str], boards: Sequence[BoardHere],
    last: LastPull | None,
) -> Step:
    if last is not None and not boards:
        if not last.finished:
            return ("steadyturn pull", "the last pull was broken off: plug the board in, and it "
                                       "goes on where it stopped.")
        if last.pages and (last.seconds_ago < FRESH_S or not rigs):
            return "steadyturn review", "it shows what the last pull brought."
        if not rigs:
            return "steadyturn sessions", "it lists what was cranked so far."
    if rigs:
        rig = _rig(rigs)
        return (f"steadyturn check {rig}",
                f"it says what could harm; then 'steadyturn pace {rig}' shows how fast to turn, "
                f"and 'steadyturn bringup {rig}' is the sheet to build by.")
    if drawers:
        return (f"steadyturn size {drawers[0]}",
                "it lists what can be built from these parts, and writes a rig file of it.")
    if boards:
        return "steadyturn new my.toml", "a board is here, but no rig file in this folder."
    return ("steadyturn demo",
            "it plays the whole job without hardware; then 'steadyturn new my.toml' makes your "
            "own rig file.")


def _rig(rigs: Sequence[RigHere], board: BoardHere | None = None) -> str:
    """The file to name: the board's own, or the only one that can be used."""
    right = [r for r in rigs if not r.problems]
    own = [r for r in right if board is not None and board.rig and r.name == board.rig]
    for found in (own, right):
        if len(found) == 1:
            return found[0].file
    return ANY


def _port(board: BoardHere, boards: Sequence[BoardHere]) -> str:
    """As board.finding would find it: the only port that may be a board, or the only one of
    several that answers as ours."""
    real = [b for b in boards if not b.virtual]
    answering = [b for b in real if b.state in (OURS, OTHER)]
    found = real if len(real) == 1 else answering
    return "" if found == [board] else f" --port {board.port}"
