"""What can be built from what is at hand: the trade-off list, one row of it, a row as a file."""

from __future__ import annotations

import os
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np

from steadyturn.errors import Failed, Problem, WrongInput
from steadyturn.jobs.hazards import Hazard, hazards_of
from steadyturn.jobs.new import refuse_existing, write_whole
from steadyturn.jobs.pace import Pace, pace_of
from steadyturn.model import arm, gears
from steadyturn.model.accounts import NOT_SHOWN
from steadyturn.model.band import Band, find_band
from steadyturn.model.tolerance import sure_band
from steadyturn.rig.examples import example_path as example_rig
from steadyturn.rig.file import read_rig_text
from steadyturn.rig.toml_text import is_rig_file
from steadyturn.rig.types import Rig
from steadyturn.sizing import pareto, parts_file, rig_text
from steadyturn.sizing.drawer import Build, Drawer, rig_of
from steadyturn.sizing.search import Found, Row, search
from steadyturn.sizing.suggest import suggest

MOST_ROWS = 12  # a list that can be read
LEAST_UNSAFE = 3  # of them, so many are for machines that need a protection, where there are any
SHARE = 0.95  # of builds that the sure band works for
SURE_BUILDS = 2048  # its edges are then known to about half a turn/min

Say = Callable[[str, int, int], None]


@dataclass(frozen=True)
class Choice:
    """One machine. teeth: (driver, driven) of each stage, handle side first; width_percent of
    the band's middle; arm_w to bus_v at the target; to_buy: what of it is a typical class;
    assumed_count: numbers of its rig that are only assumed."""

    number: int
    machine: str
    motor: str
    motors: int
    series: int
    parallel: int
    converter: str
    converter_kind: str
    teeth: tuple[tuple[int, int], ...]
    ratio: float
    efficiency: float
    low_tpm: float
    target_tpm: float
    high_tpm: float
    width_percent: float
    sure_low_tpm: float | None
    sure_high_tpm: float | None
    sure_width_percent: float | None
    works_share: float
    low_limit: str
    high_limit: str
    arm_w: float
    out_w: float
    arm_w_per_w: float
    crank_nm: float
    force_n: float
    bus_v: float
    safe: bool
    hazards: tuple[Hazard, ...]
    to_buy: tuple[str, ...]
    assumed_count: int
    build: Build = field(metadata=NOT_SHOWN)


@dataclass(frozen=True)
class Failing:
    """How many machines fail because low_limit asks for more pace than high_limit allows (one
    and the same: it holds at no pace); share of all that were looked at."""

    low_limit: str
    high_limit: str
    count: int
    share: float


@dataclass(frozen=True)
class Advice:
    """A change that makes a machine work; kind: "choose", "print" or "buy"."""

    kind: str
    change: str
    choice: Choice


@dataclass(frozen=True)
class Sized:
    """file: the parts file, None for the typical parts alone. found_count: machines that work
    and that no other beats; choices: those of them that are listed. failing: why the others
    do not work, the most frequent first. advice: only where nothing works."""

    file: str | None
    name: str
    typical: bool
    complete: bool
    candidates_count: int
    tried_count: int
    working_count: int
    found_count: int
    choices: tuple[Choice, ...]
    failing: tuple[Failing, ...]
    advice: tuple[Advice, ...]
    drawer: Drawer = field(metadata=NOT_SHOWN)


@dataclass(frozen=True)
class Why:
    """One row in full; neighbours: the rows before and after it on the list."""

    file: str | None
    typical: bool
    choice: Choice
    neighbours: tuple[Choice, ...]
    pace: Pace


@dataclass(frozen=True)
class Written:
    """file: the rig file that was written; next: commands to run."""

    file: str
    rig: str
    choice: Choice
    next: tuple[str, ...]


@dataclass(frozen=True)
class NewParts:
    """A parts file to fill in; next: commands to run."""

    file: str
    next: tuple[str, ...]


def example_drawers() -> list[str]:
    """Names of the parts files that ship as examples."""
    return parts_file.example_names()


def parts_path(given: str) -> Path:
    """A parts file: as given, or the name of an example."""
    if os.path.exists(given):  # Path's own raises where a name is too long
        if is_rig_file(Path(given)):
            raise WrongInput(Problem("PARTS", "", given, "this is a rig file: one machine, not "
                                     "parts to choose from.", f"'steadyturn size --from {given}' "
                                     f"ranks what would help it. {parts_file.NEW}"))
        return Path(given)
    found = parts_file.example_path(given)
    if found is None and example_rig(given) is not None:
        raise WrongInput(Problem("PARTS", "", given, "this is an example rig, not a parts file.",
                                 f"Example drawers: {', '.join(parts_file.example_names())}. "
                                 f"'steadyturn size --from {given}' ranks what would help this "
                                 "machine."))
    return found or Path(given)


def size(path: str | Path | None, *, typical: bool = False, say: Say | None = None) -> Sized:
    """Search a parts file (None: the typical parts alone).

    say(what, done, of): how far it is. Raises WrongInput when the file cannot be used.
    KeyboardInterrupt ends it with the best so far, and `complete` is then False.
    """
    if path is None and not typical:
        raise WrongInput(Problem("PARTS", "", "", "name a parts file: what is in your drawer.",
                                 f"{parts_file.NEW} --typical searches typical parts."))
    drawer = parts_file.read_drawer(path, typical=typical)

    def tell(what: str, done: int, of: int) -> None:
        if say is not None:
            say(what, done, of)

    found = search(drawer, lambda tried, of, works: tell("machines looked at", tried, of))
    choices, whole = _choices(drawer, found, tell)
    advice: tuple[Advice, ...] = ()
    if not choices and found.complete and whole:
        advice, whole = _advice(drawer, tell)
    failing = tuple(Failing(low, high, n, n / found.tried)
                    for (low, high), n in found.clashes.items())
    return Sized(None if path is None else str(path), drawer.name, typical,
                 found.complete and whole, found.candidates, found.tried, found.working,
                 len(found.rows), choices, failing, advice, drawer)


def _choices(drawer: Drawer, found: Found, tell: Say) -> tuple[tuple[Choice, ...], bool]:
    """The rows to list, each by the exact model; False where it was broken off."""
    rows = thin(found.rows)
    made, whole = [], True
    try:
        for done, row in enumerate(rows):
            tell("machines computed exactly", done, len(rows))
            choice = _choice(drawer, row.build)
            if choice is not None:
                made.append(choice)
        tell("machines computed exactly", len(rows), len(rows))
    except KeyboardInterrupt:
        whole = False
    made.sort(key=lambda c: (not c.safe, c.arm_w_per_w, -c.width_percent))
    return tuple(replace(choice, number=n) for n, choice in enumerate(made, 1)), whole


def thin(rows: tuple[Row, ...]) -> list[Row]:
    """At most MOST_ROWS rows that differ, safe ones first."""
    safe = [row for row in rows if not row.unsafe]
    other = [row for row in rows if row.unsafe]
    most_safe = MOST_ROWS - min(LEAST_UNSAFE, len(other))
    kept: list[Row] = []
    for group, most in ((safe, most_safe), (other, MOST_ROWS - min(len(safe), most_safe))):
        if group:
            costs = np.array([row.costs() for row in group])
            kinds = np.array([[row.build.motor, row.build.converter, row.motors]
                              for row in group])
            kept += [group[i] for i in pareto.thinned(costs, kinds, most)]
    return kept


def _choice(drawer: Drawer, build: Build, number: int = 0) -> Choice | None:
    """The machine with the exact model's figures; None where it has no band."""
    rig = rig_of(drawer, build, rig_text.rig_name(drawer, number))
    band = find_band(rig, deep=False)
    at = band.at_target
    if at is None or band.low_tpm is None or band.high_tpm is None or band.target_tpm is None:
        return None
    motor, converter = drawer.motors[build.motor], drawer.converters[build.converter]
    hazards = hazards_of(rig, band)
    low_limit, high_limit = _binding(band)
    sure = sure_band(rig, share=SHARE, builds=SURE_BUILDS, deep=False)
    arm_w, out_w = float(at.arm_w), float(at.out_w)
    return Choice(
        number=number, machine=rig_text.machine(drawer, build), motor=motor.name,
        motors=build.series * build.parallel, series=build.series, parallel=build.parallel,
        converter=converter.name, converter_kind=converter.part.kind, teeth=build.teeth,
        ratio=gears.ratio(rig.stages), efficiency=gears.efficiency(rig.stages),
        low_tpm=band.low_tpm, target_tpm=band.target_tpm, high_tpm=band.high_tpm,
        width_percent=_percent(band.low_tpm, band.high_tpm),
        sure_low_tpm=sure.low_tpm, sure_high_tpm=sure.high_tpm,
        sure_width_percent=None if sure.low_tpm is None or sure.high_tpm is None else _percent(
            sure.low_tpm, sure.high_tpm),
        works_share=sure.works_share,
        low_limit=low_limit, high_limit=high_limit, arm_w=arm_w, out_w=out_w,
        arm_w_per_w=arm_w / out_w, crank_nm=float(at.crank_nm),
        force_n=float(arm.force_n(rig, at.crank_nm)), bus_v=float(at.bus_v),
        safe=not any(h.refuses for h in hazards), hazards=hazards,
        to_buy=tuple(item.name for item in (motor, converter) if item.typical),
        assumed_count=_assumed(rig), build=build)


def _percent(low_tpm: float, high_tpm: float) -> float:
    """Width of a band, in percent of its middle."""
    return 200 * (high_tpm - low_tpm) / (high_tpm + low_tpm)


def _binding(band: Band) -> tuple[str, str]:
    """The limits at the band's two edges."""
    assert band.low_tpm is not None
    assert band.high_tpm is not None
    lows = [x for x in band.limits if x.side == "low" and abs(x.pace_tpm - band.low_tpm) < 1e-3]
    highs = [x for x in band.limits
             if x.side == "high" and abs(x.pace_tpm - band.high_tpm) < 1e-3]
    return (lows[0].name if lows else ""), (highs[0].name if highs else "")


def _assumed(rig: Rig) -> int:
    return sum(origin.kind == "assumed" for origin in rig.origins.values())


def _advice(drawer: Drawer, tell: Say) -> tuple[tuple[Advice, ...], bool]:
    """What to change, nearest first; False where it was broken off."""
    shipped = parts_file.read_drawer(None, typical=True)
    made = []
    try:
        found = suggest(drawer, shipped, lambda done, of: tell("changes tried", done, of))
        for done, suggestion in enumerate(found):
            tell("changes computed exactly", done, len(found))
            choice = _choice(suggestion.drawer, suggestion.row.build)
            if choice is not None:
                made.append(Advice(suggestion.kind, suggestion.change, choice))
    except KeyboardInterrupt:
        return tuple(made), False
    return tuple(made), True


def row_of(sized: Sized, number: int, option: str) -> Choice:
    """The row of that number; WrongInput where the list has it not."""
    if not 1 <= number <= len(sized.choices):
        raise WrongInput(Problem(option, "", str(number), "there is no such row: the list has "
                                 f"rows 1 to {len(sized.choices)}.",
                                 "'steadyturn size' without this option prints the list."))
    return sized.choices[number - 1]


def why(sized: Sized, number: int) -> Why:
    """One row in full: its band with all reasons, and the rows beside it."""
    choice = row_of(sized, number, "--why")
    rig = rig_of(sized.drawer, choice.build, rig_text.rig_name(sized.drawer, number))
    beside = tuple(c for c in sized.choices if abs(c.number - number) == 1)
    return Why(sized.file, sized.typical, choice, beside,
               pace_of(rig, sized.file or "typical parts"))


def write(sized: Sized, number: int, path: Path, source: str, *, force: bool = False) -> Written:
    """The row as a rig file at `path`; all or nothing. source: the command that found it.

    Raises WrongInput where the row is not there or the file must not be written.
    """
    choice = row_of(sized, number, "--row")
    refuse_existing(path, force)
    text = rig_text.rig_text(sized.drawer, choice.build, number, source)
    rig = read_rig_text(text, str(path))
    wanted = rig_of(sized.drawer, choice.build)
    if replace(rig, name=wanted.name, note=wanted.note) != wanted:  # only what reads back
        raise Failed("this row cannot be written as a rig file that says the same.",
                     "Please report it, with the parts file.")
    write_whole(path, text, force=force)
    return Written(str(path), rig.name, choice,
                   (f"steadyturn check {path}", f"steadyturn pace {path}",
                    f"steadyturn gears {path}"))


def new_parts(path: Path, *, force: bool = False) -> NewParts:
    """Write a commented parts file to `path`; WrongInput where nothing may be written."""
    refuse_existing(path, force)
    text = (parts_file.FOLDER / "new_parts.toml").read_text(encoding="utf-8")
    parts_file.read_drawer_text(text, str(path))
    write_whole(path, text, force=force)
    return NewParts(str(path), (f"steadyturn size {path}",))
