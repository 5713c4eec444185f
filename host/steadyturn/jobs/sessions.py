"""The outings in the library: which there were, when, and what each delivered.

Looks only, unless a note is to be written or everything is to be decoded again.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from steadyturn.errors import Problem, WrongInput
from steadyturn.jobs.boards_called import boards_called
from steadyturn.jobs.sessions_totals import Totals, groups, totals
from steadyturn.jobs.since import since_s
from steadyturn.report.harmless import unfit
from steadyturn.sessions.library import BoardRow, Library, OutingRow

BACK_S = 60.0  # as anchors.BACK_MS: a clock may have been set right by that much
MOST_NOTE = 500  # characters; common practice, no source
Progress = Callable[[int, int], None]  # pages decoded, in all


@dataclass(frozen=True, slots=True)
class Listed:
    """One outing. number: to name it by; board: the chip's id; times in seconds since 1970:
    begin_s and end_s of its first and last turning where a meeting with a computer dates them,
    after_s and until_s of the meetings before it and at its end, None where not known. board_on_s:
    as long as it was on; turning_s: and not at rest; band_share: of turning, 0 to 1, None
    without turning. percent: of the phone's battery. missing_pages: their totals are in."""

    number: int
    board: str
    label: str | None
    rig: str | None
    begin_s: float | None
    end_s: float | None
    after_s: float | None
    until_s: float | None
    boots: int
    board_on_s: float
    turning_s: float
    turns: float
    mean_pace_tpm: float | None
    band_s: float
    band_share: float | None
    connected_s: float
    connections: int
    energy_in_wh: float
    energy_out_wh: float
    energy_out_kind: str
    charge_mah: float
    percent: float | None
    faults: int
    faults_by_name: Mapping[str, int]
    pages: int
    missing_pages: int
    note: str


@dataclass(frozen=True, slots=True)
class Doubted:
    """A meeting whose computer's clock, which said host_s, cannot have been right; why: "early"
    (before this program was), "boot" (contradicts another while the board was on) or "order"
    (not after the meetings before it). It dates nothing."""

    host_s: float
    why: str


@dataclass(frozen=True, slots=True)
class Sessions:
    """What is listed. of: outings in the library; since_s, best: as asked for; per: what
    groups are by ("" for none); noted: the outing that was given a note; rebuilt_pages:
    decoded again; boards, rigs: all that the library knows. clock_behind_s: by how much this
    computer's clock is before the last meeting, None where it is not."""

    library: Path
    of: int
    since_s: float | None
    best: int | None
    faults_only: bool
    outings: tuple[Listed, ...]
    totals: Totals
    per: str
    groups: tuple[Totals, ...]
    doubted: tuple[Doubted, ...]
    boards: tuple[str, ...]
    rigs: tuple[str, ...]
    clock_behind_s: float | None
    noted: int | None
    rebuilt_pages: int | None


def sessions(
    library: Path | None = None, *, board: str | None = None, rig: str | None = None,
    since: str | None = None, best: int | None = None, faults: bool = False,
    per: str | None = None, note: tuple[int, str] | None = None, rebuild: bool = False,
    progress: Progress | None = None,
) -> Sessions:
    """The outings in that library folder (None: the user's), the oldest first.

    board: a board's id or the end of it, or its label. rig: a part of the rig's name. since: a
    date or time; what was pulled since then and is not known to be older. best: so many with
    the most energy out. faults: only those that had some. per: totals too, by one of
    sessions_totals.PERIODS. note: an outing's number and a person's words for it ("" for
    none); lists that one. rebuild: decode every page again first; progress is told. Raises
    WrongInput and Failed.
    """
    words = None if note is None else _words(note[1])
    since_at = None if since is None else since_s(since)
    if best is not None and best < 1:
        raise WrongInput(Problem("--best", "", str(best), "one or more."))
    Library(library, readonly=True).close()  # there must be one
    rebuilt = None
    with Library(library, readonly=note is None and not rebuild) as shelf:
        if rebuild:
            rebuilt = _rebuild(shelf, progress)
        else:
            shelf.refresh(progress)
        if note is not None and words is not None:
            shelf.note(_noted(shelf.outings(), note[0]), words, now_s=time.time())
        boards = {row.id: row for row in shelf.boards()}
        rows = shelf.outings()
        doubted = tuple(Doubted(*found) for found in shelf.doubts())
        behind_s = max((row.until_s for row in rows if row.until_s is not None),
                       default=0.0) - time.time()
        folder = shelf.folder
    chosen = _chosen(rows, boards, board, rig, since_at, faults)
    if note is not None:
        chosen = [row for row in rows if row.id == note[0]]
    if best is not None:
        chosen = sorted(chosen, key=lambda row: (-row.energy_out_j, row.id))[:best]
    listed = tuple(_listed(row, boards[row.board]) for row in chosen)
    return Sessions(
        library=folder, of=len(rows), since_s=since_at, best=best, faults_only=faults,
        outings=listed, totals=totals("", listed), per=per or "",
        groups=groups(listed, per) if per else (), doubted=doubted,
        boards=tuple(sorted({b.unique_id for b in boards.values()})),
        rigs=tuple(sorted({row.rig for row in rows if row.rig})),
        clock_behind_s=behind_s if behind_s > BACK_S else None,
        noted=None if note is None else note[0], rebuilt_pages=rebuilt,
    )


def _words(text: str) -> str:
    """A note on one line, fit for any screen. Raises WrongInput."""
    words = " ".join(text.split())
    odd = [c for c in words if unfit(c)]
    if odd:
        raise WrongInput(Problem("--note", "", ascii(words), f"{odd[0]!a} in it is no "
                                 "character to read.", "Plain text, of any language."))
    if len(words) > MOST_NOTE:
        raise WrongInput(Problem("--note", "", f"{len(words)} characters",
                                 f"at most {MOST_NOTE}."))
    return words


def _noted(rows: Sequence[OutingRow], number: int) -> OutingRow:
    for row in rows:
        if row.id == number:
            return row
    raise WrongInput(Problem("--note", "", str(number), "there is no outing of that number.",
                             "'steadyturn sessions' lists them."))


def _rebuild(shelf: Library, progress: Progress | None) -> int:
    seen = 0

    def counted(done: int, total: int) -> None:
        nonlocal seen
        seen = done
        if progress is not None:
            progress(done, total)

    shelf.rebuild(counted)
    return seen


def _chosen(
    rows: Sequence[OutingRow], boards: Mapping[int, BoardRow], board: str | None,
    rig: str | None, since: float | None, faults: bool,
) -> list[OutingRow]:
    wanted = None if board is None else boards_called(board, list(boards.values()), rows)
    name = None if rig is None else rig.casefold().strip()
    return [
        row for row in rows
        if (wanted is None or row.board in wanted)
        and (name is None or name in (row.rig or "").casefold())
        and (since is None or not _older(row, since))
        and (not faults or row.faults)
    ]


def _older(row: OutingRow, since: float) -> bool:
    """Known to be over by then: by its own date, else by the meeting that ended it."""
    end = next((s for s in (row.end_s, row.until_s, row.begin_s) if s is not None), None)
    return end is not None and end < since


def _listed(row: OutingRow, board: BoardRow) -> Listed:
    return Listed(
        number=row.id, board=board.unique_id, label=row.label, rig=row.rig,
        begin_s=row.begin_s, end_s=row.end_s, after_s=row.after_s, until_s=row.until_s,
        boots=row.boots, board_on_s=row.on_s, turning_s=row.turning_s, turns=row.turns,
        mean_pace_tpm=row.mean_pace_tpm, band_s=row.band_s,
        band_share=min(1.0, row.band_s / row.turning_s) if row.turning_s > 0 else None,
        connected_s=row.connected_s, connections=row.connections,
        energy_in_wh=row.energy_in_j / 3600, energy_out_wh=row.energy_out_j / 3600,
        energy_out_kind=row.energy_out_kind, charge_mah=row.charge_c / 3.6,
        percent=row.percent, faults=row.faults, faults_by_name=row.faults_by_name,
        pages=row.pages, missing_pages=row.missing_pages, note=row.note,
    )
