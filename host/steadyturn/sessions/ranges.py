"""How far a value of the machine may be off: by its rig file, else by its typical class."""

from __future__ import annotations

from collections.abc import Callable
from typing import TypeVar

from steadyturn.model.change import field_of, with_value
from steadyturn.rig.tolerances import tolerance_of
from steadyturn.rig.types import Rig

Figure = TypeVar("Figure")


def ends(rig: Rig | None, key: str) -> tuple[float, float]:
    """(low, high) of the value at `key` as shares of it, 95 %: its interval where the rig file
    has one, its tolerance where it is given, its typical class without a rig.

    >>> from steadyturn.rig.examples import example_path
    >>> from steadyturn.rig.file import read_rig
    >>> hut = read_rig(example_path("lakeside-hut"))
    >>> [round(x, 3) for x in ends(hut, "motor.terminal_ohm")], ends(hut, "load.capacity_wh")
    ([0.94, 1.067], (0.95, 1.05))
    >>> [round(x, 3) for x in ends(None, "load.charge_efficiency")]
    [0.824, 1.094]
    """
    origin = rig.origins.get(key) if rig is not None else None
    if origin is not None and origin.kind != "given" and origin.value:
        return origin.low / origin.value, origin.high / origin.value
    if origin is None:
        known = field_of(key)
        typical = known[3].typical if known is not None else None
        if rig is None and typical is not None and typical[1]:
            return typical[0] / typical[1], typical[2] / typical[1]
    share = tolerance_of(key).share
    if origin is not None and origin.tolerance is not None:
        share = origin.tolerance
    return 1 - share, 1 + share


def moved(rig: Rig, key: str, figure: Callable[[Rig], Figure]) -> tuple[Figure, Figure]:
    """`figure` of the rig with the value at `key` at either end of its range."""
    origin = rig.origins.get(key)
    if origin is None or not origin.value:
        value = figure(rig)
        return value, value
    found = field_of(key)
    top = found[3].high * found[3].scale if found is not None else origin.value
    low, high = (min(origin.value * share, top) for share in ends(rig, key))
    return figure(with_value(rig, key, low)), figure(with_value(rig, key, high))
