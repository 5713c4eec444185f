"""What `check` found, for a person."""

from __future__ import annotations

from typing import Any

from steadyturn.report.style import item, number, shown_path, table, wrap

MOSTLY = 4  # so many guesses for each value that is known
SHOWN = 8  # assumed values listed unless all are asked for


def text(result: Any, *, every: bool = False) -> str:
    """Hazards first, then remarks, then what is assumed and how to measure it."""
    full = ("is mostly guessed" if result.assumed_count > MOSTLY * (
        result.given_count + result.measured_count) else "is described in full")
    verdict = f"{full}, and no hazard forbids it" if result.safe else "IS NOT SAFE as described"
    lines = [f"{shown_path(result.file)}: {result.rig} {verdict}.", ""]
    if result.hazards:
        lines.append("Hazards, if one more part fails" if result.safe else "Hazards")
        for hazard in result.hazards:
            volts = f"{number(hazard.volts)} V where {number(hazard.rating_v)} V is borne"
            lines.append(item(f"{volts}: {hazard.reason}. {hazard.how}",
                              mark="! " if hazard.refuses else "- "))
        lines.append("")
    if result.remarks:
        lines.append("Worth a second look")
        for remark in result.remarks:
            where = remark.where.replace(str(result.file), shown_path(result.file))
            place = f"{where}: " if where else ""
            lines.append(item(f"{place}{remark.key}: {remark.text} {remark.how}".rstrip()))
        lines.append("")
    lines.append(f"Of its numbers {result.given_count} are given, {result.measured_count} "
                 f"measured, {result.assumed_count} assumed.")
    lines += _assumed(result, every)
    path = shown_path(result.file)
    step = f"steadyturn pace {path}" if result.safe else (
        f"mend what is marked !, then steadyturn check {path}")
    lines += ["", f"next: {step}"]
    return "\n".join(lines) + "\n"


def _assumed(result: Any, every: bool) -> list[str]:
    chosen = result.assumed if every else result.assumed[:SHOWN]
    if not chosen:
        return []
    lines = ["", "Assumed" + (":" if every else
             f" ({len(chosen)} of {result.assumed_count}; --all shows the rest):")]
    rows = [(v.key, number(v.value), f"{number(v.low)} to {number(v.high)}", v.unit)
            for v in chosen]
    lines.append(table(rows, ("key", "value", "range", "unit"), right=(1, 2)))
    measurable = [v for v in chosen if v.how][: None if every else 3]
    if measurable:
        lines += ["", "How to measure" + ("" if every else " the first of them") + ":"]
        lines += [item(f"{v.key}: {v.how}") for v in measurable]
    own = wrap("Write what you measured as { measured = 2.31, low = 2.2, high = 2.4 }.")
    return [*lines, "", own, wrap("'steadyturn pace' says which guess matters most.")]
