"""On the review's page: what the outings have taught of the machine, as curves and a table."""

from __future__ import annotations

from typing import Any

import numpy as np

from steadyturn.report import learned as said
from steadyturn.report.html_parts import esc, table
from steadyturn.report.review_words import ranged
from steadyturn.report.svg_time import Sheet

FEWEST = 2  # outings: one alone is no curve
HEIGHT = 110


def part(review: Any) -> str:
    """Table, curves and how it is known; "" where nothing is."""
    if not review.learned:
        return ""
    rows = []
    for one, (_, value, rig, _) in zip(review.learned, said.rows(review.learned),
                                             strict=True):
        rows.append((esc(said.NAMES[one.name]) + _sub(said.UNIT[one.name]), _below(value),
                     _below(rig), esc(said.verdict(one))))
    count = max(one.outings for one in review.learned)
    told = table(f"Learned from {count} outing{'s' if count > 1 else ''}, windings at 20 degC",
                 ("constant", "learned", "rig file", "change"), rows, right=(1, 2))
    changes = "".join(f"<p>{esc(said.change(one))}</p>" for one in review.learned if one.real)
    changes += "".join(f"<p>{esc(one)}</p>" for one in said.remarks(review.learned))
    return (told + changes + _figure(review)
            + f'<p class="small">{esc(said.how(review.learned))}</p>')


def _figure(review: Any) -> str:
    shown = [one for one in review.learned if len(one.points) >= FEWEST]
    if not shown:
        return ""
    numbers = sorted({p.outing for one in shown for p in one.points})
    place = {number: n + 0.5 for n, number in enumerate(numbers)}
    sheet = Sheet("learned", float(len(numbers)))
    about = []
    for one in shown:
        scale = said.SCALE.get(one.name, 1.0)
        at = np.array([place[p.outing] for p in one.points])
        low, level, high = (scale * np.array([getattr(p, name) for p in one.points])
                            for name in ("level_low", "level", "level_high"))
        seen = scale * np.array([p.value for p in one.points])
        foot, top = float(min(low.min(), seen.min())), float(max(high.max(), seen.max()))
        if one.differs:
            foot, top = min(foot, scale * one.rig_value), max(top, scale * one.rig_value)
        room = 0.12 * (top - foot) or 0.1 * top
        panel = sheet.panel(f"{said.NAMES[one.name]}, {said.UNIT[one.name]}", HEIGHT,
                            max(0.0, foot - room), top + room)
        panel.band("volts", at, low, level, high)
        if one.rig_value is not None and foot - room < scale * one.rig_value < top + room:
            panel.level(scale * one.rig_value, "target")
        panel.dots([(x, v, "this" if n == len(at) - 1 else "dot")
                    for n, (x, v) in enumerate(zip(at.tolist(), seen.tolist(), strict=True))],
                   joined=False)
        about.append(f"{said.NAMES[one.name]}: {said.verdict(one)}, now "
                     f"{ranged(*said.values(one))} {said.UNIT[one.name]}")
    sheet.times(_numbers(numbers))
    svg = sheet.svg("What each outing showed, and what all of them tell", ". ".join(about))
    return (f"<figure>{svg}<figcaption>Each sign is what one outing showed, by its number, less "
            "what its way of measuring gets wrong each time. The line is what all of them tell of "
            "that time, with its 95 % range; dashed is the rig file. Lines need not begin at "
            "zero.</figcaption></figure>")


def _numbers(outings: list[int]) -> list[tuple[float, str, str]]:
    """Outing numbers, as many as fit a telephone; more of them on a wide screen."""
    last = len(outings) - 1
    wide, narrow = -(-len(outings) // 20), -(-len(outings) // 7)
    return [(n + 0.5, str(number), "" if (last - n) % narrow == 0 else "wide")
            for n, number in enumerate(outings)
            if (last - n) % narrow == 0 or (last - n) % wide == 0]


def _sub(text: str) -> str:
    return f'<span class="sub">{esc(text)}</span>'


def _below(text: str) -> str:
    value, _, reach = text.partition(" (")
    return esc(value) + (_sub(reach.rstrip(")")) if reach else "")
