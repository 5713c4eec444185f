"""Measured values into a file that a person keeps: its comments and its order stay, and what a
key said before stands above it as a comment."""

from __future__ import annotations

from dataclasses import dataclass

from steadyturn.rig.edit import text_with_line
from steadyturn.rig.lines import Path as KeyPath
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
    for spec, one in rows:
        text = text_with_line(text, section, spec.key, measured_text(spec, one, on), on, name)
    return text
