"""The review as one HTML file: nothing in it is loaded from elsewhere, and nothing in it runs.

It reads from the top: what was delivered, what to change, the figures, the curves, the
machine's history, faults, how it was measured, cautions. It needs no plotting library.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import steadyturn
from steadyturn import cautions
from steadyturn.report import plot_files, words
from steadyturn.report import review as said
from steadyturn.report.html_parts import document, esc, items, name
from steadyturn.report.plots_boots import lay_out
from steadyturn.report.review_page_style import style
from steadyturn.report.review_page_tables import boots, events, samples
from steadyturn.report.review_page_time import legend, pace_svg, power_svg
from steadyturn.report.style import number, quantity

SUFFIXES = (".html", ".htm")
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
    parts = [s for s in sections(review) if s[2]]
    contents = items(f'<a href="#{key}">{esc(head)}</a>' for key, head, _ in parts)
    body = "\n".join(f'<section aria-labelledby="{key}"><h2 id="{key}">{esc(head)}</h2>\n{html}\n'
                     "</section>" for key, head, html in parts)
    head = headline(review)
    return document(
        f"{head} - {_title(review)}",
        '<a class="skip" href="#review">Skip to the review</a>\n'
        f'<header><p class="who">{_who(review)}</p></header>\n'
        f'<main id="review" tabindex="-1"><h1>{esc(head)}</h1>\n{_lead(review)}\n'
        f'<nav aria-label="Contents">{contents}</nav>\n{body}</main>\n'
        f'<footer><p class="small">Made by steadyturn {steadyturn.__version__}. '
        "This file loads nothing and sends nothing.</p></footer>",
        style(), about=f"{head}. A machine's report by steadyturn.", scheme="light dark")


def headline(review: Any) -> str:
    """What was delivered, percent with its range, in one line."""
    f = review.figures
    if not f.pages:
        return "Nothing was recorded"
    if not f.energy_out_j:
        return "Nothing reached the phone"
    out = f"{quantity(f.energy_out_wh, 'Wh')} to the phone"
    return out + (f", {_percent(review)} of its battery" if math.isfinite(f.percent) else "")


def sections(review: Any) -> Iterator[Section]:
    """The page below its headline, in order; a section without contents is left out."""
    f = review.figures
    stretches = lay_out(review.pages)
    if stretches:
        marks = "; ".join(legend(stretches))
        yield "pace", "Pace and lamp", _figure(
            pace_svg(review, stretches),
            "Solid line: pace. Dotted line: at most this, hardly any current flowed. Dashed "
            f"level: the target. {_sentence(marks)}") + _details(
            "The samples of both drawings as a table", samples(stretches))
        yield "power", "Power and volts", _figure(
            power_svg(review, stretches),
            f"Thick lines: means over 0.2 s. Thin line: the highest reading. {_sentence(marks)}")
    yield "boots", "Boots", boots(f, said.ENDED) if f.boots else ""
    yield "faults", "Faults and events", _faults(review)
    yield "cautions", "Cautions", f'<div class="mind">{items(map(esc, _cautions(review)))}</div>'


def _title(review: Any) -> str:
    return str(review.label or review.rig or f"board {review.board[-6:]}")


def _who(review: Any) -> str:
    board = f"board {name(review.board)}"
    who = f"{name(review.label)} ({board})" if review.label else board
    return who + (f", rig {name(review.rig)}" if review.rig else "")


def _lead(review: Any) -> str:
    return f"<p>Pulled {esc(said.when(review.pulled_s))}.</p>"


def _percent(review: Any) -> str:
    found = {e.name: e for e in review.estimates}.get("percent")
    text = f"{number(review.figures.percent, 2)} %"
    if found is not None and math.isfinite(found.low):
        text += f" ({number(found.low, 2)} to {number(found.high, 2)})"
    return text


def _figure(svg: str, caption: str) -> str:
    return f"<figure>{svg}<figcaption>{esc(caption.strip())}</figcaption></figure>"


def _sentence(marks: str) -> str:
    return f"{marks[:1].upper()}{marks[1:]}." if marks else ""


def _details(summary: str, html: str) -> str:
    return f"<details><summary>{esc(summary)}</summary>{html}</details>"


def _faults(review: Any) -> str:
    f = review.figures
    lines = [f"{count} x {words.fault(kind)}" for kind, count in f.faults_by_name.items()]
    more = f.faults - sum(f.faults_by_name.values())
    if more > 0:
        lines.append(f"{more} x a fault whose kind was not stored")
    lines += [f"{count} x disconnected: {words.reason(kind)}"
              for kind, count in f.releases.items()]
    html = items(map(esc, lines)) or "<p>No faults.</p>"
    table = events(review.pages.events)
    return html + (_details("What happened, in order", table) if table else "")


def _cautions(review: Any) -> tuple[str, ...]:
    return cautions.of("crank")
