"""Single changes of a machine that stands, for a person: the list, one row, what was written."""

from __future__ import annotations

from typing import Any

from steadyturn import cautions
from steadyturn.report.limit_names import NAME
from steadyturn.report.pace import in_full
from steadyturn.report.size import needs, shown_parts
from steadyturn.report.style import item, number, quantity, shown_path, table, wrap

HEADS = {
    "helps": "Helps:",
    "eases": "Makes no difference to the work, but eases the grip:",
    "wider": "Widens the band that is sure, for more work of the arm or as much (odds: of a "
             "wider band):",
    "unsure": "May help, or not: what it brings is less than what is not known here. Measure "
              "first ('steadyturn bench'):",
}
# so wide that the tables of all groups stand below each other
COLUMNS = ("row", "works", "sure", "turns/min", "W/W", "min", "odds")
WIDTHS = (3, 5, 6, 9, 4, 3, 4)
_ASKS = {"rewire": "at hand", "print": "to print or make", "buy": "to buy"}
MEASURE = ("Helps is what, first, makes it work at all in more of 100 machines within what is "
           "not known exactly (above 95 counts as all), then what saves the arm work for each Wh "
           "at the device: 1 % or more.")


def text(result: Any) -> str:
    """The list, the best first, and what was no help in a line each."""
    lines = [wrap(f"{result.rig}: one change at a time, each judged by the same model, hot and "
                  "cold.")]
    if not any(one.verdict == "helps" for one in result.changes):
        lines.append(wrap(_none(result)))
    works = not _all_work(result)
    lines += ["", _table([("now", result.now, "as it is", "-")], works)]
    for verdict, head in HEADS.items():
        rows = [one for one in result.changes if one.verdict == verdict]
        if rows:
            lines += ["", wrap(head), _table([_row(one) for one in rows], works)]
    dangerous = [one for one in result.changes if one.verdict == "dangerous"]
    if dangerous:
        lines += ["", "No help as it stands, for it would be DANGEROUS:"]
        lines += [item(f"{one.number}  {one.change}: needs {', '.join(needs(one.new_hazards))}.",
                       mark="! ") for one in dangerous]
    lines += _rest(result)
    lines += ["", *_legend(result, works)]
    best = next((one.number for one in result.changes if one.advised), None)
    if best is None:
        return "\n".join([*lines, "", f"next: {_next(result)}"]) + "\n"
    lines += ["", cautions.POINTER, "",
              f"next: {command(result)} --why {best}",
              f"      {command(result)} --write changed.toml --row {best}"]
    return "\n".join(lines) + "\n"


def _all_work(result: Any) -> bool:
    """Of those in a table: then a column says nothing."""
    shown = [one.machine for one in result.changes if one.verdict in HEADS]
    return all(m.works_share >= 0.995 for m in (result.now, *shown))


def command(result: Any) -> str:
    """The command that made the list."""
    words = ["steadyturn size"]
    if result.parts is not None:
        words.append(shown_parts(result.parts))
    words.append(f"--from {shown_path(result.file)}")
    if result.typical:
        words.append("--typical")
    return " ".join(words)


def _row(one: Any) -> tuple[str, Any, str, str]:
    mark = "*" if one.new_hazards else " "
    what = one.change + (f" (about {number(one.price_eur)} euro)" if one.price_eur else "")
    if one.start:
        what += f": {one.start}"
    if one.verdict == "eases":
        what += f": {quantity(one.machine.force_n, 'N')} at the grip"
    if one.verdict == "wider":
        what += _by(one)
    odds = "-" if one.start or one.verdict == "eases" else _percent(
        one.wider_share if one.verdict == "wider" else one.helps_share)
    return f"{one.number}{mark}", one.machine, what, odds


def _table(rows: list[tuple[str, Any, str, str]], works: bool) -> str:
    """works: whether the column of that name is worth its place."""
    cells = [(first, _percent(m.works_share), _sure(m), _band(m),
              "-" if m.arm_w_per_w is None else f"{m.arm_w_per_w:.2f}",
              "-" if m.ten_percent_min is None else f"{m.ten_percent_min:.0f}", odds, what)
             for first, m, what, odds in rows]
    heads = [head.rjust(width) for head, width in zip(COLUMNS, WIDTHS, strict=True)]
    every = [(*heads, "change"), *cells]
    if not works:
        every = [(row[0], *row[2:]) for row in every]
    return table(every[1:], every[0], right=range(len(every[0]) - 1))


def _percent(share: float) -> str:
    return f"{100 * share:.0f}"


def _sure(machine: Any) -> str:
    if machine.sure_low_tpm is None:
        return "-"
    return f"{machine.sure_low_tpm:.0f}-{machine.sure_high_tpm:.0f}"


def _band(machine: Any) -> str:
    if machine.low_tpm is None:
        return "none"
    return f"{machine.low_tpm:.0f}-{machine.target_tpm:.0f}-{machine.high_tpm:.0f}"


def _rest(result: Any) -> list[str]:
    lines = []
    for verdict, head in (("none", "No help"), ("worse", "Worse")):
        rows = [one for one in result.changes if one.verdict == verdict]
        if rows:
            said = "; ".join(f"{one.number} {one.change}{_by(one)}" for one in rows)
            lines += ["", wrap(f"{head}: {said}.")]
    return lines


def _by(one: Any) -> str:
    if one.effort_ratio is None or abs(one.effort_ratio[1] - 1) < 0.005:
        return ""
    return f" ({100 * (one.effort_ratio[1] - 1):+.0f} % work)"


def _legend(result: Any, works: bool) -> list[str]:
    first = ("works: of 100 machines; sure: paces that work for 95 of them" if works else
             "All work in 100 of 100 machines; sure: paces that work for 95 of them")
    lines = [wrap(MEASURE), wrap(
        f"{first}; turns/min: slowest-best-fastest; W/W: watts of the arm for each at the device; "
        "min: to charge from 20 to 30 %; odds: of 100 machines, those that it helps, or whose "
        "band it widens by 6 turns/min where that is the gain.")]
    starred = [h for one in result.changes for h in one.new_hazards
               if one.verdict in HEADS]
    if starred:
        lines.append(wrap(f"*: safe as long as nothing fails; better with "
                          f"{' and '.join(needs(starred))}."))
    if any(one.price_eur for one in result.changes):
        lines.append("Euros are a rough guide: bought singly, by mail.")
    if any(one.typical for one in result.changes):
        lines.append(wrap("Converters are typical classes, nothing measured; a parts file of "
                          "your own ('steadyturn size --new drawer.toml') takes their place."))
    refusing = [h for h in result.hazards if h.refuses]
    if refusing:
        lines.append(wrap(f"! As it is now it is DANGEROUS AS BUILT: it needs "
                          f"{', '.join(needs(refusing))}. That comes first."))
    return lines


def _none(result: Any) -> str:
    if result.now.low_tpm is None:
        return ("No single change makes it work. 'steadyturn pace' says which limits clash and "
                "tries two changes together.")
    if result.helps:
        return ("No single change surely saves the arm work here, or has it work more often; what "
                "else there is to gain:")
    return "No single change is worth making: it is as good as one change can make it."


def _next(result: Any) -> str:
    return f"steadyturn {'pace' if result.now.low_tpm is None else 'charge'} " + shown_path(
        result.file)


# ------------------------------------------------------------------------ one row


def why_text(result: Any) -> str:
    """One change: what it moves, by what odds, its hazards, then its band in full."""
    one, now = result.change, result.now
    price = f", about {number(one.price_eur)} euro as a rough guide" if one.price_eur else ""
    lines = [wrap(f"Row {one.number} of {command(result)}: {one.change} ({_ASKS[one.asks]}"
                  f"{price})."), ""]
    if one.verdict == "dangerous":
        lines += [wrap(f"! DANGEROUS: it needs {', '.join(needs(one.new_hazards))}."), ""]
    lines.append(table(_beside(now, one.machine), ("", "now", "then"), right=(1, 2)))
    lines += ["", wrap(_odds(one))]
    if one.start:
        lines.append(wrap(f"What it is for: {one.start}."))
    lines += [item(f"new: {h.reason}. {h.how}", mark="! " if h.refuses else "- ")
              for h in one.new_hazards]
    lines += ["", "With the change:", "", *in_full(result.pace), "",
              f"next: {command(result)}"
              + (f" --write changed.toml --row {one.number}" if one.advised else "")]
    return "\n".join(lines) + "\n"


def _beside(now: Any, then: Any) -> list[tuple[str, str, str]]:
    def both(name: str, show: Any) -> tuple[str, str, str]:
        return name, show(now), show(then)

    def limit(side: str) -> Any:
        return lambda m: NAME.get(getattr(m, side), getattr(m, side)) or "-"

    return [
        both("works, of 100", lambda m: _percent(m.works_share)),
        both("paces, turns/min", _band),
        both("sure for 95 of 100", _sure),
        both("slow end by", limit("low_limit")),
        both("fast end by", limit("high_limit")),
        both("arm, W", lambda m: number(m.arm_w)),
        both("device, W", lambda m: number(m.out_w)),
        both("arm W per W", lambda m: number(m.arm_w_per_w)),
        both("95 % of that", lambda m: "-" if m.arm_w_per_w_range is None else
             " to ".join(number(x) for x in m.arm_w_per_w_range)),
        both("grip, N", lambda m: number(m.force_n)),
        both("20 to 30 %, min", lambda m: number(m.ten_percent_min)),
        both("arm for it, kJ", lambda m: number(m.ten_percent_arm_kj)),
    ]


def _odds(one: Any) -> str:
    said = (f"Of 100 machines within what is not known exactly it helps "
            f"{_percent(one.helps_share)} and harms {_percent(one.harms_share)}")
    if one.effort_ratio is not None:
        low, middle, high = (100 * (r - 1) for r in one.effort_ratio)
        said += (f"; the arm's work for a Wh changes by {middle:+.1f} % ({low:+.1f} to "
                 f"{high:+.1f} %)")
    if one.verdict == "wider":
        said += f"; of {_percent(one.wider_share)} it widens the band by 6 turns/min or more"
    if one.verdict == "unsure":
        said += ". That is inside what is not known: measure before you buy"
    return said + "."


def written_text(result: Any) -> str:
    one = result.change
    lines = [wrap(f"{result.file}: with {one.change}. What the old file said stands above each "
                  "line as a comment.")]
    if one.verdict == "dangerous":
        lines.append(wrap(f"DANGEROUS: it needs {', '.join(needs(one.new_hazards))}. Write it "
                          "into the file once it is fitted."))
    lines += ["", f"next: {result.next[0]}", *(f"      {step}" for step in result.next[1:])]
    return "\n".join(lines) + "\n"
