"""A gear train for a rig: what can be printed, what it bears, the one that is chosen."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from pathlib import Path

from steadyturn.errors import Problem, WrongInput
from steadyturn.gears.bought import Bought, bought, shaft_grip_mm
from steadyturn.gears.given import Assumed, Given, given_alone, given_of
from steadyturn.gears.layout import NoRoom
from steadyturn.gears.loads import Loads, loads_alone, loads_of
from steadyturn.gears.materials import REPEATED, Material, heat_share, materials
from steadyturn.gears.pairs import NoPair
from steadyturn.gears.search import Task
from steadyturn.gears.stages import MOST_RATIO
from steadyturn.gears.strength import OVERLOAD_SAFETY
from steadyturn.gears.teeth import span_mm, span_teeth
from steadyturn.gears.trains import AWAY, Choices, Train, best_in, choices, of_teeth
from steadyturn.model import gears
from steadyturn.model.band import find_band
from steadyturn.rig.file import read_rig
from steadyturn.rig.types import Air, Gears, Rig

TOLERANCE_PERCENT = 2.0
LOWEST_RATIO, HIGHEST_RATIO = 1.25, MOST_RATIO**3
MOST_STAGES = 3
ROOM_C = 20.0  # of the motor over the air, where no pace tells it; assumption


@dataclass(frozen=True)
class Span:
    """What calipers read over so many teeth of a printed wheel."""

    teeth: int
    module_mm: float
    over: int
    span_mm: float


@dataclass(frozen=True)
class Plastic:
    """What a plastic bears at 20 degC in a part printed lying flat, each as low, value, high:
    again_mpa by a load that comes again and again, once_mpa by a rare one; softens_c.
    keeps_percent of it in hot air and on the motor's shaft."""

    name: str
    title: str
    again_mpa: tuple[float, float, float]
    once_mpa: tuple[float, float, float]
    softens_c: tuple[float, float, float]
    keeps_percent: tuple[float, float]
    note: str
    source: str


@dataclass(frozen=True)
class Best:
    """what: "smallest", ...; row: of the list."""

    what: str
    row: int


@dataclass(frozen=True)
class Heat:
    """warm_c: about all but the last mesh, and about the last (on the motor's shaft);
    left_percent of the strength there; softens_c of the plastic; better: plastics that bear the
    motor's heat. weak_c: of the chosen train's weakest mesh, with what it warms itself by, where
    weak_percent are left and weak_better plastics are stronger; None without a train."""

    warm_c: tuple[float, float]
    left_percent: tuple[float, float]
    softens_c: float
    better: tuple[str, ...]
    weak_c: float | None = None
    weak_percent: float | None = None
    weak_better: tuple[str, ...] = ()


@dataclass(frozen=True)
class Geared:
    """file: "" without a rig. ratio: asked for; asked_by: "rig" or "--ratio". own: the rig
    file's own teeth, None where it has none or they cannot be made (own_problem says why);
    trains: the choices, best compromise first; row: the chosen one, 0 is `own`. bears: the chosen
    one is strong enough and fits the printer; weak_end: how many times what is asked it bears
    where the plastic is as weak as it is believed to come. best: which row is best in what.
    plastics: all of them, at this motor's heat. shaft_grip_mm: how much of the motor's shaft
    holds the pinion; options: what was asked for on the command line."""

    file: str
    rig: str
    ratio: float
    asked_by: str
    tolerance_percent: float
    material: str
    motors: int
    loads: Loads
    heat: Heat
    own: Train | None
    own_problem: str
    trains: tuple[Train, ...]
    tried_count: int
    row: int
    chosen: Train | None
    bears: bool
    weak_end: float | None
    best: tuple[Best, ...]
    plastics: tuple[Plastic, ...]
    spans: tuple[Span, ...]
    shaft_grip_mm: float
    bought: tuple[Bought, ...]
    assumed: tuple[Assumed, ...]
    given: Given = field(metadata=AWAY)
    options: tuple[str, ...] = field(metadata=AWAY)


def gears_of(path: str | Path | None, *, ratio: float | None = None, stages: int | None = None,
             tolerance: float = TOLERANCE_PERCENT, row: int | None = None,
             material: str | None = None, listed: bool = True) -> Geared:
    """Trains for the rig in a file; without one (None) for a ratio, an arm and one motor as they
    usually are. ratio: instead of the rig's; stages: only of so many; row:
    of the list, 0 is the rig's own; material: instead of the rig's. listed: False looks for no
    others where the rig's own teeth are the chosen ones.

    Raises WrongInput where the file or an option cannot be used.
    """
    _check(ratio, stages, tolerance, material)
    rig = None if path is None else read_rig(path)
    if rig is None and ratio is None:
        raise WrongInput(Problem("RIG", "", "", "name a rig file, or a ratio: --ratio 25"))
    part = Gears() if rig is None else rig.gears
    if material is not None:
        part = replace(part, material=material)
    asked = ratio if ratio is not None or rig is None else gears.ratio(rig.stages)
    assert asked is not None
    if not LOWEST_RATIO <= asked <= HIGHEST_RATIO:
        raise WrongInput(Problem(
            str(path), "stage", f"a ratio of {asked:.3g}",
            f"a printed train speeds up {LOWEST_RATIO:g} to {HIGHEST_RATIO:g} times.",
            "'steadyturn gears RIG --ratio N' asks for another one."))
    counts = tuple(range(1, MOST_STAGES + 1)) if stages is None else (stages,)
    if rig is None:
        given, loads, air = given_alone(part), loads_alone(), Air().hot_c
    else:
        rig = replace(rig, gears=part)
        given, loads, air = given_of(rig), loads_of(rig, find_band(rig, deep=False)), rig.air.hot_c
    warm = (air, loads.case_c if loads.case_c is not None else air + ROOM_C)
    if given.reverted:
        counts = _reverted(given, stages, str(path))
    task = Task(asked, tolerance / 100, counts, given, loads, warm)
    own, problem = (None, "") if rig is None or ratio is not None or stages is not None \
        else _own(rig, task)
    alone = not listed and own is not None and not row
    found = Choices((), 0) if alone else choices(task)
    chosen, number = _chosen(own, found.trains, row)
    tensile = given.material.tensile_mpa
    return Geared(
        file="" if path is None else str(path), rig=given.rig, ratio=asked,
        asked_by="rig" if ratio is None else "--ratio",
        tolerance_percent=tolerance, material=given.material.title, motors=given.motors,
        loads=loads, heat=_heat(task, chosen), own=own, own_problem=problem, trains=found.trains,
        tried_count=found.tried_count, row=number, chosen=chosen,
        bears=chosen is not None and chosen.safety >= 0.99 and chosen.fits,
        weak_end=None if chosen is None else chosen.safety * tensile.low / tensile.value,
        best=tuple(Best(what, n + 1) for what, n in best_in(found.trains)),
        plastics=tuple(_plastic(m, warm) for m in materials().values()),
        spans=() if chosen is None else _spans(chosen),
        shaft_grip_mm=0.0 if chosen is None else shaft_grip_mm(
            given, chosen.stages[-1].width_mm),
        bought=() if chosen is None else bought(chosen, given), assumed=given.assumed,
        given=given, options=_options(ratio, stages, tolerance, material))


def _reverted(given: Given, stages: int | None, path: str) -> tuple[int, ...]:
    """A train in line with the handle has two stages and one motor."""
    if stages not in (None, 2):
        raise WrongInput(Problem("--stages", "", str(stages), 'layout = "reverted" in [gears] has '
                                 "two stages."))
    if given.motors != 1:
        raise WrongInput(Problem(path, "gears.layout", "reverted", f"one motor stands in line "
                                 f"with the handle; this rig has {given.motors}.",
                                 'layout = "open" has room for them.'))
    return (2,)


def _plastic(plastic: Material, warm_c: tuple[float, float]) -> Plastic:
    def over(by: float) -> tuple[float, float, float]:
        span = plastic.tensile_mpa
        return span.low / by, span.value / by, span.high / by

    soft = plastic.softens_c
    keeps = [100 * heat_share(plastic, c) for c in warm_c]
    return Plastic(plastic.name, plastic.title, over(REPEATED), over(OVERLOAD_SAFETY),
                   (soft.low, soft.value, soft.high), (keeps[0], keeps[1]), plastic.note,
                   plastic.source)


def _options(ratio: float | None, stages: int | None, tolerance: float,
             material: str | None) -> tuple[str, ...]:
    """What was asked for, to be asked again."""
    said = [] if ratio is None else [f"--ratio {ratio:g}"]
    said += [] if stages is None else [f"--stages {stages}"]
    said += [] if tolerance == TOLERANCE_PERCENT else [f"--tolerance {tolerance:g}"]
    said += [] if material is None else [f"--material {material}"]
    return tuple(said)


def _check(ratio: float | None, stages: int | None, tolerance: float,
           material: str | None) -> None:
    problems = []
    if ratio is not None and not LOWEST_RATIO <= ratio <= HIGHEST_RATIO:
        problems.append(Problem("--ratio", "", f"{ratio:g}",
                                f"{LOWEST_RATIO:g} to {HIGHEST_RATIO:g} motor turns for a turn of "
                                "the handle."))
    if stages is not None and not 1 <= stages <= MOST_STAGES:
        problems.append(Problem("--stages", "", str(stages), f"1 to {MOST_STAGES}."))
    if not 0.01 <= tolerance <= 20:
        problems.append(Problem("--tolerance", "", f"{tolerance:g}", "0.01 to 20 percent of the "
                                "ratio."))
    if material is not None and material not in materials():
        problems.append(Problem("--material", "", material,
                                f"one of {', '.join(materials())}."))
    if problems:
        raise WrongInput(*problems)


def _own(rig: Rig, task: Task) -> tuple[Train | None, str]:
    """The train that the rig file itself describes by its teeth."""
    teeth = tuple((s.driver_teeth, s.driven_teeth) for s in rig.stages
                  if s.driver_teeth and s.driven_teeth)
    if not rig.stages or len(teeth) < len(rig.stages):
        return None, ""
    if len(teeth) > MOST_STAGES:
        return None, f"it has {len(teeth)} stages, and more than {MOST_STAGES} are not laid out"
    try:
        return of_teeth(tuple((int(a or 0), int(b or 0)) for a, b in teeth), task), ""
    except (NoPair, NoRoom) as wrong:
        return None, str(wrong)


def _chosen(own: Train | None, trains: tuple[Train, ...],
            row: int | None) -> tuple[Train | None, int]:
    if row is None:
        if own is not None:
            return own, 0
        return (trains[0], 1) if trains else (None, 0)
    if row == 0 and own is not None:
        return own, 0
    if not 1 <= row <= len(trains):
        right = f"1 to {len(trains)}" if trains else "there is none"
        raise WrongInput(Problem("--row", "", str(row), f"a row of the list: {right}"
                                 + (", or 0 for the rig file's own." if own else ".")))
    return trains[row - 1], row


def _heat(task: Task, chosen: Train | None) -> Heat:
    plastic = task.given.material
    left = tuple(100 * heat_share(plastic, c) for c in task.warm_c)
    heat = Heat(task.warm_c, (left[0], left[1]), plastic.softens_c.value,
                _better(plastic, task.warm_c[1]))
    if chosen is None:
        return heat
    weak = min(range(len(chosen.stages)), key=lambda n: chosen.stages[n].least)
    at = task.warm_c[weak == len(chosen.stages) - 1] + chosen.stages[weak].judged.warms_k
    return replace(heat, weak_c=at, weak_percent=100 * heat_share(plastic, at),
                   weak_better=_better(plastic, at))


def _better(plastic: Material, at_c: float) -> tuple[str, ...]:
    """Plastics that bear a heat in which this one has lost nearly all."""
    return tuple(m.title for m in materials().values()
                 if heat_share(m, at_c) >= 0.3 > heat_share(plastic, at_c))


def _spans(train: Train) -> tuple[Span, ...]:
    found = {}
    for stage in train.stages:
        for gear in (stage.pair.driver, stage.pair.driven):
            over = span_teeth(gear)
            found[gear.teeth, gear.module_mm, gear.shift] = Span(
                gear.teeth, gear.module_mm, over, span_mm(gear, over))
    return tuple(found.values())
