"""Trains as they are made: exact pairs, strengths, places, size, and the list of choices."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from itertools import product
from math import ceil, floor, gcd, inf, prod

import numpy as np

from steadyturn.gears import search as searching
from steadyturn.gears.crank import arm_half_mm, hexagon_mm
from steadyturn.gears.given import Given
from steadyturn.gears.layout import Layout, NoRoom, lay_out
from steadyturn.gears.pairs import NoPair, Pair, pair
from steadyturn.gears.search import BROADEST_MM, LEAST_WIDTH, MODULES_MM, MOST_WIDTH, Task
from steadyturn.gears.solidity import CM3_PER_HOUR, wheel_cm3
from steadyturn.gears.strength import (
    OVERLOAD_SAFETY,
    RUNNING_SAFETY,
    Judged,
    judge,
    layers_mpa,
    rad_s,
    twist_mpa,
)

LOOKED_AT = 24  # trains that are built exactly, of each number of stages
LISTED = 8
MARGIN_STEP, MOST_MARGIN = 0.25, 3.0  # of strength: finer no plastic is known, more none needs
PLATES_CM3_PER_CM2 = 0.97  # plate, cover and its wall for each cm2 of the plate, and
OTHERS_CM3 = 125.0  # holder, arm, knob, coupon: of the parts as they are drawn
AWAY = {"json": False}


@dataclass(frozen=True)
class Stage:
    """One mesh. driver and driven with their shifts; safety: the least over what is asked for
    (1: just enough); joint_safety: of the pinion where it stands on its wheel, against being
    twisted off between layers (infinite where it stands on a motor's shaft)."""

    driver_teeth: int
    driven_teeth: int
    module_mm: float
    width_mm: float
    driver_shift: float
    driven_shift: float
    centre_mm: float
    backlash_mm: float
    contact_ratio: float
    hunting: bool
    safety: float
    joint_safety: float
    judged: Judged
    pair: Pair = field(metadata=AWAY)

    @property
    def least(self) -> float:
        """Of teeth and joint."""
        return min(self.safety, self.joint_safety)


@dataclass(frozen=True)
class Train:
    """stages: handle side first. off_percent: of the ratio asked for; width_mm, height_mm: of
    the plate, depth_mm from the plate's back to the cover's front, motors_out_mm: how far the
    cans stand out behind it; loss_percent: with the rig's
    efficiency for each stage; sliding_percent: by sliding teeth alone; plastic_cm3 of all parts;
    hours: of printing, half to twice; safety: of the weakest mesh or joint; hexagon_mm: across
    the flats of the arm's seat; arm_half_mm: half the arm's width at the knob; fits:
    all on the printer's bed."""

    ratio: float
    off_percent: float
    stages: tuple[Stage, ...]
    safety: float
    loss_percent: float
    sliding_percent: float
    width_mm: float
    height_mm: float
    depth_mm: float
    motors_out_mm: float
    plastic_cm3: float
    hours: float
    hexagon_mm: float
    arm_half_mm: float
    fits: bool
    layout: Layout = field(metadata=AWAY)

    @property
    def teeth(self) -> tuple[tuple[int, int], ...]:
        return tuple((s.driver_teeth, s.driven_teeth) for s in self.stages)


def build(teeth: tuple[tuple[int, int], ...], modules_mm: tuple[float, ...],
          widths_mm: tuple[float | None, ...], task: Task) -> Train:
    """A train of these wheels; NoPair or NoRoom where it cannot be made. A width that is left
    out is what the load asks for."""
    given = task.given
    pairs: list[Pair] = []
    for (driver, driven), module in zip(teeth, modules_mm, strict=True):
        centre = pairs[0].centre_mm if given.reverted and pairs else None
        pairs.append(pair(driver, driven, module, backlash_mm=given.backlash_mm(module),
                          pressure_rad=given.pressure_rad, centre_mm=centre))
    _bores_fit(pairs, given)
    layout = lay_out(tuple(pairs), given)
    stages, before = [], 1.0
    for n, (one, width) in enumerate(zip(pairs, widths_mm, strict=True)):
        last = n == len(pairs) - 1
        stages.append(_stage(one, width, task, before, last=last))
        before *= one.driver.teeth / one.driven.teeth
    ratio = prod(a / b for a, b in teeth)
    kept = prod(1 - s.judged.friction_share for s in stages)
    plate = layout.width_mm * layout.height_mm / 100
    wheels = sum(float(wheel_cm3(g.tip_mm, g.module_mm, s.width_mm)) * count
                 for s, last in zip(stages, [False] * (len(stages) - 1) + [True], strict=True)
                 for g, count in ((s.pair.driver, 1),
                                  (s.pair.driven, given.motors if last else 1)))
    plastic = wheels + PLATES_CM3_PER_CM2 * plate + OTHERS_CM3
    hexagon = hexagon_mm(task)
    biggest = max(2 * g.tip_mm for p in pairs for g in (p.driver, p.driven))
    bed = given.bed_mm - 4
    return Train(
        ratio=ratio, off_percent=100 * (ratio / task.ratio - 1), stages=tuple(stages),
        safety=min(s.least for s in stages),
        loss_percent=100 * (1 - given.stage_efficiency ** len(stages)),
        sliding_percent=100 * (1 - kept),
        width_mm=layout.width_mm, height_mm=layout.height_mm,
        depth_mm=depth_mm(tuple(s.width_mm for s in stages)),
        motors_out_mm=given.can_length_mm - (PLATE_MM - MOUNT_MM),
        plastic_cm3=plastic, hours=plastic / CM3_PER_HOUR,
        hexagon_mm=hexagon, arm_half_mm=arm_half_mm(task, hexagon),
        fits=max(layout.width_mm, layout.height_mm, biggest) <= bed, layout=layout)


def _bores_fit(pairs: list[Pair], given: Given) -> None:
    """NoPair where a pinion is hardly thicker than its bore."""
    for one in pairs:
        bore = given.shaft_mm if one is pairs[-1] else given.axle_mm
        if one.driven.root_mm < bore / 2 + THINNEST_MM:
            raise NoPair(f"{one.driven.teeth} teeth of module {one.driven.module_mm:g} leave less "
                         f"than {THINNEST_MM:g} mm about a bore of {bore:g} mm")


THINNEST_MM = 1.2  # three lines of a 0.4 mm nozzle
PLATE_MM, COVER_MM = 6.0, 4.0
MOUNT_MM = 3.0  # thickness of the plate where a motor is screwed on, its can sunk into the back
GAP_MM, TOP_MM = 1.0, 9.0  # between planes and over the plate; under the cover, for its bearing


def depth_mm(widths: tuple[float, ...]) -> float:
    """From the plate's back to the cover's front, without motors and handle."""
    return PLATE_MM + COVER_MM + sum(widths) + GAP_MM * len(widths) + TOP_MM


def _stage(one: Pair, width: float | None, task: Task, before: float, *, last: bool) -> Stage:
    given, loads = task.given, task.loads
    share = 1 / given.motors if last else 1.0

    def judged(width_mm: float) -> tuple[Judged, float]:
        found = judge(one, width_mm, given.material, running_nm=loads.running_nm / before * share,
                      blocked_nm=loads.blocked_nm / before, short_nm=loads.short_nm / before,
                      driver_rad_s=rad_s(loads.pace_tpm, before),
                      short_rad_s=rad_s(loads.short_tpm, before),
                      warm_c=task.warm_c[1 if last else 0])
        return found, min(found.running_safety / RUNNING_SAFETY,
                          found.overload_safety / OVERLOAD_SAFETY)

    module = one.driver.module_mm
    if width is None:
        narrow, broad = LEAST_WIDTH * module, min(MOST_WIDTH * module, BROADEST_MM)
        safety = judged(broad)[1]
        width = broad if safety <= task.margin else max(
            narrow, ceil(2 * broad * task.margin / safety) / 2)
        # the broader the cooler, so that the first guess may be a little narrow
        while width < broad and judged(width)[1] < task.margin - 1e-9:
            width = min(width + 0.5, broad)
    found, safety = judged(width)
    joint = inf if last else _joint(one, task, before)
    return Stage(
        driver_teeth=one.driver.teeth, driven_teeth=one.driven.teeth, module_mm=module,
        width_mm=width, driver_shift=one.driver.shift, driven_shift=one.driven.shift,
        centre_mm=one.centre_mm, backlash_mm=one.mesh.backlash_mm,
        contact_ratio=one.mesh.contact_ratio,
        hunting=gcd(one.driver.teeth, one.driven.teeth) == 1, safety=safety,
        joint_safety=joint, judged=found,
        pair=one)


def _joint(one: Pair, task: Task, before: float) -> float:
    """How much of what is asked for a pinion bears where it stands on its wheel."""
    given = task.given
    torque = task.loads.overload_nm / before * one.driven.teeth / one.driver.teeth
    shear = twist_mpa(torque, 2 * one.driven.root_mm, given.axle_mm + 1)
    return layers_mpa(given.material, task.warm_c[0]) / (shear * OVERLOAD_SAFETY)


def of_teeth(teeth: tuple[tuple[int, int], ...], task: Task) -> Train:
    """A train whose tooth counts are settled: the smallest modules that bear the load."""
    modules = MODULES_MM if task.given.module_mm is None else (task.given.module_mm,)
    if len(teeth) <= 2:
        return _of_all(teeth, modules, task)
    best: Train | None = None
    chosen = [0] * len(teeth)
    problem: Exception | None = None
    while True:
        try:
            now = build(teeth, tuple(modules[c] for c in chosen),
                        (task.given.width_mm,) * len(teeth), task)
        except (NoPair, NoRoom) as wrong:
            now, problem = None, wrong
        if now is not None and (best is None or now.safety > best.safety):
            best = now
        weak = [n for n in range(len(teeth)) if chosen[n] < len(modules) - 1
                and (now is None or now.stages[n].least < 1 - 1e-9)]
        if (now is not None and now.safety >= 1 - 1e-9) or not weak:
            break
        # where nothing can stand yet all grow, else what is too weak
        for n in weak:
            chosen[n] += 1
    if best is None:
        assert problem is not None
        raise problem
    return best


def _of_all(teeth: tuple[tuple[int, int], ...], modules: tuple[float, ...],
            task: Task) -> Train:
    """The same by trying all modules for each mesh: the smallest that go together and bear,
    else the strongest."""
    best: Train | None = None
    problem: Exception | None = None
    for chosen in sorted(product(modules, repeat=len(teeth)), key=sum):
        try:
            now = build(teeth, chosen, (task.given.width_mm,) * len(teeth), task)
        except NoPair as wrong:
            problem = problem or wrong
            continue
        except NoRoom as wrong:  # says more than that a pair of some module cannot be made
            problem = wrong
            continue
        if now.safety >= 1 - 1e-9:
            return now
        if best is None or now.safety > best.safety:
            best = now
    if best is None:
        assert problem is not None
        raise problem
    return best


@dataclass(frozen=True)
class Choices:
    """trains: none beaten in everything by another, the best compromise first; tried_count:
    combinations of stages."""

    trains: tuple[Train, ...]
    tried_count: int


def choices(task: Task) -> Choices:
    """The trains worth a choice near a ratio."""
    found, tried = searching.search(task)
    built: list[Train] = []
    for margin, some in found:
        asked = replace(task, margin=margin)
        made = 0
        for row in _spread(some):
            built_one = _exact(some, row, asked)
            if built_one is not None:
                built.append(built_one)
                made += 1
            if made >= (LOOKED_AT if margin == 1 else LOOKED_AT // 2):
                break
    return Choices(tuple(_thin(_unbeaten(built))), tried)


def _spread(found: searching.Found) -> list[int]:
    """Rows to look at: the best by the common figure, by each figure alone, and near ratios."""
    rows: list[int] = list(range(min(len(found.ratio), LOOKED_AT)))
    for values in (found.length_mm, found.loss, found.plastic_cm3, -found.safety,
                   -found.hunting):
        rows += np.argsort(values, kind="stable")[:10].tolist()
    return list(dict.fromkeys(rows))


def _exact(found: searching.Found, row: int, task: Task) -> Train | None:
    teeth = tuple((int(a), int(b)) for a, b in found.teeth[row])
    modules = tuple(map(float, found.modules_mm[row]))
    try:
        return build(teeth, modules, (task.given.width_mm,) * len(teeth), task)
    except (NoPair, NoRoom):
        return None


def _figures(train: Train) -> tuple[float, ...]:
    """What is to be small; finer differences than these nobody feels."""
    hunting = sum(s.hunting for s in train.stages) / len(train.stages)
    margin = floor(min(train.safety, MOST_MARGIN) / MARGIN_STEP + 1e-6)
    return (not train.fits, round(_longer(train) / 5),
            round(train.loss_percent + train.sliding_percent), -margin,
            round(train.hours, 0), round(1 - hunting, 1))


def _longer(train: Train) -> float:
    return max(train.width_mm, train.height_mm)


def _unbeaten(trains: list[Train]) -> list[Train]:
    """Those that no other beats or equals in everything."""
    strong = [t for t in trains if t.safety >= 0.99 and t.fits]
    trains = strong or trains
    order = sorted(trains, key=lambda t: (_merit(t), t.teeth))
    kept: list[tuple[tuple[float, ...], Train]] = []
    for train in order:
        mine = _figures(train)
        if not any(all(a <= b for a, b in zip(other, mine, strict=True)) for other, _ in kept):
            kept.append((mine, train))
    return [train for _, train in kept]


def _merit(train: Train) -> float:
    """The compromise: what a plate's longer side, printing and loss cost; small is good."""
    weak = max(0.0, 1 - train.safety) + (not train.fits)
    coarse = sum(not s.hunting for s in train.stages) / len(train.stages)
    return (max(train.width_mm, train.height_mm) / 150 + train.hours / 20
            + (train.loss_percent + train.sliding_percent) / 15 + 0.05 * coarse
            + abs(train.off_percent) / 100 + 20 * weak)


# What each row of a short list is best in: its key is to be small.
BEST_IN: tuple[tuple[str, Callable[[Train], tuple[float, ...]]], ...] = (
    ("smallest", lambda t: (round(_longer(t)), t.width_mm * t.height_mm)),
    ("quickest to print", lambda t: (t.hours,)),
    ("least lost", lambda t: (round(t.loss_percent), round(t.sliding_percent, 1), t.hours)),
    ("strongest", lambda t: (-floor(min(t.safety, MOST_MARGIN) / MARGIN_STEP + 1e-6), t.hours)),
)


def _thin(trains: list[Train]) -> list[Train]:
    """At most LISTED, the best compromise first: the best of each number of stages, the best by
    each figure alone, and what else is best."""
    keep: dict[int, Train] = {}
    for train in trains:
        keep.setdefault(len(train.stages), train)
    best = list(keep.values()) + [min(trains, key=key) for _, key in BEST_IN if trains]
    kept: list[Train] = []
    for train in best:
        if train not in kept:
            kept.append(train)
    for train in trains:
        if len(kept) < LISTED and not any(_alike(train, other) for other in kept):
            kept.append(train)
    return [t for t in trains if t in kept]


def _alike(one: Train, other: Train) -> bool:
    """Whether two trains are no real choice: hardly anybody would feel the difference."""
    return (len(one.stages) == len(other.stages) and one.fits == other.fits
            and abs(_longer(one) - _longer(other)) < 10 and abs(one.hours - other.hours) < 2
            and abs(one.sliding_percent - other.sliding_percent) < 1.5
            and abs(one.safety - other.safety) < MARGIN_STEP)


def best_in(trains: Sequence[Train]) -> list[tuple[str, int]]:
    """Which place in the list (from 0) is best in what, of those that bear and fit."""
    sound = [n for n, train in enumerate(trains) if train.safety >= 0.99 and train.fits]
    if len(sound) < 2:
        return []
    return [(name, min(sound, key=lambda n: key(trains[n]))) for name, key in BEST_IN]
