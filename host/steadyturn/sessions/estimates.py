"""Figures with their 95 % range, each labelled by how it is known."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from math import hypot, isfinite, nan


@dataclass(frozen=True, slots=True)
class Estimate:
    """value with its 95 % range [low, high], all in `unit`; NaN where not known.

    kind: "measured" (by the sensor, or counted), "inferred" (from what was measured, by the
    settings' constants) or "modelled" (by the rig file's parts). note: a code whose words are
    in the report, "" for none.
    """

    name: str
    value: float
    low: float
    high: float
    unit: str
    kind: str
    note: str = ""


def about(
    name: str, value: float, reach: float, unit: str, kind: str, *, note: str = "",
    floor: float = 0.0,
) -> Estimate:
    """An estimate as far below as above; not below `floor`."""
    low = value - reach
    return Estimate(name, value, max(low, floor) if isfinite(low) else nan, value + reach,
                    unit, kind, note)


def spread(value: float, moved: Iterable[tuple[float, float]]) -> tuple[float, float]:
    """(low, high) of a value whose inputs, each moved to the ends of its own 95 % range, give
    these pairs: root of the squares of the shifts, either side apart.

    >>> [round(end, 3) for end in spread(10.0, [(9.0, 12.0), (13.0, 8.0)])]
    [7.764, 13.606]
    """
    down, up = 0.0, 0.0
    for one in moved:
        down = hypot(down, max(0.0, value - min(one)))
        up = hypot(up, max(0.0, max(one) - value))
    return value - down, value + up
