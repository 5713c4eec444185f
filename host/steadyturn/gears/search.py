"""The search of trains: all combinations of stages near a ratio, each with the smallest module
and width that bear the load, judged by size, loss, strength and plastic. All as arrays.

What it finds is built exactly, and so judged again, by `trains`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import log

import numpy as np
from numpy.typing import NDArray

from steadyturn.gears import lewis
from steadyturn.gears.given import Given
from steadyturn.gears.loads import Loads
from steadyturn.gears.materials import REPEATED, WARM_C, Material
from steadyturn.gears.solidity import wheel_cm3
from steadyturn.gears.stages import Floats, Stages, Whole, stages, thinned
from steadyturn.gears.strength import (
    OVERLOAD_SAFETY,
    RUNNING_SAFETY,
    layers_mpa,
    warming_k,
)
from steadyturn.rig.spec import RPM

MODULES_MM = (1.0, 1.25, 1.5, 1.75, 2.0, 2.5, 3.0)  # printed well with a 0.4 mm nozzle
LEAST_WIDTH, MOST_WIDTH = 6.0, 12.0  # of a face, in modules: common practice, no source
BROADEST_MM = 25.0
CLEAR_MM = 1.5  # between what moves and what stands
LEAST_WALL_MM = 2.0  # of plastic between a bore and the roots: common practice, no source
HEAD_MM = 8.0  # radius of a bolt's head or nut with its washer
EASY_TEETH = 12  # pinions of fewer are harder to print well: common practice, no source
FEW = 70  # single stages that trains of three are put together from
MOST = 400_000  # combinations looked at
KEPT = 3000
MARGINS = (1.0, 1.5, 2.0)  # of strength over what is asked for: what a choice is offered in


@dataclass(frozen=True)
class Task:
    """What is looked for. tolerance: of the ratio, as a share; counts: of stages; warm_c: about
    the plastic in each but the last mesh, and in the last, on the motor's shaft; margin: how many
    times what is asked for widths and modules are chosen to bear."""

    ratio: float
    tolerance: float
    counts: tuple[int, ...]
    given: Given
    loads: Loads
    warm_c: tuple[float, float]
    margin: float = 1.0


@dataclass(frozen=True)
class Found:
    """rows: of the table of stages, [train, stage]; teeth: [train, stage, driver or driven];
    modules_mm, widths_mm: [train, stage]; safety: the least of
    all meshes over what is asked for (1: just enough); length_mm: of all centre
    distances and the outer wheels in a row; loss: by sliding teeth; plastic_cm3 of the wheels;
    hunting: share of the meshes."""

    rows: Whole
    teeth: Whole
    modules_mm: Floats
    widths_mm: Floats
    ratio: Floats
    safety: Floats
    length_mm: Floats
    loss: Floats
    plastic_cm3: Floats
    hunting: Floats

    def only(self, keep: NDArray[np.intp] | NDArray[np.bool_]) -> Found:
        return Found(*(getattr(self, name)[keep] for name in self.__dataclass_fields__))


def search(task: Task) -> tuple[list[tuple[float, Found]], int]:
    """For each number of stages, and each margin of strength where it can be had, what is worth a
    closer look, best first; and how many combinations there were.

    Where nothing bears the load the strongest are given, once.
    """
    every = stages(task.given.pressure_rad)
    found: list[tuple[float, Found]] = []
    count = 0
    for number in task.counts:
        choice = combinations(every, task, number)
        count += len(choice[0])
        if not len(choice[0]):
            continue
        plain = _best(_sized(every, task, choice))
        found.append((1.0, plain))
        sound = plain.only(plain.safety >= 1 - 1e-9)
        for margin in MARGINS[1:]:
            if not len(sound.ratio):
                break
            asked = replace(task, margin=margin)
            sound = _best(_sized(every, asked, list(sound.rows.T)))
            sound = sound.only(sound.safety >= margin - 1e-9)
            if len(sound.ratio):
                found.append((margin, sound))
    return found, count


def combinations(every: Stages, task: Task, number: int) -> list[Whole]:
    """Rows of `every` for each stage, all near the ratio, handle side first."""
    logs = np.log(every.ratio)
    low, high = (log(task.ratio * (1 + sign * task.tolerance)) for sign in (-1, 1))
    order = np.argsort(logs, kind="stable")
    ranked = logs[order]
    if number == 1:
        first, last = np.searchsorted(ranked, [low, high + 1e-12])
        return [order[first:last]]
    if number == 2:
        return list(_closing(order, ranked, np.arange(len(logs)), low, high))
    few = _few(every)
    pairs = [side.ravel() for side in np.meshgrid(few, few, indexing="ij")]
    before = logs[pairs[0]] + logs[pairs[1]]
    few_order = few[np.argsort(logs[few], kind="stable")]
    which, last = _closing(few_order, logs[few_order], np.arange(len(before)), low, high, before)
    return [pairs[0][which], pairs[1][which], last]


def _closing(order: Whole, ranked: Floats, rows: Whole, low: float, high: float,
             before: Floats | None = None) -> tuple[Whole, Whole]:
    """Each of `rows` with every single stage that brings it between low and high."""
    if before is None:
        before = np.empty_like(ranked)
        before[order] = ranked
    first = np.searchsorted(ranked, low - before - 1e-12)
    last = np.searchsorted(ranked, high - before + 1e-12)
    count = last - first
    if count.sum() > MOST:  # an even part of each, so that none is preferred
        count = np.minimum(count, max(1, MOST // len(rows)))
    which = np.repeat(rows, count)
    offset = np.arange(len(which)) - np.repeat(np.cumsum(count) - count, count)
    return which, order[np.repeat(first, count) + offset]


def _few(every: Stages) -> Whole:
    """Small stages of evenly spread ratios."""
    logs = np.log(every.ratio)
    place = np.floor(logs / (logs.max() + 1e-9) * FEW).astype(np.int64)
    cost = every.driver + every.driven - 5 * every.hunting
    order = np.lexsort((cost, place))
    first = np.concatenate([[True], place[order][1:] != place[order][:-1]])
    return order[first]


def _sized(every: Stages, task: Task, choice: Sequence[Whole]) -> Found:
    """Module and width of each stage, and the figures of the whole."""
    given = task.given
    size, number = len(choice[0]), len(choice)
    chosen = [every.only(rows) for rows in choice]
    before = [np.ones(size)]
    for stage in chosen:
        before.append(before[-1] * stage.ratio)
    modules, widths = np.zeros((size, number)), np.zeros((size, number))
    safety, loss, plastic = np.full(size, np.inf), np.ones(size), np.zeros(size)
    # from the motors on: a wheel has to pass the axle of the one before it
    apart = np.full(size, given.can_mm / 2 + HEAD_MM)
    for at in reversed(range(number)):
        stage, last = chosen[at], at == number - 1
        module, width, factor = _module(stage, task, before[at], apart, last=last)
        apart = stage.driver_tip * module + given.axle_mm / 2 + CLEAR_MM
        modules[:, at], widths[:, at] = module, width
        safety = np.minimum(safety, factor)
        loss = loss * (1 - given.material.friction.value * stage.sliding)
        plastic += wheel_cm3(stage.driver_tip * module, module, width)
        plastic += wheel_cm3(stage.driven_tip * module, module, width) * (
            given.motors if last else 1)
    keep, length = _room(every, given, choice, modules)
    found = Found(
        rows=np.stack(choice, axis=1),
        teeth=np.stack([np.stack([every.driver[r], every.driven[r]], axis=1) for r in choice],
                       axis=1),
        modules_mm=modules, widths_mm=widths, ratio=before[-1], safety=safety, length_mm=length,
        loss=1 - loss, plastic_cm3=plastic,
        hunting=np.mean([every.hunting[r] for r in choice], axis=0))
    return found.only(keep)


def _module(stage: Stages, task: Task, before: Floats, apart_mm: Floats, *,
            last: bool) -> tuple[Floats, Floats, Floats]:
    """The smallest module that leaves room and whose broadest face bears the loads (else the one
    that bears most; 0 where none leaves room), the width it needs, and how many times what is
    asked for it then bears. before: ratio up to the driver; apart_mm: the axes at least; last: the
    driven wheel is a motor's, else it stands on the next one."""
    given, loads, plastic = task.given, task.loads, task.given.material
    warm_c, share = task.warm_c[last], 1 / given.motors if last else 1.0
    thinnest = (given.shaft_mm if last else given.axle_mm) / 2 + LEAST_WALL_MM
    running, turns = loads.running_nm / before * share, loads.pace_tpm * RPM * before
    lost = running * turns * plastic.friction.value * stage.sliding
    layers = layers_mpa(plastic, warm_c)
    size = len(stage.ratio)
    module, width, factor = np.zeros(size), np.zeros(size), np.full(size, -1.0)
    open_ = np.ones(size, dtype=bool)
    for m in MODULES_MM if given.module_mm is None else (given.module_mm,):
        narrow, broad = LEAST_WIDTH * m, min(MOST_WIDTH * m, BROADEST_MM)
        if given.width_mm is not None:
            narrow = broad = given.width_mm
        radius = stage.centre * m * stage.driver / (stage.driver + stage.driven) / 1000
        form = thinned(stage.form, np.full(size, given.backlash_mm(m) / m))
        warms = warming_k(lost, np.minimum(stage.driver_tip, stage.driven_tip) * m, narrow,
                          turns * radius)
        strength = np.maximum(plastic.tensile_mpa.value * _heat_shares(plastic, warm_c + warms),
                              1e-3)
        overload = np.maximum(loads.blocked_nm, loads.short_nm * lewis.barth(
            loads.short_tpm * RPM * before * radius)) / before
        # N of force over strength: width times module that a tooth has to have
        needs = np.maximum(overload * OVERLOAD_SAFETY,
                           running * lewis.barth(turns * radius) * REPEATED * RUNNING_SAFETY
                           ) / radius / (strength * m * form)
        takes = np.ceil(np.clip(needs * task.margin, narrow, broad) * 2 - 1e-9) / 2
        bears = takes / needs
        if not last:
            outer = 2 * stage.driven_root * m
            hollow = np.minimum((given.axle_mm + 1) / np.maximum(outer, 1e-3), 0.999)
            shear = 16e3 * loads.overload_nm / before / stage.ratio / (
                np.pi * outer**3 * (1 - hollow**4))
            bears = np.minimum(bears, layers / (shear * OVERLOAD_SAFETY))
        fits = 2 * np.maximum(stage.driver_tip, stage.driven_tip) * m <= given.bed_mm - 4
        fits &= (stage.centre * m >= apart_mm) & (stage.driven_root * m >= thinnest)
        if last:
            fits &= motors_fit(stage.centre * m, given.motors, given.can_mm)
        enough = bears >= task.margin - 1e-9
        better = open_ & fits & (enough | (bears > factor))
        module[better], width[better], factor[better] = m, takes[better], bears[better]
        open_ &= ~(fits & enough)
    return module, width, factor


def _heat_shares(plastic: Material, at_c: Floats) -> Floats:
    """`materials.heat_share` of many temperatures."""
    soft = plastic.softens_c.value
    return np.clip((soft - at_c) / (soft - WARM_C), 0.0, 1.0)


def _room(every: Stages, given: Given, choice: Sequence[Whole],
          modules: Floats) -> tuple[NDArray[np.bool_], Floats]:
    """Which trains go together, and their length in a row."""
    keep: NDArray[np.bool_] = np.asarray((modules > 0).all(axis=1))
    centres = [every.centre[r] * modules[:, n] for n, r in enumerate(choice)]
    first = every.driver_tip[choice[0]] * modules[:, 0]
    if given.reverted and len(choice) == 2:
        # what shifts can make up
        keep &= np.abs(centres[0] - centres[1]) <= 0.4 * modules[:, 1]
    length = first + sum(centres) + given.can_mm / 2
    return keep, length


def motors_fit(centre_mm: Floats, motors: int, can_mm: float) -> NDArray[np.bool_]:
    """Whether so many cans stand round one wheel, a quarter of the way round left free.

    >>> motors_fit(np.array([45.0, 20.0]), 3, 36.0).tolist()
    [True, False]
    """
    if motors < 2:
        return np.ones(centre_mm.shape, dtype=bool)
    half = (can_mm + 2 * CLEAR_MM) / 2 / centre_mm
    step = 2 * np.arcsin(np.minimum(half, 1.0))
    return (half < 1) & (motors * step <= 0.75 * 2 * np.pi)


def _best(found: Found) -> Found:
    """Those to look at closely: strong enough first, then by a mean of all figures."""
    if not len(found.ratio):
        return found
    order = np.argsort(cost(found), kind="stable")[:KEPT]
    return found.only(order)


def cost(found: Found) -> Floats:
    """One figure of merit: length, loss and plastic count alike, each over the best there is;
    a mesh where the same teeth meet again and again a little, and every tooth that a pinion
    has less than EASY_TEETH, for those slide much and touch briefly; too little strength much."""
    def over(values: Floats) -> Floats:
        return values / max(float(values.min()), 1e-9)

    weak = np.maximum(0.0, 1 - found.safety)
    few = np.maximum(0, EASY_TEETH - found.teeth[:, :, 1]).sum(axis=1)
    return (over(found.length_mm) + over(found.plastic_cm3) + 0.5 * over(found.loss + 0.02)
            + 0.1 * (1 - found.hunting) + 0.04 * few + 20 * weak)
