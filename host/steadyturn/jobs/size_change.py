"""What single change would help a machine most that stands already."""

from __future__ import annotations

import datetime
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from math import isfinite
from pathlib import Path
from typing import Any

from steadyturn.errors import Failed, Problem, WrongInput
from steadyturn.jobs.hazards import Hazard, hazards_of
from steadyturn.jobs.new import refuse_existing, write_whole
from steadyturn.jobs.pace import Pace, pace_of
from steadyturn.model import arm
from steadyturn.model.accounts import NOT_SHOWN
from steadyturn.model.band import Band, find_band
from steadyturn.model.charging import cell
from steadyturn.model.questions_capacitor import size as with_capacitor
from steadyturn.rig.edit import rig_with, text_with, tree_of
from steadyturn.rig.file import read_rig_text
from steadyturn.rig.toml_text import read_text
from steadyturn.rig.types import Rig
from steadyturn.sizing import parts_file, single, weigh
from steadyturn.sizing.drawer import Drawer
from steadyturn.sizing.single import Option
from steadyturn.sizing.weigh import Weighed

# in this order on the list
VERDICTS = ("helps", "eases", "wider", "unsure", "none", "worse", "dangerous")
SURELY, HARDLY = 0.9, 0.1  # odds from which a change is called help, and below which none
WORKS = 0.95  # of the builds: more is as good as all
WORKS_STEP = 0.03  # a difference that BUILDS draws tell
LIGHTER = 0.1  # of the force at the grip: what a hand feels, engineering judgement
FROM, TO = 0.2, 0.3  # state of charge: ten percent, well before the taper

Say = Callable[[str, int, int], None]
_Found = list[tuple[Option | None, Rig, Band]]


@dataclass(frozen=True)
class Machine:
    """One machine, as it is or with a change; paces [turns/min] None where no pace works, the
    target's figures too, winding at 20 degC. works_share, sure_..., arm_w_per_w_range (2.5 and
    97.5 %): among builds within the ranges of what is measured, given and assumed.
    ten_percent_...: from 20 to 30 % of charge, None where not known or where it never comes."""

    low_tpm: float | None
    target_tpm: float | None
    high_tpm: float | None
    low_limit: str
    high_limit: str
    works_share: float
    sure_low_tpm: float | None
    sure_high_tpm: float | None
    arm_w: float | None
    out_w: float | None
    arm_w_per_w: float | None
    arm_w_per_w_range: tuple[float, float] | None
    force_n: float | None
    ten_percent_min: float | None
    ten_percent_arm_kj: float | None

    @property
    def sure_tpm(self) -> float:
        """Width of the sure band [turns/min]."""
        if self.sure_low_tpm is None or self.sure_high_tpm is None:
            return 0.0
        return self.sure_high_tpm - self.sure_low_tpm


@dataclass(frozen=True)
class Changed:
    """One change. verdict: of VERDICTS; kind, asks: as sizing.single.Option; effort_ratio: the
    arm's work for a Wh over that of the machine as it is, 2.5 %, median, 97.5 % (None: no build
    works both ways). helps_share, harms_share: odds that it makes it work, or the effort less,
    and the reverse; wider_share: of a band wider by WIDER_TPM. new_hazards: what the machine as
    it is has not. start: what a larger capacitor does, "" for others."""

    number: int
    verdict: str
    kind: str
    change: str
    asks: str
    price_eur: float | None
    typical: bool
    machine: Machine
    effort_ratio: tuple[float, float, float] | None
    helps_share: float
    harms_share: float
    wider_share: float
    new_hazards: tuple[Hazard, ...]
    start: str
    option: Option = field(metadata=NOT_SHOWN)
    rig: Rig = field(metadata=NOT_SHOWN)

    @property
    def advised(self) -> bool:
        """Whether it may be put forward as the next step: it helps, and hardly ever harms."""
        return self.verdict in ("helps", "eases") or (
            self.verdict == "wider" and self.harms_share < HARDLY)


@dataclass(frozen=True)
class SizedFrom:
    """file: the rig file; parts: the parts file, None for typical classes alone. builds_count:
    draws that each machine is judged by."""

    file: str
    rig: str
    parts: str | None
    typical: bool
    builds_count: int
    now: Machine
    hazards: tuple[Hazard, ...]
    changes: tuple[Changed, ...]
    text: str = field(metadata=NOT_SHOWN)

    @property
    def helps(self) -> bool:
        """Whether any change is worth making."""
        return any(one.verdict in ("helps", "wider", "eases") for one in self.changes)


@dataclass(frozen=True)
class WhyChange:
    """One change in full."""

    file: str
    parts: str | None
    typical: bool
    change: Changed
    now: Machine
    pace: Pace


@dataclass(frozen=True)
class WrittenChange:
    file: str
    change: Changed
    next: tuple[str, ...]


def size_from(path: Path, parts: Path | None = None, *, typical: bool = False,
              say: Say | None = None) -> SizedFrom:
    """Judge every single change of the rig at `path`. parts: whose converters and limits of
    gears count (with `typical` the classes too); without one, the typical classes.

    Raises WrongInput where a file cannot be used, or the rig has nothing to charge.
    """
    text = read_text(path)
    rig = read_rig_text(text, str(path))
    if rig.load.kind == "none":
        raise WrongInput(Problem(str(path), "load.kind", '"none"', "a machine is judged by what "
                                 "it gives a device.", 'For example kind = "phone".'))
    drawer = parts_file.read_drawer(parts, typical=typical or parts is None)
    tree, band = tree_of(text), find_band(rig, deep=False)

    def tell(what: str, done: int, of: int) -> None:
        if say is not None:
            say(what, done, of)

    made: _Found = []
    options = _options(rig, tree, drawer)
    for done, option in enumerate(options):
        tell("changes computed", done, len(options))
        changed = rig_with(tree, option.changes, str(path))
        if changed is not None:
            made.append((option, changed, find_band(changed, deep=False)))
    weighed = weigh.weigh(rig, [(r, o.other) for o, r, _ in made if o],
                          lambda done, of: tell("changes weighed", done, of))
    now, hazards = _machine(rig, band, weighed[0]), hazards_of(rig, band)
    found = [_changed(option, r, b, w, now, hazards)
             for (option, r, b), w in zip(made, weighed[1:], strict=True) if option]
    if band.low_tpm is not None:
        tell("changes computed", len(options) - 1, len(options))
        found += _capacitor(rig, tree, band.low_tpm, weighed[0], now, hazards, str(path))
    found.sort(key=_rank)
    tell("changes computed", len(options), len(options))
    return SizedFrom(str(path), rig.name, None if parts is None else str(parts), typical,
                     weigh.BUILDS, now, hazards,
                     tuple(replace(one, number=n) for n, one in enumerate(found, 1)), text)


def why(sized: SizedFrom, number: int) -> WhyChange:
    """One change in full; WrongInput where the list has it not."""
    one = change_of(sized, number, "--why")
    return WhyChange(sized.file, sized.parts, sized.typical, one, sized.now,
                     pace_of(one.rig, sized.file))


def write(sized: SizedFrom, number: int, path: Path, *, force: bool = False) -> WrittenChange:
    """The rig file with that change at `path`, its comments and order kept; all or nothing.

    Raises WrongInput where the row is not there or the file must not be written, Failed where
    the rig file is in a form that cannot be changed in place.
    """
    one = change_of(sized, number, "--row")
    refuse_existing(path, force)
    text = text_with(sized.text, one.option.changes, datetime.date.today().isoformat(),
                     sized.file)
    rig = read_rig_text(text, str(path))
    if replace(rig, name=one.rig.name) != one.rig:  # only what reads back as it was judged
        raise Failed("this change cannot be written as a rig file that says the same.",
                     "Please report it, with the rig file.")
    write_whole(path, text, force=force)
    return WrittenChange(str(path), one, (f"steadyturn pace {path}", f"steadyturn check {path}"))


def change_of(sized: SizedFrom, number: int, option: str) -> Changed:
    """The change of that number; WrongInput where the list has it not."""
    if not 1 <= number <= len(sized.changes):
        raise WrongInput(Problem(option, "", str(number), "there is no such row: the list has "
                                 f"rows 1 to {len(sized.changes)}.",
                                 "'steadyturn size --from RIG' prints the list."))
    return sized.changes[number - 1]


# ----------------------------------------------------------------------- pieces


def _options(rig: Rig, tree: dict[str, Any], drawer: Drawer) -> list[Option]:
    found = list(single.options(rig, tree, drawer))
    return found + [single.geared(rig, teeth)
                    for teeth in weigh.other_trains(rig, drawer.limits)]


def _machine(rig: Rig, band: Band, by: Weighed) -> Machine:
    at = band.at_target
    arm_w = None if at is None else float(at.arm_w)
    out_w = None if at is None else float(at.out_w)
    seconds = None
    if out_w and rig.load.capacity_j is not None:
        seconds = cell(rig.load, out_w).seconds(FROM, TO)
        seconds = seconds if isfinite(seconds) else None
    low, _, high = by.arm_w_per_w
    return Machine(
        band.low_tpm, band.target_tpm, band.high_tpm, *_binding(band), by.works_share,
        by.sure_low_tpm, by.sure_high_tpm, arm_w, out_w,
        arm_w / out_w if arm_w and out_w else None, (low, high) if isfinite(low) else None,
        None if at is None else float(arm.force_n(rig, at.crank_nm)),
        None if seconds is None else seconds / 60,
        None if seconds is None or arm_w is None else arm_w * seconds / 1000)


def _binding(band: Band) -> tuple[str, str]:
    """The limits at the band's two edges; without a band, the two that clash."""
    if band.low_tpm is None or band.high_tpm is None:
        return band.clash or ("", "")
    ends = []
    for side, edge in (("low", band.low_tpm), ("high", band.high_tpm)):
        ends.append(next((x.name for x in band.limits
                          if x.side == side and abs(x.pace_tpm - edge) < 1e-3), ""))
    return ends[0], ends[1]


def _changed(option: Option, rig: Rig, band: Band, by: Weighed, now: Machine,
             hazards: tuple[Hazard, ...]) -> Changed:
    machine = _machine(rig, band, by)
    known = {h.name for h in hazards}
    new = tuple(h for h in hazards_of(rig, band) if h.name not in known)
    return Changed(0, _verdict(machine, by, now, new), option.kind, option.words, option.asks,
                   option.price_eur, option.typical, machine,
                   by.ratio if isfinite(by.ratio[1]) else None, by.helps_share, by.harms_share,
                   by.wider_share, new, "", option, rig)


def _verdict(machine: Machine, by: Weighed, now: Machine, new: tuple[Hazard, ...]) -> str:
    """First whether it works, then the effort; what is no help by these may widen the sure band
    or ease the grip."""
    if any(h.refuses for h in new):
        return "dangerous"
    gain = _counted(machine) - _counted(now)
    if gain >= WORKS_STEP or (gain > -WORKS_STEP and by.helps_share >= SURELY):
        return "helps"
    if gain > -WORKS_STEP:
        if machine.sure_tpm >= now.sure_tpm + weigh.WIDER_TPM:
            return "wider"
        if by.harms_share < HARDLY and machine.force_n and now.force_n and (
                machine.force_n < (1 - LIGHTER) * now.force_n):
            return "eases"
        if by.helps_share >= HARDLY:
            return "unsure"
        if by.harms_share < HARDLY:
            return "none"
    return "worse"


def _counted(machine: Machine) -> float:
    return min(machine.works_share, WORKS)


def _rank(one: Changed) -> tuple[Any, ...]:
    """Of those that help, first what works most often, then the least effort; those that only
    widen or ease by how far they do."""
    machine, verdict = one.machine, one.verdict
    own = {"wider": -machine.sure_tpm, "eases": machine.force_n or 0.0,
           "unsure": -one.helps_share}.get(verdict, 0.0)
    works = -round(_counted(machine) / WORKS_STEP) if verdict == "helps" else 0
    effort = one.effort_ratio[1] if one.effort_ratio else machine.arm_w_per_w or 99.0
    return VERDICTS.index(verdict), own, works, round(effort, 3), -machine.sure_tpm, one.change


def _capacitor(rig: Rig, tree: dict[str, Any], low_tpm: float, by: Weighed, now: Machine,
               hazards: tuple[Hazard, ...], name: str) -> list[Changed]:
    """A larger one, where at the band's slow edge the present one lets the converter hunt and
    the larger does not."""
    if with_capacitor(rig, low_tpm, rig.bus.capacitor_f).holds:
        return []
    for times in single.CAPACITORS:
        option = single.capacitor(rig, times)
        made = None if option is None else rig_with(tree, option.changes, name)
        if option is None or made is None:
            break
        if with_capacitor(made, low_tpm, made.bus.capacitor_f).holds:
            one = _changed(option, made, find_band(made, deep=False), by, now, hazards)
            start = (f"at {low_tpm:.0f} turns/min the converter runs through; with the present "
                     "one the arm's ripple has it let go and start again")
            return [replace(one, verdict="helps" if one.verdict != "dangerous" else one.verdict,
                            start=start)]
    return []
