"""The review as one HTML file: nothing in it is loaded from elsewhere, and nothing in it runs.

It reads from the top: what was delivered, what to change, the figures, the curves, the
machine's history, faults, how it was measured, cautions. It needs no plotting library.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import steadyturn
from steadyturn import cautions
from steadyturn.report import (
    plot_files,
    review_page_against,
    review_page_history,
    review_page_learned,
)
from steadyturn.report import review as said
from steadyturn.report import review_page_parts as parts
from steadyturn.report.html_parts import document, esc, items, name
from steadyturn.report.plots_boots import lay_out
from steadyturn.report.review_page_style import style
from steadyturn.report.review_page_tables import boots, events, samples
from steadyturn.report.review_page_time import legend, pace_caption, pace_svg, power_svg
from steadyturn.report.review_words import energy_unit
from steadyturn.report.style import duration

SUFFIXES = (".html", ".htm")
MOST_NOTED = 1000  # letters of a line of a note
MOST_OPEN = 12  # boots that are shown at once
Section = tuple[str, str, str]  # id, heading, HTML


def check(path: Path, option: str = "--html") -> None:
    """Raise WrongInput before any work if the page cannot be written there."""
    plot_files.place(path, option, SUFFIXES, "It is a page for a browser.")


def write(review: Any, path: Path) -> None:
    """Write a `jobs.review.Review` into `path`; a file that was there is replaced whole."""
    check(path)
    text = page(review)
    with plot_files.whole(path) as unseen:
        unseen.write_text(text, encoding="utf-8", newline="\n")


def page(review: Any) -> str:
    """The whole page."""
    found = [s for s in sections(review) if s[2]]
    contents = items(f'<a href="#{key}">{esc(title)}</a>' for key, title, _ in found)
    body = "\n".join(f'<section aria-labelledby="{key}"><h2 id="{key}">{esc(title)}</h2>\n'
                     f"{html}\n</section>" for key, title, html in found)
    what = headline(review)
    return document(
        f"{what} - {review.label or review.rig or review.board}",
        '<a class="skip" href="#review">Skip to the review</a>\n'
        f'<header><p class="who">{name(said.head(review))}</p></header>\n'
        f'<main id="review" tabindex="-1"><h1>{esc(what)}</h1>\n{_notes(review)}\n'
        f'<nav aria-label="Contents">{contents}</nav>\n{body}</main>\n'
        f'<footer><p class="small">Board {name(review.board)}. Made by steadyturn '
        f"{steadyturn.__version__}. This file loads nothing and sends nothing.</p></footer>",
        style(), about=f"{what}. A machine's report by steadyturn.", scheme="light dark")


def _notes(review: Any) -> str:
    """What somebody wrote down of these outings."""
    return "\n".join(f"<p>Note to outing {o.id}: {name(line, MOST_NOTED)}</p>"
                     for o in review.outings for line in o.note.splitlines() if line.strip())


def headline(review: Any) -> str:
    """What was delivered, percent with its range, in one line."""
    text = said.delivered(review, energy_unit(review))
    return f"{text[:1].upper()}{text[1:]}"


def sections(review: Any) -> Iterator[Section]:
    """The page below its headline, in order; a section without contents is left out."""
    f = review.figures
    stretches = lay_out(review.pages)
    yield "change", "What to change", parts.change(review)
    yield "figures", "Figures", parts.figures(review) if f.pages else ""
    yield "against", "Side by side", review_page_against.part(review)
    if stretches:
        marks = "; ".join(legend(stretches))
        drawn = _figure(pace_svg(review, stretches),
                        f"{pace_caption(review, stretches)} {_sentence(marks)}")
        yield "pace", "Pace and lamp", drawn + parts.times(review) + _details(
            "The samples of both drawings as a table", samples(review.steps))
        yield "power", "Power and volts", _figure(
            power_svg(review, stretches),
            f"Thick lines: means over 0.2 s. Thin line: the highest reading. {_sentence(marks)}")
    yield "machine", "This machine", parts.model(review) + _history(review)
    yield "learned", "Learned from its outings", review_page_learned.part(review)
    yield "boots", "Boots", _boots(f)
    yield "faults", "Phone, faults and events", _faults(review) if f.pages else ""
    yield "measured", "How it was measured", parts.measured(review)
    yield "cautions", "Cautions", (
        f'<div class="mind">{items(map(parts.caution, cautions.of("crank")))}</div>')


def _figure(svg: str, caption: str) -> str:
    return f"<figure>{svg}<figcaption>{esc(caption.strip())}</figcaption></figure>"


def _sentence(marks: str) -> str:
    return f"{marks[:1].upper()}{marks[1:]}." if marks else ""


def _details(summary: str, html: str) -> str:
    return f"<details><summary>{esc(summary)}</summary>{html}</details>"


def _history(review: Any) -> str:
    drawn = review_page_history.drawing(review)
    if not drawn:
        return ""
    shown = sum(o.reviewed for o in review.machine[-review_page_history.MOST_DRAWN:])
    this = {0: "", 1: "; the larger pointed one is this"}.get(
        shown, "; the larger pointed ones are in this review")
    caption = f"Each sign is an outing, by its number{this}. Lines need not begin at zero."
    return (review_page_history.usual_table(review) + _figure(drawn, caption) + _details(
        "These outings as a table", review_page_history.outing_table(review)))


def _boots(f: Any) -> str:
    if len(f.boots) < 2 and not f.boots_cut:
        return ""
    table = boots(f, said.ENDED)
    if len(f.boots) <= MOST_OPEN:
        return table
    lengths = [b.length_s for b in f.boots]
    told = (f"{len(lengths)} boots of {duration(sum(lengths))} in all, the longest "
            f"{duration(max(lengths))}; each rest ends one.")
    return f"<p>{esc(told)}</p>" + _details(f"All {len(lengths)} boots", table)


def _faults(review: Any) -> str:
    table = events(review.pages.events)
    return parts.phone(review) + (_details("What happened, in order", table) if table else "")
