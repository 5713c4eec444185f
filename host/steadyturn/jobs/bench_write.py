"""Measured values into a file that a person keeps: its comments and its order stay, and what a
key said before stands above it as a comment."""

from __future__ import annotations

from dataclasses import dataclass

from steadyturn.errors import Failed
from steadyturn.rig.lines import Path as KeyPath
from steadyturn.rig.lines import scan
from steadyturn.rig.spec import Spec
from steadyturn.rig.units import plain

SIGNS = 5  # of a written figure


@dataclass(frozen=True)
class Measured:
    """In the file's unit."""

    key: str
    value: float
    low: float
    high: float


def measured_text(spec: Spec, one: Measured, on: str) -> str:
    """`key = { measured = ... }` with the interval inside the range of the key."""
    low, value, high = (min(max(float(f"{x:.{SIGNS}g}"), spec.low), spec.high)
                        for x in (one.low, one.value, one.high))
    low, high = min(low, value), max(high, value)
    return (f"{spec.key} = {{ measured = {plain(value)}, low = {plain(low)}, "
            f"high = {plain(high)}, on = {on} }}")


def with_measured(text: str, section: KeyPath, rows: list[tuple[Spec, Measured]], on: str,
                  name: str) -> str:
    """The text with each row's key in `section` (("motor",) of a rig, ("motor", 2) of a parts
    file's third) set to what was measured. Failed where the section is written in a form that
    cannot be kept (an inline table). name: of the file, for that."""
    eol = "\r\n" if "\r\n" in text else "\n"
    for spec, one in rows:
        text = _one(text, section, spec, measured_text(spec, one, on), on, name, eol)
    return text


def _one(text: str, section: KeyPath, spec: Spec, new: str, on: str, name: str, eol: str) -> str:
    found = scan(text)
    lines = text.replace("\r\n", "\n").split("\n")
    head = found.lines.get(section)
    if head is None or not lines[head - 1].lstrip().startswith("["):
        raise Failed(f"{name} has its [{section[0]}] in a form that cannot be changed in place.",
                     f"Write it by hand: {new}")
    at = found.lines.get((*section, spec.key))
    if at is None:
        last = _end(found.statements, lines, head)
        lines.insert(last, new)
        return eol.join(lines)
    first, last = next((a, b) for a, b in found.statements if a <= at <= b)
    before = [f"# until {on}: {lines[first - 1].strip()}",
              *(f"#   {line.strip()}" for line in lines[first:last])]
    if before[0].endswith("="):
        raise Failed(f"{name}:{at} cannot be changed in place.", f"Write it by hand: {new}")
    lines[first - 1 : last] = [*before, new]
    return eol.join(lines)


def _end(statements: list[tuple[int, int]], lines: list[str], head: int) -> int:
    """The line after which a key of the section that begins at `head` may stand."""
    last = head
    for first, end in statements:
        if first <= head:
            continue
        if lines[first - 1].lstrip().startswith("["):
            break
        last = end
    return last
