"""The tables of a whole review: figures with ranges, the sensor behind them, model, history."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

from steadyturn.report.correction_words import when as correction_day
from steadyturn.report.review_words import (
    COMPARED,
    ESTIMATE,
    NOTE,
    PAST,
    TREND,
    VERDICT,
    Energy,
    past_value,
    ranged,
    shown,
)
from steadyturn.report.style import WIDTH, columns, item, number, shown_path, table, wrap


def fitted(rows: Sequence[Sequence[str]], header: Sequence[str] | None,
           say: Callable[[Sequence[str]], str], *, right: Sequence[int] = ()) -> str:
    """A table, or, where the window is too narrow for it, an item for each row."""
    text = table(rows, header, right=right, width=WIDTH)
    if max(map(len, text.splitlines()), default=0) <= columns():
        return text
    return "\n".join(item(say(row)) for row in rows)


def estimates(review: Any, energy: Energy) -> str:
    """All figures: value, 95 % range, how it is known."""
    rows = []
    for name, label in ESTIMATE.items():
        found = review.estimate(name)
        if found is None or (name == "turns_unknown" and not found.high):
            continue
        value, reach = shown(found, energy)
        rows.append((label, value, reach, found.kind))
    return "Figures (95 % range)\n" + fitted(rows, None, _estimate, right=(1, 2))


def _estimate(row: Sequence[str]) -> str:
    label, value, reach, kind = row
    return f"{label}: {value}" + (f" ({reach})" if reach else "") + f", {kind}"


def sensor(review: Any) -> str:
    """What the ranges of the measured figures rest on."""
    a = review.accuracy
    if not a.chip:
        return wrap("The board had no valid settings: how well its sensor reads is not known.")
    lines = [_reads("The board's ADC" if a.chip == "adc" else a.chip.upper(), a)]
    if review.out_accuracy is not None and review.out_accuracy.chip:
        lines.append(_reads("At the converter's output", review.out_accuracy))
    return "\n".join(lines)


def _reads(name: str, a: Any) -> str:
    said = (f"{name}: volts +-{number(a.volts_percent, 2)} % and {number(a.volts_mv, 2)} mV, "
            f"amps +-{number(a.amps_percent, 2)} % and {number(a.amps_ma, 2)} mA "
            f"(95 %; {a.source}).")
    if a.corrected:
        said += (" These readings are corrected by a meter: volts x "
                 f"{a.bus_gain_ppm / 1e6:.4f} {a.bus_offset_mv:+d} mV"
                 f"{_on(a.volts_corrected_on)}, amps x {a.amps_gain_ppm / 1e6:.4f} "
                 f"{a.amps_offset_ma:+d} mA{_on(a.amps_corrected_on)}.")
    else:
        said += " No correction is in force."
    if a.other_boots:
        said += (f" {a.other_boots} of the boots shown had another correction; their readings are "
                 "as they were then.")
    return wrap(said)


def _on(day: str) -> str:
    return f" ({correction_day(day)})" if day else ""


def model(review: Any) -> str:
    """Against the rig's model."""
    if not review.expected:
        return ""
    rows = [(COMPARED.get(c.name, c.name), f"{number(c.measured)} {c.unit}",
             ranged(c.expected, c.low, c.high),
             VERDICT.get(c.verdict, c.verdict)) for c in review.expected]
    where = "as flash left it" if review.rig_source == "library" else shown_path(
        review.rig_source)
    lines = [wrap(f"Against the model of the rig ({where}), at the paces that were held"),
             fitted(rows, ("", "measured", "expected", ""),
                    lambda row: f"{row[0]}: {row[1]}, expected {row[2]}: {row[3]}", right=(1,))]
    noted = {c.note for c in review.expected if c.note}
    lines += [item(f"{NOTE[note][:1].upper()}{NOTE[note][1:]}.") for note in sorted(noted)]
    return "\n".join(lines)


def history(review: Any) -> str:
    """Against this machine's earlier outings."""
    if not review.history:
        return ""
    count = max(p.count for p in review.history)
    if all(p.verdict == "too few" for p in review.history):
        before = {0: "no outing", 1: "one outing", 2: "two outings"}.get(count, f"{count}")
        return wrap(f"Against its own history: {before} before this one, too few to say what is "
                    "usual.")
    rows = []
    for p in review.history:
        usual = ranged(p.median, max(p.low, 0.0), p.high)
        told = VERDICT.get(p.verdict, p.verdict)
        if TREND.get(p.trend):
            told += f", {TREND[p.trend]}"
        rows.append((PAST.get(p.name, p.name), past_value(p.value, p.unit), usual, told))
    return wrap(f"Against its own history, {count} earlier outings") + "\n" + fitted(
        rows, ("", "now", "usually", ""),
        lambda row: f"{row[0]}: {row[1]}, usually {row[2]}: {row[3]}", right=(1,))
