"""Small helpers for text that a person reads: 80 columns, no colour needed."""

from __future__ import annotations

import re
import shutil
import textwrap
from collections.abc import Iterable, Sequence
from pathlib import Path

from steadyturn.rig.examples import FOLDER

WIDTH, NARROWEST = 80, 40
_STUCK = "\N{NO-BREAK SPACE}"
# a number and its unit stay on one line
_BEFORE_UNIT = re.compile(
    r"(?<=\d) (?=(?:[mk]?(?:V|A|W|Wh|J|Hz)|[mu]?s|N(?: m)?|[mu]?F|mm|k?ohm|degC|%|x|min|h|rpm|"
    r"turns(?:/min)?)(?![\w/]))")
# a command in a line of what comes next, to be copied whole
_NEXT = re.compile(r"(?:next|then): ")
_COMMAND = re.compile(r"steadyturn [^,;()]*[^,;()\s]")


def columns() -> int:
    """Columns to write in: a narrow terminal's (or those that COLUMNS names), at most 80."""
    found = shutil.get_terminal_size((WIDTH, 24)).columns
    return min(found, WIDTH) if found >= NARROWEST else WIDTH


def wrap(text: str, indent: str = "", width: int | None = None) -> str:
    """One paragraph, filled; later lines are indented like the first."""
    return _fill(text, indent, indent, width)


def item(text: str, mark: str = "- ", indent: str = "  ", width: int | None = None) -> str:
    """One list item with a hanging indent."""
    return _fill(text, indent + mark, indent + " " * len(mark), width)


def _fill(text: str, first: str, later: str, width: int | None) -> str:
    """A paragraph whose lines begin with `first` and then `later`; units are kept with their
    numbers, commands of a line of what comes next in one piece, however long."""
    glued = _BEFORE_UNIT.sub(_STUCK, " ".join(text.split())).replace(f"{_STUCK}N m",
                                                                    f"{_STUCK}N{_STUCK}m")
    if _NEXT.match(first.lstrip() + glued):
        glued = _COMMAND.sub(lambda command: command[0].replace(" ", _STUCK), glued)
    return textwrap.fill(
        glued, width or columns(), initial_indent=first, subsequent_indent=later,
        break_long_words=False, break_on_hyphens=False,
    ).replace(_STUCK, " ")


def table(
    rows: Iterable[Sequence[str]], header: Sequence[str] | None = None, *,
    right: Iterable[int] = (), indent: str = "  ", gap: str = "  ", width: int | None = None,
) -> str:
    """Columns of text. `right` lists the columns set flush right; the last column is
    filled within the width."""
    body = [[str(cell) for cell in row] for row in rows]
    every = ([list(header)] if header else []) + body
    if not every:
        return ""
    right = set(right)
    count = len(every[0])
    widths = [max(len(row[c]) for row in every) for c in range(count)]
    width = width or columns()
    room = max(16, width - len(indent) - sum(widths[:-1]) - len(gap) * (count - 1))
    lines: list[str] = []
    for number, row in enumerate(every):
        cells = [
            row[c].rjust(widths[c]) if c in right else row[c].ljust(widths[c])
            for c in range(count - 1)
        ]
        head = indent + "".join(cell + gap for cell in cells)
        last = row[-1].rjust(widths[-1]) if count - 1 in right else row[-1]
        filled = _fill(last, "", "", room).split("\n")
        if count - 1 in right:
            filled = [last]
        lines.append((head + filled[0]).rstrip())
        lines += [" " * len(head) + more for more in filled[1:]]
        if header and number == 0:
            lines.append(indent + "-" * min(width - len(indent), sum(widths) + len(gap)
                                            * (count - 1)))
    return "\n".join(lines)


def fill(share: float, width: int = 20, full: str = "#", empty: str = ".") -> str:
    """A bar for a share of 0 to 1."""
    count = round(min(max(share, 0.0), 1.0) * width)
    return full * count + empty * (width - count)


def scale(
    value: float | None, low: float, high: float, first: float, last: float, width: int = 40
) -> str:
    """Where `value` stands on a scale from first to last, the part low to high marked:
    `....====|====......`; the pointer is `|` inside the part, `<` or `>` outside it."""

    def cell(x: float) -> int:
        return min(width - 1, max(0, int((x - first) / (last - first) * width)))

    row = ["."] * width
    for c in range(cell(low), cell(high) + 1):
        row[c] = "="
    if value is not None:
        row[cell(value)] = "|" if low <= value <= high else "<" if value > high else ">"
    return "".join(row)


def number(value: float | None, digits: int = 3) -> str:
    """A number to so many significant digits, never in exponent form; `-` for none."""
    if value is None or value != value:  # noqa: PLR0124 - NaN
        return "-"
    if value == 0:
        return "0"
    text = f"{value:.{digits}g}"
    if "e" in text:
        text = f"{float(text):.0f}" if abs(value) >= 1 else f"{value:.6f}".rstrip("0").rstrip(".")
    return text


def quantity(value: float | None, unit: str, digits: int = 3) -> str:
    """A number with its unit: 4.92 V; below 0.1 in thousandths."""
    small = value is not None and 0.0005 <= abs(value) < 0.1
    if value is not None and small and unit in {"A", "V", "W", "Wh", "J", "s"}:
        return f"{number(value * 1000, digits)} m{unit}"
    return f"{number(value, digits)} {unit}"


def duration(seconds: float) -> str:
    """0.4 s, 12 s, 3 min 5 s, 2 h 4 min."""
    if seconds < 10:
        return f"{seconds:.1f} s"
    if seconds < 60:
        return f"{seconds:.0f} s"
    minutes, rest = divmod(round(seconds), 60)
    if minutes < 60:
        return f"{minutes} min {rest} s"
    hours, minutes = divmod(minutes, 60)
    return f"{hours} h {minutes} min"


def shown_path(path: str | Path) -> str:
    """A rig file as a person would name it: an example by its name, others from here."""
    found = Path(path)
    if found.parent == FOLDER:
        return found.stem
    try:
        return str(found.resolve().relative_to(Path.cwd()))
    except ValueError:
        return str(found)
