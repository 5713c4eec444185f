"""How sure a charge's figures are: each value that is not given, moved to the ends of its range.

The shifts are combined as the root of their squares, low and high sides apart; see charging.md.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from math import exp, hypot, inf, isfinite, log

from steadyturn.model.change import field_of, with_value
from steadyturn.model.charging import Charge, Feed, charge, feed
from steadyturn.model.guesses import ONLY_LIMITS, STEADY_STATE_IGNORES
from steadyturn.rig.types import Rig

# the battery's own values: the machine works as before
BATTERY = ("load.charge_efficiency", "load.self_use_w", "load.capacity_wh",
           "load.taper_from_percent")
FEW_DRAWS = 4  # operating points of a changed machine where the charge tapers
NEAR = 0.03  # of the battery: so near to the taper a changed machine may reach it


@dataclass(frozen=True)
class Span:
    """A figure with its range."""

    value: float
    low: float
    high: float


@dataclass(frozen=True)
class Mover:
    """One value that is not given, in the file's unit. seconds, gained_percent: the charge with
    the value at (low, high) of its range; weight: how far it moves what is asked for."""

    key: str
    kind: str
    value: float
    low: float
    high: float
    unit: str
    seconds: tuple[float, float]
    gained_percent: tuple[float, float]
    how: str
    weight: float = field(metadata={"json": False})


@dataclass(frozen=True)
class Sure:
    """seconds, gained (share of the battery) and arm_j with their ranges; movers, the one that
    matters most first, those without effect left out."""

    seconds: Span
    gained: Span
    arm_j: Span
    movers: tuple[Mover, ...]


def sure(rig: Rig, given: Feed, done: Charge, *, seconds: float | None = None) -> Sure:
    """Ranges of `done`, a charge of `rig` (capacity_j known) at the pace of `given`.

    seconds: the time [s] that was given, where the gain is asked for; None: the gain was given.

    >>> from steadyturn.rig.examples import example_path
    >>> from steadyturn.rig.file import read_rig
    >>> hut = read_rig(example_path("lakeside-hut"))
    >>> at_60 = feed(hut, 60)
    >>> found = sure(hut, at_60, charge(hut.load, at_60, 0.2, end=0.8))
    >>> [round(s / 60) for s in (found.seconds.low, found.seconds.value, found.seconds.high)]
    [234, 257, 845]
    >>> found.movers[0].key
    'load.self_use_w'
    """
    timed = seconds is not None
    shifts, movers = [], []
    for key, ends in _ends(rig):
        found = [done if changed is None else _again(changed, key, given, done, seconds)
                 for changed in ends]
        moved = tuple(_shift(done, other) for other in found)
        shifts.append(moved)
        weight = max(abs(both[1 if timed else 0]) for both in moved)
        if weight > 1e-6:
            movers.append(_mover(rig, key, found, weight))
    ranges = [_combined([(low[which], high[which]) for low, high in shifts])
              for which in range(3)]
    return Sure(
        seconds=_log_span(done.seconds, ranges[0]),
        gained=Span(done.end - done.start, done.end - done.start - ranges[1][0],
                    done.end - done.start + ranges[1][1]),
        arm_j=_log_span(done.arm_j, ranges[2]),
        movers=tuple(sorted(movers, key=lambda one: -one.weight)))


def _ends(rig: Rig) -> Iterator[tuple[str, tuple[Rig | None, Rig | None]]]:
    """Each value that is not given, with the rig at both ends of its range (None: as it is)."""
    for key, origin in rig.origins.items():
        other = key in ONLY_LIMITS or key in STEADY_STATE_IGNORES
        if origin.kind == "given" or field_of(key) is None or (other and key not in BATTERY):
            continue
        low, high = (None if end == origin.value else with_value(rig, key, end)
                     for end in (origin.low, origin.high))
        yield key, (low, high)


def _again(rig: Rig, key: str, given: Feed, done: Charge, seconds: float | None) -> Charge:
    draws = FEW_DRAWS if done.end > done.taper_from - NEAR else 1
    machine = given if key in BATTERY else feed(rig, given.pace_tpm, draws)
    return charge(rig.load, machine, done.start, end=done.end if seconds is None else None,
                  seconds=seconds)


def _shift(done: Charge, other: Charge) -> tuple[float, float, float]:
    """Of ln seconds, of the gain and of ln arm_j."""
    if not isfinite(other.seconds):
        return inf, -(done.end - done.start), inf
    return (log(other.seconds / done.seconds),
            (other.end - other.start) - (done.end - done.start), log(other.arm_j / done.arm_j))


def _combined(pairs: list[tuple[float, float]]) -> tuple[float, float]:
    """Root of the squares of what shifts down, and of what shifts up."""
    down = hypot(*(max(0.0, -min(pair)) for pair in pairs))
    up = hypot(*(max(0.0, *pair) for pair in pairs))
    return down, up


def _log_span(value: float, shift: tuple[float, float]) -> Span:
    down, up = shift
    return Span(value, value * exp(-down), value * exp(up) if up < 700 else inf)


def _mover(rig: Rig, key: str, found: list[Charge], weight: float) -> Mover:
    known, origin = field_of(key), rig.origins[key]
    assert known is not None
    spec, (low, high) = known[3], found
    return Mover(
        key, origin.kind, origin.value / spec.scale, origin.low / spec.scale,
        origin.high / spec.scale, spec.unit, (low.seconds, high.seconds),
        (100 * (low.end - low.start), 100 * (high.end - high.start)), spec.how, weight)
