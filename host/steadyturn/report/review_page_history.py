"""This machine's outings on the review's page: what each delivered, volts, share in the band."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

from steadyturn.report import moments
from steadyturn.report import review_words as terms
from steadyturn.report.html_parts import esc, table
from steadyturn.report.style import number
from steadyturn.report.svg_time import Sheet

MOST_DRAWN = 40  # outings: more would be too narrow for a telephone
FEWEST = 2  # outings; one alone is no history


# fields of sessions.machine.MachineOuting: what they are called, decimals
FIGURES = (
    ("out_wh", "to the phone, Wh", 3),
    ("bus_v", "mean volts of the bus, V", 2),
    ("out_per_turn_j", "to the phone, J a turn", 2),
    ("in_band_percent", "of turning in the band, %", 0),
)
MOST = {"in_band_percent": 100.0}  # where an axis ends at the latest


def drawing(review: Any) -> str:
    """A panel a figure, one place an outing; "" where there are too few."""
    rows = review.machine[-MOST_DRAWN:]
    if len(rows) < FEWEST:
        return ""
    sheet = Sheet("history", float(len(rows)))
    said = []
    for field, name, places in FIGURES:
        values = [getattr(o, field) for o in rows]
        known = [v for v in values if math.isfinite(v)]
        bars = field == "out_wh"
        panel = sheet.panel(name, 74, *_ends(known, from_zero=bars), MOST.get(field, math.inf))
        panel.dots([(n + 0.5, value, "this" if o.reviewed else "dot")
                    for n, (o, value) in enumerate(zip(rows, values, strict=True))],
                   bars=bars, joined=not bars)
        if known:
            said.append(f"{name}: {number(min(known))} to {number(max(known))}, "
                        f"now {_plain(values[-1], places)}")
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
    return [(n + 0.5, f"{o.outing}", "" if (last - n) % narrow == 0 else "wide")
            for n, o in enumerate(rows)
            if (last - n) % narrow == 0 or (last - n) % wide == 0]


def outing_table(review: Any) -> str:
    """The same as a table."""
    body = [(f"{o.outing}{_marks(o)}", esc(moments.when(o)),
             *(_plain(getattr(o, field), places) for field, _, places in FIGURES))
            for o in review.machine]
    return table(f"The last {len(body)} outings of this machine, oldest first",
                 ("outing", "when", *(esc(name) for _, name, _ in FIGURES)), body,
                 right=(2, 3, 4, 5), kind="dense")


def _marks(outing: Any) -> str:
    told = ["this"] if outing.reviewed else []
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
        usual, _, reach = terms.ranged(past.median, max(past.low, 0.0), past.high).partition(" (")
        rows.append((esc(terms.PAST.get(past.name, past.name)),
                     esc(terms.past_value(past.value, past.unit)),
                     f"{usual}<span class=\"sub\">{reach.rstrip(')')}</span>",
                     esc(f"{told}, {trend}" if trend else told)))
    if not rows:
        return ""
    count = max(past.count for past in review.history)
    return table(f"Against {count} earlier outings", ("figure", "now", "usually", "verdict"), rows)


def _plain(value: float, places: int) -> str:
    return f"{value:.{places}f}" if math.isfinite(value) else "-"
