"""Two outings side by side: each figure of both, the difference, and whether it is one."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

from steadyturn.report import moments
from steadyturn.report import review_words as terms
from steadyturn.report.harmless import harmless
from steadyturn.report.style import columns, item, number, table, wrap

# figures that only a comparison has, beside those of the review and the history
NAMES = {
    "power_out": "to the phone while connected", "out_per_turn": "to the phone",
    "loaded_volts": "mean volts of the bus", "in_band_share": "of turning in the band",
    "connections": "times connected", "releases": "times disconnected",
    "collapses": "times the volts collapsed", "faults": "faults",
}
UNITS = {"turns": "turns", "% in 10 min": "% in 10 min"}
VERDICT = {"more": "more", "less": "less", "same": "same", "unsure": "unsure",
           "unknown": "?"}
MOST_PLACES = 4


@dataclass(frozen=True, slots=True)
class Row:
    """A figure as text. sure: the difference is beyond the uncertainty."""

    name: str
    this: str
    other: str
    difference: str
    known_to: str
    verdict: str
    sure: bool
    kind: str


def text(review: Any) -> str:
    """review: jobs.review.Review with `against` set."""
    told = table([(row.name, row.this, row.other, row.difference, row.known_to, row.verdict)
                  for row in rows(review)],
                 ("", "this", "other", "difference", "+-", ""), right=range(1, 5))
    if max(map(len, told.split("\n"))) > columns():
        told = "\n".join(item(f"{row.name}: {row.this}, other {row.other}, difference "
                              f"{row.difference}, {row.verdict}", "") for row in rows(review))
    parts = [wrap(title(review) + "."), told, wrap(basis(review.against))]
    parts += [f"{name}: {path}" for name, path in (("Plot", review.plot), ("Page", review.html))
              if path]
    return "\n\n".join(parts) + "\n"


def title(review: Any) -> str:
    """Which two: "Outing 12 against outing 7 (hut lamp, 03 Nov 2026, 18:10)"."""
    beside = review.against
    numbers = [str(n) for n in beside.these]
    ours = f"Outing {numbers[0]}" if len(numbers) == 1 else (
        f"Outings {numbers[0]} to {numbers[-1]}" if numbers else "This review")
    other = beside.outing
    who = [] if beside.same_board else [harmless(other.label or f"board {beside.board}")]
    return f"{ours} against outing {other.id} ({', '.join([*who, moments.when(other)])})"


def basis(beside: Any) -> str:
    """What a verdict rests on, in two sentences."""
    said = ("More and less are beyond the uncertainty (95 %); unsure is within it. ")
    if beside.same_constants:
        return said + ("Both are of one machine with one correction of its sensor: its errors "
                       "are the same in both and make no difference.")
    if beside.same_board:
        return said + ("The settings by which readings become figures were changed between them, "
                       "so the ranges of both count in full.")
    return said + "They are of two boards, so the ranges of both count in full."


def rows(review: Any) -> list[Row]:
    """The figures side by side, in words; what has no name here is left out."""
    energy = terms.energy_unit(review)
    return [_row(c, energy) for c in review.against.figures if _name(c.name)]


def _name(code: str) -> str:
    return NAMES.get(code) or terms.ESTIMATE.get(code, "")


def _row(c: Any, energy: terms.Energy) -> Row:
    reach = (c.difference_high - c.difference_low) / 2
    sure = c.verdict in ("more", "less")
    unit, scale = c.unit, 1.0
    if unit == "s":
        apart = _rounded(c.value, 0) - _rounded(c.other, 0)
        this, other, known = (_time(v) for v in (c.value, c.other, reach))
        difference, unit = _time(apart, sign=True), "min:s"
    else:
        if unit == "Wh":
            unit, scale = energy.unit, energy.scale
        places = _places(c, reach, scale, energy if c.unit == "Wh" else None)
        # the difference is that of the figures as they stand there
        while not (apart := _apart(c, scale, places)) and sure and places < MOST_PLACES:
            places += 1
        this, other, known = (_plain(scale * v, places) for v in (c.value, c.other, reach))
        difference = _plain(apart, places, sign=True)
    if not reach or not known.strip("0.:"):
        known = ""
    name = _name(c.name)
    same = c.verdict != "unknown" and not apart
    return Row(f"{name}, {unit}" if unit else name, this, other, difference, known,
               "same" if same else VERDICT.get(c.verdict, c.verdict), sure and not same, c.kind)


def _apart(c: Any, scale: float, places: int) -> float:
    return round(_rounded(scale * c.value, places) - _rounded(scale * c.other, places), places)


def _rounded(value: float, places: int) -> float:
    """As it is shown."""
    return float(f"{value:.{places}f}")


def _places(c: Any, reach: float, scale: float, energy: terms.Energy | None) -> int:
    """Decimals: a count has none, an energy the review's, others as the range allows."""
    if energy is not None:
        return energy.decimals
    if not reach and all(not math.isfinite(v) or v == round(v) for v in (c.value, c.other)):
        return 0
    own = max(reach, (c.high - c.low) / 2 if math.isfinite(c.high - c.low) else 0.0) * scale
    if not math.isfinite(own) or own <= 0:
        return 1
    return min(MOST_PLACES, max(0, 1 - math.floor(math.log10(own))))


def _plain(value: float, places: int, sign: bool = False) -> str:
    if not math.isfinite(value):
        return "-"
    text = f"{value:+.{places}f}" if sign else f"{value:.{places}f}"
    return "0" if sign and float(text) == 0 else text


def _time(seconds: float, sign: bool = False) -> str:
    """Minutes and seconds, 2:05, or hours too, 1:02:05."""
    if not math.isfinite(seconds):
        return "-"
    minutes, rest = divmod(round(abs(seconds)), 60)
    hours, minutes = divmod(minutes, 60)
    text = f"{hours}:{minutes:02}:{rest:02}" if hours else f"{minutes}:{rest:02}"
    if not sign or text == "0:00":
        return text
    return f"{'-' if seconds < 0 else '+'}{text}"


def headline(review: Any) -> str:
    """The one difference that counts: what reached the phone."""
    out = next((c for c in review.against.figures if c.name == "energy_out"), None)
    if out is None or not math.isfinite(out.difference):
        return ""
    energy = terms.energy_unit(review)
    other = review.against.outing.id
    if out.verdict not in ("more", "less"):
        return f"As much as in outing {other}, within the uncertainty."
    share = f" ({number(100 * abs(out.difference) / out.other, 2)} %)" if out.other else ""
    return f"{energy.text(abs(out.difference))}{share} {out.verdict} than in outing {other}."
