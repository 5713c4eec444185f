"""What was delivered, what it cost, how the machine did: a library's pages as a review.

Shows everything since the last pull that brought turning (a later pull that found nothing new
hides nothing), or one outing, or everything the library has of a board.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from steadyturn.errors import Problem, WrongInput
from steadyturn.jobs.learned import of_outings
from steadyturn.jobs.review_against import Against, Side, other_outing
from steadyturn.jobs.review_against import against as beside
from steadyturn.jobs.review_reckon import reckon
from steadyturn.jobs.review_scope import Shown, shown
from steadyturn.rig.file import read_rig, read_rig_text
from steadyturn.rig.types import Rig
from steadyturn.sessions import in_force
from steadyturn.sessions.accuracy import Accuracy
from steadyturn.sessions.decode import Pages, decode
from steadyturn.sessions.estimates import Estimate
from steadyturn.sessions.expected import Comparison
from steadyturn.sessions.figures import Figures
from steadyturn.sessions.figures import review as figures_of
from steadyturn.sessions.findings import Finding
from steadyturn.sessions.gaps import Gaps
from steadyturn.sessions.hand import Pace
from steadyturn.sessions.history import Past
from steadyturn.sessions.learned import Learned
from steadyturn.sessions.library import Library
from steadyturn.sessions.machine import MachineOuting, of_machine
from steadyturn.sessions.rows import OutingRow
from steadyturn.sessions.steps import Steps, steps
from steadyturn.settings.file import read_any

NEEDED = {"low_dtpm", "target_dtpm", "high_dtpm", "window_low_mv", "window_high_mv"}


@dataclass(frozen=True, slots=True)
class Review:
    """A review. Host times (pulled_s, since_s) are seconds since 1970, since_s None when no
    pull came before; board_running_s: how long the last boot had been up at the pull.

    scope: "last_pull", "all" or "outing". latest_brought_none: the newest pull found nothing,
    latest_rested: or no turning, so an earlier one is shown. unfinished: that pull was broken
    off. other_boards: ids of boards in the library that are not shown. outings: the outings in
    it, oldest first.
    window_v, band_tpm ([low, target, high]),
    percent_j (energy at the phone's socket for one percent): from the settings in force
    at the pull, None where they are unknown. rig_source: where the model's rig comes from:
    "library" (as flash left it), a file's name, "unreadable" (it cannot be read any more) or ""
    (nobody left one). accuracy: the sensor's; out_accuracy: of its channel at the output, None
    without one. estimates: the figures with their 95 % ranges.
    pace: how the handle was turned. gaps: what was not measured. arm_keeps_w: power that the
    rig's arm keeps for as long as was turned (low, middle, high). findings: what to change, most
    worth first. expected: against the rig's model (empty without a rig). history: against
    earlier outings. machine: outings of this machine with these the last. steps: the samples as
    means over steps of time. pages: the decoded pages, not in --json. against: set beside
    another outing. choices: the options by which all this was chosen, as a command line's words
    (without the library's folder). other_rig: the name of the rig file that was named, where it
    is not the one that was flashed. learned: the machine's constants as its outings up to these
    have taught them, and whether they change.
    """

    board: str
    format_id: int
    library: Path
    scope: str
    pulled_s: float
    since_s: float | None
    board_running_s: float
    latest_brought_none: bool
    unfinished: bool
    other_boards: tuple[str, ...]
    outings: tuple[OutingRow, ...]
    rig: str | None
    label: str | None
    rig_source: str
    window_v: tuple[float, float] | None
    band_tpm: tuple[float, float, float] | None
    percent_j: float | None
    figures: Figures
    plot: Path | None
    html: Path | None
    accuracy: Accuracy
    out_accuracy: Accuracy | None
    estimates: tuple[Estimate, ...]
    pace: Pace
    gaps: Gaps
    arm_keeps_w: tuple[float, float, float] | None
    findings: tuple[Finding, ...]
    expected: tuple[Comparison, ...]
    history: tuple[Past, ...]
    machine: tuple[MachineOuting, ...]
    steps: Steps
    pages: Pages = field(metadata={"json": False})
    against: Against | None = None
    latest_rested: bool = False
    choices: tuple[str, ...] = ()
    other_rig: str | None = None
    learned: tuple[Learned, ...] = ()

    def estimate(self, name: str) -> Estimate | None:
        """The estimate of that name, None where there is none."""
        return next((e for e in self.estimates if e.name == name), None)


def review(
    library: Path | None = None, *, board: str | None = None, everything: bool = False,
    outing: int | None = None, rig: Path | None = None, plot: Path | None = None,
    html: Path | None = None, against: str | None = None,
) -> Review:
    """Review the library in that folder (None: the user's).

    board: a board's label, its id or the end of it (None: the one whose turning was pulled
    last). everything: all its pages; outing: those of the outing with that number. rig:
    a rig file to hold it against (None: the one that `flash` left in the library). plot: also draw
    a picture there (.png or .svg);
    html: also write a page for a browser there.
    against: set another outing beside it: its number, or "previous".
    Raises WrongInput (board, rig, plot, html, against, all with an outing) and Failed (nothing to
    review, no such outing, library unusable).
    """
    if plot is not None:
        from steadyturn.report import plots

        plots.check(plot)
    if html is not None:
        from steadyturn.report import review_page

        review_page.check(html)
    if everything and outing is not None:
        raise WrongInput(Problem("--all", "", f"--outing {outing}", "either all of it or one "
                                 "outing.", "Leave one of the two out."))
    given = None if rig is None else read_rig(rig)
    with Library(library, readonly=True) as shelf:
        found = shown(shelf, board=board, everything=everything, outing=outing)
        folder = shelf.folder
        machine, source = (given, str(rig)) if given is not None else _left(found.rig_text)
        _, learned = of_outings(shelf, (*found.earlier, *found.outings), machine)
        other = None
        if against is not None:
            number = other_outing(against, found.earlier)
            if number in {o.id for o in found.outings}:
                raise WrongInput(Problem(
                    "--against", "", against, "an outing that is not shown itself: "
                    f"{number} is in this review.",
                    "'previous' is the one before; 'steadyturn sessions' lists all."))
            other = shown(shelf, board=None, everything=False, outing=number)
    result = replace(_result(found, folder, machine, source, plot, html, learned),
                     choices=_choices(board, everything, outing, rig),
                     other_rig=None if given is None else _differs(given, found))
    if other is not None:
        theirs = _result(other, folder, *_left(other.rig_text), None, None)
        result = replace(result, against=beside(_side(result, found), _side(theirs, other)))
    if plot is not None:
        plots.write(result, plot)
    if html is not None:
        review_page.write(result, html)
    return result


def _differs(given: Rig, found: Shown) -> str | None:
    """The rig's name, unless it is the one that was flashed: the whole of it where flash left
    it, else at least its name."""
    flashed, _ = _left(found.rig_text)
    if flashed is not None:
        same = replace(given, origins={}) == replace(flashed, origins={})
    else:
        same = given.name == read_any(found.settings).get("rig", given.name)
    return None if same else given.name


def _choices(board: str | None, everything: bool, outing: int | None,
             rig: Path | None) -> tuple[str, ...]:
    given = (("--board", board), ("--outing", outing), ("--rig", rig))
    words = [word for name, value in given if value is not None for word in (name, str(value))]
    return (*words, *(["--all"] if everything else []))


def _side(result: Review, found: Shown) -> Side:
    return Side(result.board, result.outings, read_any(found.settings), result.figures,
                result.estimates, result.accuracy)


def _left(text: str | None) -> tuple[Rig | None, str]:
    """The rig that flash left, and where it comes from. What an older version wrote may not be
    readable any more."""
    if text is None:
        return None, ""
    try:
        return read_rig_text(text, "library"), "library"
    except WrongInput:
        return None, "unreadable"


def _result(found: Shown, folder: Path, rig: Rig | None, source: str, plot: Path | None,
            html: Path | None, learned: tuple[Learned, ...] = ()) -> Review:
    pages = decode(found.raw)
    settings: Mapping[str, Any] = read_any(found.settings)
    of_boots = in_force.by_boot(pages.events, found.known)
    figures = figures_of(pages, settings, before=found.before, damaged=found.damaged,
                         of_boots=of_boots)
    told = reckon(pages, figures, settings, of_boots, rig,
                  None if found.scope == "all" else found.earlier, learned)
    band = window = None
    if settings.keys() >= NEEDED:
        band = (settings["low_dtpm"] / 10, settings["target_dtpm"] / 10,
                settings["high_dtpm"] / 10)
        window = (settings["window_low_mv"] / 1000, settings["window_high_mv"] / 1000)
    percent_mj = settings.get("percent_mj", 0)
    return Review(
        board=found.board.unique_id,
        format_id=found.board.format_id,
        library=folder,
        scope=found.scope,
        pulled_s=found.pulled.host_s,
        since_s=found.previous.host_s if found.previous else None,
        board_running_s=found.pulled.t_ms / 1000,
        latest_brought_none=found.latest_brought_none,
        latest_rested=found.latest_rested,
        unfinished=found.unfinished,
        other_boards=found.other_boards,
        outings=found.outings,
        rig=settings.get("rig"),
        label=settings.get("label") or None,
        rig_source=source,
        window_v=window,
        band_tpm=band,
        percent_j=percent_mj / 1000 if percent_mj else None,
        figures=figures,
        plot=plot,
        html=html,
        accuracy=told.accuracy,
        out_accuracy=told.out_accuracy,
        estimates=told.estimates,
        pace=told.pace,
        gaps=told.gaps,
        arm_keeps_w=told.arm_keeps_w,
        findings=told.findings,
        expected=told.expected,
        history=told.history,
        machine=of_machine(found.earlier, found.outings, settings.get("rig")),
        steps=steps(pages),
        pages=pages,
        learned=learned,
    )
