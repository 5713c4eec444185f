"""The band: the paces that keep everything inside its limits, and why. See band.md."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from steadyturn.model.accounts import NOT_SHOWN
from steadyturn.model.converter import window_v
from steadyturn.model.edges import Edges, Limit, find_edges
from steadyturn.model.effort import INSET, effort
from steadyturn.model.guesses import Guess, guesses
from steadyturn.model.hazards import Hazard, hazards, let_go_tpm, open_circuit_v
from steadyturn.model.point import Points, operate
from steadyturn.model.remedies import Remedy, clash, remedies
from steadyturn.rig.types import Rig

__all__ = ["INSET", "Band", "Limit", "find_band"]


@dataclass(frozen=True)
class Band:
    """rig: its name; paces in turns/min, None where there is none. window_v: usable
    volts at the converter's input (low, high). at_target: the operating point there
    (arrays of one number), winding at 20 degC. hold_tpm: the lowest pace that keeps a
    running converter running, hot machine.

    Not in the JSON: intervals, all feasible paces (slowest first); open_circuit_v, the
    bus with nothing connected at max(1.3 * high, 150) turns/min, cold, peaks counted,
    no clamp.
    """

    rig: str
    feasible: bool
    low_tpm: float | None
    target_tpm: float | None
    high_tpm: float | None
    hold_tpm: float | None
    window_v: tuple[float, float]
    limits: tuple[Limit, ...]
    at_target: Points | None
    assumed: tuple[Guess, ...]
    clash: tuple[str, str] | None
    remedies: tuple[Remedy, ...]
    hazards: tuple[Hazard, ...]
    open_circuit_v: float = field(metadata=NOT_SHOWN)
    intervals: tuple[tuple[float, float], ...] = field(metadata=NOT_SHOWN)


def find_band(rig: Rig, *, deep: bool = True) -> Band:
    """The band of `rig`. deep: False leaves out what is only for reading (`assumed` and
    `remedies`) and takes a tenth of the time.

    >>> from steadyturn.rig.examples import example_path
    >>> from steadyturn.rig.file import read_rig
    >>> band = find_band(read_rig(example_path("toy-motor")), deep=False)
    >>> band.feasible, band.clash
    (False, ('start', 'comfort_high'))
    """
    edges = find_edges(rig)
    widest = edges.widest()
    low, high = widest or (None, None)
    target = None if widest is None else target_tpm(rig, *widest)
    return Band(
        rig=rig.name,
        feasible=widest is not None,
        low_tpm=low,
        target_tpm=target,
        high_tpm=high,
        hold_tpm=_hold(edges),
        window_v=window_v(rig.converter),
        limits=edges.limits,
        at_target=None if target is None else operate(rig, target),
        assumed=guesses(rig, edges) if deep else (),
        clash=clash(rig, edges) if widest is None else None,
        remedies=remedies(rig) if deep and widest is None else (),
        hazards=tuple(hazards(rig, high)),
        open_circuit_v=float(open_circuit_v(rig, let_go_tpm(high or 0.0))),
        intervals=edges.intervals,
    )


def _hold(edges: Edges) -> float | None:
    """The lowest edge of `holding`; None where the converter never runs."""
    paces = [limit.pace_tpm for limit in edges.limits
             if limit.name == "holding" and limit.side == "low"]
    found = min(paces, default=np.nan)
    return float(found) if np.isfinite(found) else None


def target_tpm(rig: Rig, low_tpm: float, high_tpm: float) -> float:
    """The pace to lead to between the two [turns/min]: the rig's own wish, kept away from the
    edges by INSET of the width, else the cheapest.

    >>> from dataclasses import replace
    >>> from steadyturn.rig.examples import example_path
    >>> from steadyturn.rig.file import read_rig
    >>> from steadyturn.rig.types import Kept
    >>> hut = replace(read_rig(example_path("lakeside-hut")), band=Kept(target_tpm=52.0))
    >>> target_tpm(hut, 50.0, 90.0)
    56.0
    """
    wish = rig.band.target_tpm
    if wish is None:
        return cheapest_tpm(rig, low_tpm, high_tpm)
    inset = INSET * (high_tpm - low_tpm)
    return min(max(wish, low_tpm + inset), high_tpm - inset)


def cheapest_tpm(rig: Rig, low_tpm: float, high_tpm: float) -> float:
    """Pace between the two that costs the arm least per joule at the socket, kept away
    from the edges by INSET of the width. [turns/min]

    >>> from steadyturn.rig.examples import example_path
    >>> from steadyturn.rig.file import read_rig
    >>> hut = read_rig(example_path("lakeside-hut"))
    >>> round(cheapest_tpm(hut, 60.0, 100.0))
    69
    """
    inset = INSET * (high_tpm - low_tpm)
    left, right = low_tpm + inset, high_tpm - inset
    for _ in range(4):
        pace = np.linspace(left, right, 41)
        paid = effort(rig, pace)
        best = int(np.argmin(np.where(np.isnan(paid), np.inf, paid)))
        left, right = pace[max(best - 1, 0)], pace[min(best + 1, 40)]
    return float(pace[best])
