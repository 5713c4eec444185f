"""Correct a board's volts and amps by a multimeter: what is in force, what the points say, one
question, one writing, one reading back; and the way back."""

from __future__ import annotations

import dataclasses
import time
from collections.abc import Callable, Collection
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from steadyturn.bench.correction_file import Points
from steadyturn.bench.readings import Meter
from steadyturn.board.connect import Direct
from steadyturn.errors import Failed
from steadyturn.jobs.calibrate_board import Reached, before_of, reach, write
from steadyturn.jobs.calibrate_judge import NAME, QUANTITY, Judged, judge, typical
from steadyturn.jobs.flash import SettingChange
from steadyturn.jobs.meeting import note
from steadyturn.jobs.new import write_whole
from steadyturn.settings import corrections, corrections_before
from steadyturn.settings.corrections import Correction
from steadyturn.settings.file import Settings

NEW = Path(__file__).parents[1] / "bench" / "new_points.toml"


@dataclass(frozen=True)
class InForceNow:
    """Of one quantity: its correction, and how well the reading is known at a usual one (V or A,
    95 %: the correction's own interval, or the sensor's data sheet)."""

    quantity: str
    unit: str
    correction: Correction
    typical: float
    within: float


@dataclass(frozen=True)
class Calibrated:
    """outcome: "shown"; "no_points" (none was taken); "declined"; "nothing" (nothing of it is
    to be written); "same" (an undo with nothing to take back); "written", "undone". board: its
    unique id; judged: what the points say; stored: quantities that were written; changes: of
    the settings; in_force: the board says that it runs them, None when it was not asked; now:
    corrections in force at the end."""

    port: str
    board: str
    label: str
    rig: str
    chip: str
    outcome: str
    now: tuple[InForceNow, ...]
    judged: tuple[Judged, ...] = ()
    stored: tuple[str, ...] = ()
    changes: tuple[SettingChange, ...] = ()
    in_force: bool | None = None
    previous_in_force: bool = False
    fault: int | None = None
    library_remark: str = ""
    seconds: float = 0.0
    named: bool = False


@dataclass(frozen=True)
class NewPoints:
    file: str


Choose = Callable[[Calibrated], Collection[str] | None]


def new_points(path: Path, *, force: bool) -> NewPoints:
    """A file of points to fill in. Raises Failed or WrongInput."""
    write_whole(path, NEW.read_text("utf-8"), force=force)
    return NewPoints(str(path))


def show(port: str | Direct | None) -> Calibrated:
    """What is in force. Raises Failed."""
    with reach(port) as at:
        return _shown(at, at.settings, isinstance(port, str))


def in_force(at: Reached) -> Calibrated:
    """The same of a board that is reached already."""
    return _shown(at, at.settings, False)


def calibrate(port: str | Direct | None, meter: Meter, points: Points, choose: Choose, *,
              library: Path | None = None, anchor: bool = True) -> Calibrated:
    """points: quantity -> board and meter, as the board shows them now. choose: called once with
    what they say; returns the quantities to write, None where none is worth a question. Raises
    Failed."""
    with reach(port) as at:
        return finish(at, meter, points, choose, named=isinstance(port, str), library=library,
                      anchor=anchor)


def guided(port: str | Direct | None, meter: Meter, collect: Callable[[Reached], Points],
           choose: Choose, *, library: Path | None = None, anchor: bool = True) -> Calibrated:
    """The same with points that are taken while the board runs: collect asks for them."""
    with reach(port) as at:
        points = collect(at)
        if not points:
            return dataclasses.replace(_shown(at, at.settings, isinstance(port, str)),
                                       outcome="no_points")
        return finish(at, meter, points, choose, named=isinstance(port, str), library=library,
                      anchor=anchor)


def measured(at: Reached) -> tuple[str, ...]:
    """The quantities that this board measures."""
    return tuple(NAME[quantity] for quantity in corrections.fitted(at.settings))


def finish(at: Reached, meter: Meter, points: Points, choose: Choose, *, named: bool = False,
           library: Path | None = None, anchor: bool = True) -> Calibrated:
    """The same on a board that is reached already."""
    start = time.monotonic()
    plan = plan_of(at, meter, points, named=named)
    if not any(one.verdict != "refused" for one in plan.judged):
        return dataclasses.replace(plan, outcome="nothing")
    chosen = choose(plan)
    stored = tuple(j.quantity for j in plan.judged
                   if j.quantity in (chosen or ()) and j.verdict != "refused")
    if not stored:
        return dataclasses.replace(plan, outcome="nothing" if chosen is None else "declined")
    settings = at.settings
    for one in plan.judged:
        if one.quantity in stored:
            settings = corrections.put(settings, QUANTITY[one.quantity], one.after)
    before = [*before_of(at), corrections_before.snapshot(at.settings)]
    return dataclasses.replace(
        _write(at, plan, settings, before, "written", library, anchor), stored=stored,
        seconds=time.monotonic() - start)


def plan_of(at: Reached, meter: Meter, points: Points, *, named: bool = False) -> Calibrated:
    """What the points say, with nothing written. Raises Failed where the board has no such
    sensor."""
    there = [NAME[q] for q in corrections.fitted(at.settings)]
    for name in points:
        if name not in there:
            raise Failed("This board measures nothing at the converter's output.",
                         "It takes an INA3221 with a second shunt: out_shunt_mohm in the rig "
                         "file.")
    day = date.today().isoformat()
    judged = tuple(judge(at.settings, name, some, meter, day) for name, some in points.items())
    return dataclasses.replace(_shown(at, at.settings, named), judged=judged)


def undo(port: str | Direct | None, confirm: Callable[[Calibrated], bool], *,
         library: Path | None = None, anchor: bool = True) -> Calibrated:
    """Back to the correction before, or to none. confirm: called once with what would change,
    only if something would. Raises Failed."""
    start = time.monotonic()
    with reach(port) as at:
        plan = _shown(at, at.settings, isinstance(port, str))
        before = before_of(at)
        settings, left = corrections_before.back(at.settings, before)
        at.board.restart()
        if settings == at.settings:
            return dataclasses.replace(plan, outcome="same")
        plan = dataclasses.replace(plan, changes=_changes(at.settings, settings),
                                   now=_now(settings))
        if not confirm(plan):
            return dataclasses.replace(plan, outcome="declined", now=_now(at.settings))
        done = _write(at, plan, settings, left, "undone", library, anchor)
    return dataclasses.replace(done, seconds=time.monotonic() - start)


def _write(at: Reached, plan: Calibrated, settings: Settings, before: list[dict[str, object]],
           outcome: str, library: Path | None, anchor: bool) -> Calibrated:
    said = write(at, settings, before)
    remark = ""
    if anchor:
        remark = note(at.board.link, kind="watch", library=library,
                      rig_of=at.raw if said.in_force else None)
    return dataclasses.replace(
        plan, outcome=outcome, changes=_changes(at.settings, settings), now=_now(settings),
        in_force=said.in_force, previous_in_force=said.previous_in_force, fault=said.fault,
        library_remark=remark)


def _changes(before: Settings, after: Settings) -> tuple[SettingChange, ...]:
    return tuple(SettingChange(key, before.get(key), after.get(key))
                 for key in dict.fromkeys([*before, *after]) if before.get(key) != after.get(key))


def _shown(at: Reached, settings: Settings, named: bool) -> Calibrated:
    return Calibrated(
        at.board.name, at.who.unique_id, str(settings["label"]), str(settings["rig"]),
        str(settings["chip"]), "shown", _now(settings), named=named)


def _now(settings: Settings) -> tuple[InForceNow, ...]:
    found = []
    for quantity in corrections.fitted(settings):
        one, usual = corrections.read(settings, quantity), typical(settings, quantity)
        within = one.half_width(usual) or corrections.sheet(settings, quantity).half_width(usual)
        found.append(InForceNow(NAME[quantity], "V" if quantity.endswith("bus") else "A", one,
                                usual, within))
    return tuple(found)
