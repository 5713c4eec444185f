"""This machine's outings on the review's page: what each delivered, volts, share in the band."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

from steadyturn.report import moments
from steadyturn.report import review_words as terms
from steadyturn.report.html_parts import esc, table
from steadyturn.report.style import number
from steadyturn.report.svg_time import Sheet
from steadyturn.sessions.figures import WH

MOST_DRAWN = 40  # outings: more would be too narrow for a telephone
MOST_ROWS = 100
FEWEST = 2  # outings; one alone is no history


@dataclass(frozen=True, slots=True)
class Shown:
    """A figure of an outing: what it is called, and how it follows from its row (fields as in
    sessions.rows.OutingRow)."""

    name: str
    of: Callable[[Any], float]
    places: int


def _over(part: float, whole: float) -> float:
    return part / whole if whole > 0 else math.nan


FIGURES = (
    Shown("to the phone, Wh", lambda o: o.energy_out_j / WH, 3),
    Shown("mean volts of the bus, V", lambda o: _over(o.energy_in_j, o.charge_c), 2),
    Shown("to the phone, J a turn", lambda o: _over(o.energy_out_j, o.turns), 2),
    Shown("of turning in the band, %",
          lambda o: min(100.0, 100 * _over(o.band_s, o.turning_s)), 0),
)


def outings(review: Any) -> list[Any]:
    """Of this machine (one board with one rig file), oldest first, these the last ones."""
    return [o for o in (*review.earlier, *review.outings) if o.rig == review.rig]


def drawing(review: Any) -> str:
    """A panel a figure, one place an outing; "" where there are too few."""
    rows = outings(review)[-MOST_DRAWN:]
    if len(rows) < FEWEST:
        return ""
    these = {o.id for o in review.outings}
    sheet = Sheet("history", float(len(rows)))
    said = []
    for figure in FIGURES:
        values = [figure.of(o) for o in rows]
        known = [v for v in values if math.isfinite(v)]
        panel = sheet.panel(figure.name, 74, *_ends(known, from_zero=figure is FIGURES[0]))
        panel.dots([(n + 0.5, value, "this" if o.id in these else "dot")
                    for n, (o, value) in enumerate(zip(rows, values, strict=True))],
                   bars=figure is FIGURES[0], joined=figure is not FIGURES[0])
        if known:
            said.append(f"{figure.name}: {number(min(known))} to {number(max(known))}, "
                        f"now {_plain(values[-1], figure.places)}")
    sheet.times(_numbers(rows))
    return sheet.svg(f"The last {len(rows)} outings of this machine",
                     f"{'; '.join(said)}. The table below has them all.")


def _ends(known: Sequence[float], *, from_zero: bool) -> tuple[float, float]:
    """Foot and top of a panel: bars stand on zero, lines have room above and below."""
    low, high = min(known, default=0.0), max(known, default=1.0)
    if from_zero:
        return 0.0, 1.15 * high or 1.0
    span = max(high - low, 0.1 * abs(high), 1e-9)
    return max(0.0, low - 0.5 * span), high + 0.35 * span


def _numbers(rows: Sequence[Any]) -> list[tuple[float, str, str]]:
    """Outing numbers, as many as fit a telephone; more of them on a wide screen."""
    wide, narrow = math.ceil(len(rows) / 20), math.ceil(len(rows) / 7)
    last = len(rows) - 1
    return [(n + 0.5, f"{o.id}", "" if (last - n) % narrow == 0 else "wide")
            for n, o in enumerate(rows)
            if (last - n) % narrow == 0 or (last - n) % wide == 0]


def outing_table(review: Any) -> str:
    """The same as a table."""
    these = {o.id for o in review.outings}
    rows = outings(review)[-MOST_ROWS:]
    body = [(f"{o.id}{_marks(o, these)}", esc(moments.when(o)),
             *(_plain(f.of(o), f.places) for f in FIGURES)) for o in rows]
    return table(f"The last {len(rows)} outings of this machine, oldest first",
                 ("outing", "when", *(esc(f.name) for f in FIGURES)), body,
                 right=(2, 3, 4, 5), kind="dense")


def _marks(outing: Any, these: set[int]) -> str:
    told = ["this"] if outing.id in these else []
    if outing.faults:
        told.append("1 fault" if outing.faults == 1 else f"{outing.faults} faults")
    return f'<span class="sub">{esc(", ".join(told))}</span>' if told else ""


def usual_table(review: Any) -> str:
    """Against what is usual for this machine; "" where there are too few outings to say."""
    rows = []
    for past in review.history:
        if past.verdict == "too few":
            continue
        told = terms.VERDICT.get(past.verdict, past.verdict)
        trend = terms.TREND.get(past.trend, "")
        rows.append((esc(terms.PAST.get(past.name, past.name)),
                     esc(terms.past_value(past.value, past.unit)),
                     f"{number(past.median)}<span class=\"sub\">{number(max(past.low, 0.0))} to "
                     f"{number(past.high)}</span>",
                     esc(f"{told}, {trend}" if trend else told)))
    if not rows:
        return ""
    count = max(past.count for past in review.history)
    return table(f"Against {count} earlier outings", ("figure", "now", "usually", "verdict"), rows)


def _plain(value: float, places: int) -> str:
    return f"{value:.{places}f}" if math.isfinite(value) else "-"
