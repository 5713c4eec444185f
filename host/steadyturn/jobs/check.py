"""Is a rig file right, what in it is only assumed, and is the machine safe as it stands?"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from steadyturn.jobs.hazards import Hazard, hazards_of
from steadyturn.model.band import find_band
from steadyturn.rig.file import read
from steadyturn.rig.rules import remarks
from steadyturn.rig.types import PARTS, EfficiencyPoint, Rig, Spec, Stage, specs


@dataclass(frozen=True)
class Valued:
    """One number of the rig in its file's unit, and where it comes from.

    where: "FILE:LINE", "" if the file leaves it out; note: when measured, or the source.
    """

    key: str
    value: float
    low: float
    high: float
    unit: str
    where: str
    note: str
    how: str


@dataclass(frozen=True)
class Noticed:
    """A remark with its place in the file."""

    where: str
    key: str
    text: str
    how: str


@dataclass(frozen=True)
class Check:
    """What `check` found. assumed: those that can be measured
    first, those without effect in this machine last.

    safe: no hazard that makes `check` refuse the rig.
    """

    file: str
    rig: str
    safe: bool
    given_count: int
    measured_count: int
    assumed_count: int
    hazards: tuple[Hazard, ...]
    remarks: tuple[Noticed, ...]
    assumed: tuple[Valued, ...]
    measured: tuple[Valued, ...]


def check(path: str | Path) -> Check:
    """Read a rig file and judge it; WrongInput with every problem if it cannot be used."""
    reading = read(path)
    rig = reading.rig
    band = find_band(rig, deep=False)
    idle = _without_effect(rig)
    assumed = sorted(_values(rig, reading.where, "assumed"),
                     key=lambda v: (v.key in idle, not v.how))
    measured = _values(rig, reading.where, "measured")
    hazards = hazards_of(rig, band)
    return Check(
        file=str(path), rig=rig.name,
        safe=not any(h.refuses for h in hazards),
        given_count=sum(o.kind == "given" for o in rig.origins.values()),
        measured_count=len(measured), assumed_count=len(assumed), hazards=hazards,
        remarks=tuple(Noticed(reading.where.get(r.key, ""), r.key, r.text, r.how)
                      for r in remarks(rig)),
        assumed=tuple(assumed), measured=tuple(measured),
    )


def _values(rig: Rig, where: Mapping[str, str], kind: str) -> list[Valued]:
    found = []
    for key, origin in rig.origins.items():
        if origin.kind == kind:
            spec = _spec(key)
            found.append(Valued(
                key, origin.value / spec.scale, origin.low / spec.scale, origin.high / spec.scale,
                spec.unit, where.get(key, ""), origin.note, spec.how))
    return found


def _without_effect(rig: Rig) -> set[str]:
    """Keys that this kind of machine does not use."""
    idle = set()
    if rig.converter.kind not in ("buck", "linear"):
        idle.add("converter.headroom_v")
    if rig.converter.kind != "boost":
        idle.add("converter.pass_drop_v")
    if rig.bank.series * rig.bank.parallel == 1:
        idle.add("bank.spread_percent")
    if rig.supply.feed != "crank":
        idle |= {f"supply.{s.key}" for s in specs(rig.supply).values()}
    return idle


_CLASSES = {**PARTS, "stage": Stage, "converter.points": EfficiencyPoint}


def _spec(key: str) -> Spec:
    """The Spec of a key as `Rig.origins` has it: "stage[1].ratio"."""
    section, _, name = re.sub(r"\[\d+\]", "", key).rpartition(".")
    return next(s for s in specs(_CLASSES[section]).values() if s.key == name)
