"""What a step of the bringing-up says, and its expected readings as rows."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from steadyturn.report.style import number, quantity


@dataclass(frozen=True)
class Row:
    """One reading to take: what, what it should be, and the unit of the space to write in.
    name: that of the `jobs.bringup_readings.Reading` it shows, "" where it shows none."""

    what: str
    expected: str
    unit: str
    name: str = ""


@dataclass(frozen=True)
class Said:
    """do: sentences in order; rows: readings; stop: "do not go on if" this; wrong: what another
    reading means."""

    title: str
    do: tuple[str, ...]
    rows: tuple[Row, ...] = ()
    stop: str = ""
    wrong: str = ""


def reading(b: Any, name: str) -> Any:
    """The reading of that name."""
    return next(r for r in b.readings if r.name == name)




def span(low: float, high: float, unit: str) -> str:
    """3.83 to 4.32 V, in as many digits as its ends differ by."""
    digits = 3 if max(abs(low), abs(high)) < 100 else 4
    return f"{number(low, digits)} to {number(high, digits)} {unit}"


def between(low: float, high: float, unit: str) -> str:
    """3.83 and 4.32 V."""
    return span(low, high, unit).replace(" to ", " and ")


def row(b: Any, name: str, what: str) -> Row:
    """The reading `name` as a row."""
    r = reading(b, name)
    return Row(what, f"{quantity(r.value, r.unit)} ({span(r.low, r.high, r.unit)})", r.unit, name)


def open_paces(b: Any) -> list[float]:
    """The paces [turns/min] at which the open circuit is read."""
    return [r.pace_tpm for r in b.readings if r.name.startswith("row_v@")]


def at(b: Any, what: str, says: str, paces: Iterable[float]) -> list[Row]:
    """A row a pace: says, at so many turns/min."""
    return [row(b, f"{what}@{pace:g}", f"{says} at {pace:.0f} turns/min") for pace in paces]


def resistor(b: Any, name: str) -> str:
    """10 ohm, 5 W (or more)."""
    r = next(r for r in b.resistors if r.name == name)
    return f"{number(r.ohm, 4)} ohm, {number(r.rating_w)} W or more" if r.ohm < 1000 else (
        f"{number(r.ohm / 1000, 4)} kohm, {number(r.rating_w)} W or more")
