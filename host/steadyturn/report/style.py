"""Small helpers for text that a person reads: 80 columns, no colour needed."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Sequence
from pathlib import Path

from steadyturn.rig.examples import FOLDER

WIDTH = 80


def wrap(text: str, indent: str = "", width: int = WIDTH) -> str:
    """One paragraph, filled; later lines are indented like the first."""
    return textwrap.fill(
        " ".join(text.split()), width, initial_indent=indent, subsequent_indent=indent,
        break_long_words=False, break_on_hyphens=False,
    )


def item(text: str, mark: str = "- ", indent: str = "  ", width: int = WIDTH) -> str:
    """One list item with a hanging indent."""
    return textwrap.fill(
        " ".join(text.split()), width, initial_indent=indent + mark,
        subsequent_indent=indent + " " * len(mark), break_long_words=False,
        break_on_hyphens=False,
    )


def table(
    rows: Iterable[Sequence[str]], header: Sequence[str] | None = None, *,
    right: Iterable[int] = (), indent: str = "  ", gap: str = "  ", width: int = WIDTH,
) -> str:
    """Columns of text. `right` lists the columns set flush right; the last column is
    filled within the width."""
    body = [[str(cell) for cell in row] for row in rows]
    every = ([list(header)] if header else []) + body
    if not every:
        return ""
    right = set(right)
    columns = len(every[0])
    widths = [max(len(row[c]) for row in every) for c in range(columns)]
    room = max(16, width - len(indent) - sum(widths[:-1]) - len(gap) * (columns - 1))
    lines: list[str] = []
    for number, row in enumerate(every):
        cells = [
            row[c].rjust(widths[c]) if c in right else row[c].ljust(widths[c])
            for c in range(columns - 1)
        ]
        head = indent + "".join(cell + gap for cell in cells)
        last = row[-1].rjust(widths[-1]) if columns - 1 in right else row[-1]
        filled = textwrap.wrap(last, room, break_long_words=False,
                               break_on_hyphens=False) or [""]
        if columns - 1 in right:
            filled = [last]
        lines.append((head + filled[0]).rstrip())
        lines += [" " * len(head) + more for more in filled[1:]]
        if header and number == 0:
            lines.append(indent + "-" * min(width - len(indent), sum(widths) + len(gap)
                                            * (columns - 1)))
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
