"""Totals of outings, by rig or by the time that they are known to lie in."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any

PERIODS = ("rig", "board", "day", "week", "month", "year")


@dataclass(frozen=True, slots=True)
class Totals:
    """Sums over some outings. name: of the rig, or the board's id; of a time its first day, as
    2026-03-02; "" where that is not known. percent: None where that of one outing is not
    known. band_share: of all turning, 0 to 1."""

    name: str
    outings: int
    turning_s: float
    turns: float
    band_s: float
    band_share: float | None
    energy_in_wh: float
    energy_out_wh: float
    percent: float | None
    faults: int


def totals(name: str, outings: Sequence[Any]) -> Totals:
    """outings: of jobs.sessions.Listed."""
    turning_s = sum(o.turning_s for o in outings)
    band_s = sum(o.band_s for o in outings)
    percents = [o.percent for o in outings]
    return Totals(
        name=name, outings=len(outings), turning_s=turning_s,
        turns=sum(o.turns for o in outings), band_s=band_s,
        band_share=min(1.0, band_s / turning_s) if turning_s > 0 else None,
        energy_in_wh=sum(o.energy_in_wh for o in outings),
        energy_out_wh=sum(o.energy_out_wh for o in outings),
        percent=None if not percents or None in percents else sum(percents),
        faults=sum(o.faults for o in outings),
    )


def groups(outings: Iterable[Any], per: str) -> tuple[Totals, ...]:
    """Totals by one of PERIODS, in the order of their names; what is not known comes last.

    An undated outing counts to a time if both meetings about it lie in that; no other is
    certain.
    """
    found: dict[str, list[Any]] = {}
    for outing in outings:
        found.setdefault(_name(outing, per), []).append(outing)
    order = sorted(found, key=lambda name: (not name, name.casefold()))
    return tuple(totals(name, found[name]) for name in order)


def _name(outing: Any, per: str) -> str:
    if per == "rig":
        return outing.rig or ""
    if per == "board":
        return str(outing.board)
    known = [s for s in (outing.begin_s, outing.end_s) if s is not None][:1] or \
        [outing.after_s, outing.until_s]
    first = {None if s is None else _first_day(s, per) for s in known}
    only = first.pop()
    return only.isoformat() if only is not None and not first else ""


def _first_day(host_s: float, per: str) -> date:
    """Of the period that the moment lies in, by this machine's zone; weeks begin on Monday
    (ISO 8601)."""
    day = datetime.fromtimestamp(host_s).date()
    if per == "week":
        return day - timedelta(days=day.weekday())
    if per == "month":
        return day.replace(day=1)
    return day.replace(month=1, day=1) if per == "year" else day
