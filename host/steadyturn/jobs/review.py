"""What was delivered, and how the pace was: a library's pages turned into figures.

Shows the pages that the most recent pull brought, or, if that brought none, those of the
last pull that did (and says so); or everything the library has of a board.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from steadyturn_fw import pages as layout

from steadyturn.errors import Failed, Problem, WrongInput
from steadyturn.report import plots, review_page
from steadyturn.sessions.accuracy import UNKNOWN, Accuracy, accuracy
from steadyturn.sessions.decode import Pages, decode, seq_of
from steadyturn.sessions.estimates import Estimate
from steadyturn.sessions.expected import Comparison
from steadyturn.sessions.figures import Figures
from steadyturn.sessions.figures import review as figures_of
from steadyturn.sessions.findings import Finding
from steadyturn.sessions.flow import flow
from steadyturn.sessions.history import Past
from steadyturn.sessions.library import BoardRow, Contact, Library
from steadyturn.sessions.measures import energies, times
from steadyturn.sessions.outings import Outing, last_outing
from steadyturn.settings.file import read_any

NEEDED = {"low_dtpm", "target_dtpm", "high_dtpm", "window_low_mv", "window_high_mv"}


@dataclass(frozen=True, slots=True)
class Review:
    """A review. Host times (pulled_s, since_s) are seconds since 1970, since_s None when no
    pull came before; board_running_s: how long the last boot had been up at the pull.

    scope: "last_pull" or "all". latest_brought_none: the newest pull found nothing, an
    earlier one is shown. unfinished: that pull was broken off. other_boards: ids of boards
    in the library that are not shown. window_v, band_tpm ([low, target, high]),
    percent_j (energy at the phone's socket for one percent): from the settings in force
    at the pull, None where they are unknown. accuracy: the sensor's. estimates: the figures
    with their 95 % ranges. findings: what to change, most worth first. expected: against the
    rig's model (empty without a rig). history: against earlier outings. pages: the decoded
    pages, not in --json.
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
    rig: str | None
    label: str | None
    window_v: tuple[float, float] | None
    band_tpm: tuple[float, float, float] | None
    percent_j: float | None
    figures: Figures
    plot: Path | None
    html: Path | None
    accuracy: Accuracy
    estimates: tuple[Estimate, ...]
    findings: tuple[Finding, ...]
    expected: tuple[Comparison, ...]
    history: tuple[Past, ...]
    pages: Pages = field(metadata={"json": False})


def review(
    library: Path | None = None, *, board: str | None = None, everything: bool = False,
    plot: Path | None = None, html: Path | None = None,
) -> Review:
    """Review the library in that folder (None: the user's).

    board: a board's id or the end of it (None: the one met last). everything: all its pages
    instead of the last pull's. plot: also draw a picture there (.png or .svg).
    html: also write a page for a browser there.
    Raises WrongInput (board, plot, html) and Failed (nothing to review, library unusable).
    """
    if plot is not None:
        plots.check(plot)
    if html is not None:
        review_page.check(html)
    with Library(library, readonly=True) as shelf:
        rows = shelf.boards()
        row = _choose(rows, board, shelf.folder)
        contacts = shelf.contacts(row)
        outing = last_outing(contacts)
        if outing is None:
            raise Failed(
                f"No page of board {row.unique_id} is in the library at {shelf.folder} yet.",
                "Crank, then connect the board and run 'steadyturn pull'.",
            )
        if everything:
            raw = shelf.pages(row)
            before = b""
            damaged = len(shelf.damaged(row))
        else:
            ids = {c.id for c in outing.contacts}
            raw = shelf.pages(row, contacts=ids)
            before = _before(shelf, row, raw)
            damaged = sum(1 for d in shelf.damaged(row) if d[0] in ids)
    pages = decode(raw)
    settings = _settings(outing.contacts[-1])
    result = _result(
        row, shelf.folder, everything, outing, rows, settings, pages,
        figures_of(pages, settings, before=before, damaged=damaged), plot, html,
    )
    if plot is not None:
        plots.write(result, plot)
    if html is not None:
        review_page.write(result, html)
    return result


def _choose(rows: Sequence[BoardRow], wanted: str | None, folder: Path) -> BoardRow:
    if not rows:
        raise Failed(f"The library at {folder} has no boards yet.",
                     "Connect one and run 'steadyturn pull'.")
    if wanted is None:
        return rows[0]
    found = [r for r in rows if r.unique_id.endswith(wanted.strip().lower())]
    ids = sorted({r.unique_id for r in rows})
    if len({r.unique_id for r in found}) != 1:
        fault = "fits several boards" if found else "is no board of this library"
        raise WrongInput(Problem("--board", "", wanted, f"{wanted!r} {fault}.",
                                 f"Its boards: {', '.join(ids)}; the last digits are enough."))
    return found[0]  # of several journals on one chip, the one met last


def _before(shelf: Library, row: BoardRow, raw: bytes) -> bytes:
    """The page before these, and all older ones that a summary among them stands for too."""
    first = seq_of(raw)
    oldest = int(min(decode(raw).summaries["first_seq"], default=first))
    older = shelf.pages(row, since_seq=oldest) if oldest < first else b""
    size = layout.PAGE_BYTES
    known = b"".join(
        older[at : at + size] for at in range(0, len(older), size)
        if seq_of(older[at : at + size]) < first
    )
    return known or shelf.page_before(row, first)


def _settings(contact: Contact) -> Mapping[str, Any]:
    """The settings in force then, of whatever version; empty where there were none."""
    return read_any(contact.settings)


def _result(
    row: BoardRow, folder: Path, everything: bool, outing: Outing,
    rows: Sequence[BoardRow], settings: Mapping[str, Any], pages: Pages, figures: Figures,
    plot: Path | None, html: Path | None,
) -> Review:
    anchor = outing.contacts[-1]
    previous = None if everything else outing.previous
    band = window = None
    if settings.keys() >= NEEDED:
        band = (settings["low_dtpm"] / 10, settings["target_dtpm"] / 10,
                settings["high_dtpm"] / 10)
        window = (settings["window_low_mv"] / 1000, settings["window_high_mv"] / 1000)
    percent_mj = settings.get("percent_mj", 0)
    sensor = accuracy(settings)
    out_sensor = accuracy(settings, out=True) if settings.get("out_shunt_uohm") else UNKNOWN
    estimates = (*energies(figures, flow(pages), settings, sensor, None, out_sensor),
                 *times(figures))
    return Review(
        board=row.unique_id,
        format_id=row.format_id,
        library=folder,
        scope="all" if everything else "last_pull",
        pulled_s=anchor.host_s,
        since_s=previous.host_s if previous else None,
        board_running_s=anchor.t_ms / 1000,
        latest_brought_none=outing.latest_brought_none,
        unfinished=outing.unfinished,
        other_boards=tuple(sorted({r.unique_id for r in rows} - {row.unique_id})),
        rig=settings.get("rig"),
        label=settings.get("label") or None,
        window_v=window,
        band_tpm=band,
        percent_j=percent_mj / 1000 if percent_mj else None,
        figures=figures,
        plot=plot,
        html=html,
        accuracy=sensor,
        estimates=estimates,
        findings=(),
        expected=(),
        history=(),
        pages=pages,
    )
