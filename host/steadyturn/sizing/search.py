"""The search: every motor, series, parallel, ratio and converter of a drawer.

Heads first (motors and converter), then each with every train, a piece at a time. What
works is kept in boxes of figures a maker cannot tell apart, the best of each, so that memory
does not grow with the work. At the end the model itself, the batch of bands, gives the
figures of what nothing beats.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from functools import lru_cache
from math import log
from typing import Any

import numpy as np
from numpy.typing import NDArray

from steadyturn.model.batch import LIMIT_NAMES, bands
from steadyturn.model.hazards import AFTER_A_FAULT
from steadyturn.rig.types import RPM, Rig
from steadyturn.sizing import pareto
from steadyturn.sizing.drawer import Build, Drawer, banks, rig_of
from steadyturn.sizing.heads import Heads, Names, head_values, heads, names
from steadyturn.sizing.judge import Judged, judge
from steadyturn.sizing.trains import Train, trains

Floats = NDArray[np.float64]
Whole = NDArray[np.int64]

PAIRS = 16_384  # of head and train looked at together: what stays in a processor's cache
KEPT = 4096  # so many more rows, and those that are beaten are dropped
# what is the same to a maker: arm power per watt in the boxes, ratio in the trade-off
ARM_STEP, RATIO_STEP = log(1.005), log(1.25)
MOST_BYTES = 48_000_000  # what a search holds at once, whatever its size; tested
_COLUMNS = ("group", "head", "train", "motors", "stages", "ratio", "low_tpm", "target_tpm",
            "high_tpm", "arm_w", "out_w", "danger", "unsafe")

Progress = Callable[[int, int, int], None]


@dataclass(frozen=True)
class Row:
    """One machine that works, by the batch model: paces [turns/min], arm_w and out_w [W] at
    the target, names of the ratings that an open circuit breaks."""

    build: Build
    motors: int
    ratio: float
    low_tpm: float
    target_tpm: float
    high_tpm: float
    arm_w: float
    out_w: float
    dangers: tuple[str, ...]

    @property
    def width(self) -> float:
        """Of the band, as a share of its middle."""
        return 2 * (self.high_tpm - self.low_tpm) / (self.high_tpm + self.low_tpm)

    @property
    def unsafe(self) -> bool:
        return any(name not in AFTER_A_FAULT for name in self.dangers)

    def costs(self) -> tuple[float, ...]:
        """What is traded: arm power per delivered watt, (less) width, motors, gear stages, and
        the ratio in steps of RATIO_STEP; differences that nobody notices rounded away."""
        return (round(self.arm_w / self.out_w, 3), -round(self.width, 3), float(self.motors),
                float(len(self.build.teeth)), float(_ratio_class(self.ratio)))


@dataclass(frozen=True)
class Found:
    """rows: what no other machine beats, safe ones first. candidates: how many there are;
    tried: how many were looked at (fewer where it was stopped); working: how many have a
    band. clashes: (low limit, high limit) -> machines that fail by these two."""

    rows: tuple[Row, ...]
    candidates: int
    tried: int
    working: int
    clashes: dict[tuple[str, str], int]

    @property
    def complete(self) -> bool:
        return self.tried == self.candidates


@dataclass
class _Best:
    """The rows kept so far, as columns."""

    columns: dict[str, NDArray[Any]] = field(default_factory=lambda: {
        name: np.zeros(0) for name in _COLUMNS})
    most: int = KEPT

    def add(self, new: dict[str, NDArray[Any]]) -> None:
        both = {name: np.concatenate([self.columns[name], new[name]]) for name in _COLUMNS}
        self._keep(both, pareto.best_of_boxes(_boxes(both), -_width(both)))
        if len(self.columns["arm_w"]) > self.most:
            self.drop_beaten()

    def drop_beaten(self) -> None:
        """A safe machine beats any, another only its like."""
        costs = np.column_stack([_costs(self.columns), self.columns["unsafe"]])
        self._keep(self.columns, np.nonzero(pareto.unbeaten(costs))[0])
        self.most = KEPT + len(self.columns["unsafe"])

    def _keep(self, columns: dict[str, NDArray[Any]], which: Whole) -> None:
        self.columns = {name: values[which] for name, values in columns.items()}


def _width(columns: dict[str, NDArray[Any]]) -> Floats:
    low, high = columns["low_tpm"], columns["high_tpm"]
    return np.asarray(2 * (high - low) / (high + low))


def _costs(columns: dict[str, NDArray[Any]]) -> Floats:
    return np.stack([columns["arm_w"] / columns["out_w"], -_width(columns), columns["motors"],
                     columns["stages"], _ratio_class(columns["ratio"])], axis=1)


def _ratio_class(ratio: Any) -> Any:
    return np.floor(np.log(ratio) / RATIO_STEP + 1e-9)


def _boxes(columns: dict[str, NDArray[Any]]) -> Whole:
    paid = np.log(columns["arm_w"] / columns["out_w"]) / ARM_STEP
    arm = np.clip(np.floor(paid), 0, 9999).astype(np.int64)
    motors, stages, unsafe = (columns[name].astype(np.int64)
                              for name in ("motors", "stages", "unsafe"))
    gear = _ratio_class(columns["ratio"]).astype(np.int64)
    return (((motors * 10 + stages) * 100 + gear) * 2 + unsafe) * 10_000 + arm


def count(drawer: Drawer, made: list[Train]) -> int:
    """Machines of a drawer with these trains."""
    converters = sum(1 for converter in drawer.converters if converter.count)
    return converters * len(made) * sum(len(banks(drawer, motor)) for motor in drawer.motors)


def trains_for(drawer: Drawer) -> list[Train]:
    """All trains that some motor of the drawer could use."""
    limits, arm = drawer.limits, drawer.parts["arm"]
    fastest = max((item.part.max_rad_s for item in drawer.motors if item.count), default=0.0)
    return _trains(limits.min_teeth, limits.max_teeth, limits.max_stages, limits.max_stage_ratio,
                   fastest / (arm.comfort_low_tpm * RPM))


@lru_cache(maxsize=64)
def _trains(least: int, most: int, stages: int, ratio: float, highest: float) -> list[Train]:
    return trains(range(least, most + 1), stages, ratio, highest)


def search(drawer: Drawer, progress: Progress | None = None) -> Found:
    """What no other machine of the drawer beats. progress(tried, candidates, working) is
    called as it goes on. KeyboardInterrupt ends it early with the best so far."""
    made = trains_for(drawer)
    total = count(drawer, made)
    tally = np.zeros(len(LIMIT_NAMES) ** 2, dtype=np.int64)
    best, tried, working = _Best(), 0, 0
    groups: list[Names] = []
    try:
        for group, which, judged in _pieces(drawer, made):
            if len(groups) == group.number:
                groups.append(names(group.heads))
            pairs = len(judged.works)
            clash = judged.low_name * len(LIMIT_NAMES) + judged.high_name
            tally += np.bincount(clash[~judged.works], minlength=len(tally))
            if judged.works.any():
                best.add(_working(group, which, judged, made))
            working += int(judged.works.sum())
            tried += pairs
            if progress is not None:
                progress(tried, total, working)
    except KeyboardInterrupt:
        pass
    best.drop_beaten()
    rows = _exact(drawer, groups, made, best.columns)
    n = len(LIMIT_NAMES)
    order = sorted(np.nonzero(tally)[0].tolist(), key=lambda i: (-tally[i], i))
    return Found(rows, total, tried, working,
                 {(LIMIT_NAMES[i // n], LIMIT_NAMES[i % n]): int(tally[i]) for i in order})


@dataclass(frozen=True)
class _Group:
    number: int
    heads: Heads


def _pieces(drawer: Drawer, made: list[Train]) -> Iterator[tuple[_Group, slice, Judged]]:
    """Each piece of the work: its group of heads, which heads of it, and the bands."""
    if not made:
        return
    ratio = np.array([train.ratio for train in made])
    stages = np.array([len(train.teeth) for train in made])
    efficiency = drawer.stage.efficiency ** stages
    step = max(1, PAIRS // len(made))
    for number, group in enumerate(heads(drawer)):
        rig = _any_rig(drawer, group)
        for start in range(0, len(group), step):
            which = slice(start, min(start + step, len(group)))
            yield _Group(number, group), which, judge(group, which, ratio, efficiency, rig,
                                                drawer.limits.min_width)


def _any_rig(drawer: Drawer, group: Heads | Names) -> Rig:
    return rig_of(drawer, Build(int(group.motor[0]), int(group.converter[0]), 1, 1, ((12, 12),)))


def _working(group: _Group, which: slice, judged: Judged,
             made: list[Train]) -> dict[str, NDArray[Any]]:
    """Columns of the pairs that work."""
    heads_ = group.heads
    pair = np.nonzero(judged.works)[0]
    head = which.start + pair // len(made)
    train = pair % len(made)
    fault = [1 << bit for bit, name in enumerate(heads_.ratings) if name in AFTER_A_FAULT]
    danger = judged.danger[pair]
    return {
        "group": np.full(len(pair), group.number), "head": head, "train": train,
        "motors": heads_.series[head] * heads_.parallel[head],
        "stages": np.array([len(t.teeth) for t in made])[train],
        "ratio": np.array([t.ratio for t in made])[train],
        "low_tpm": judged.low_tpm[pair], "target_tpm": judged.target_tpm[pair],
        "high_tpm": judged.high_tpm[pair], "arm_w": judged.arm_w[pair],
        "out_w": heads_.out_w[head], "danger": danger,
        "unsafe": (danger & ~np.int64(sum(fault))) > 0,
    }


def _exact(drawer: Drawer, groups: list[Names], made: list[Train],
           columns: dict[str, NDArray[Any]]) -> tuple[Row, ...]:
    """The rows with the model's own figures; those that are then beaten, or have no band, are
    left out."""
    rows: list[Row] = []
    for index, group in enumerate(groups):
        here = np.nonzero(columns["group"] == index)[0]
        if not here.size:
            continue
        head = columns["head"][here].astype(np.int64)
        train = columns["train"][here].astype(np.int64)
        motor, series, parallel = (part[head].astype(np.int64) for part in (
            group.motor, group.series, group.parallel))
        values = head_values(drawer, motor, series, parallel)
        values["train.ratio"] = columns["ratio"][here]
        values["train.efficiency"] = drawer.stage.efficiency ** columns["stages"][here]
        found = bands(_any_rig(drawer, group), values)
        for k, h in enumerate(head.tolist()):
            if not np.isfinite(found.target_tpm[k]):
                continue
            danger = int(columns["danger"][here[k]])
            build = Build(int(group.motor[h]), int(group.converter[h]), int(group.series[h]),
                          int(group.parallel[h]), made[train[k]].teeth)
            rows.append(Row(
                build, build.series * build.parallel, made[train[k]].ratio,
                float(found.low_tpm[k]), float(found.target_tpm[k]), float(found.high_tpm[k]),
                float(found.arm_w[k]), float(found.out_w[k]),
                tuple(n for bit, n in enumerate(group.ratings) if danger >> bit & 1)))
    return in_order([row for row in rows if row.width >= drawer.limits.min_width])


def in_order(rows: list[Row]) -> tuple[Row, ...]:
    """Those that nothing beats (a safe one beats any, another only its like), safe ones
    first, then by what the arm gives for a watt."""
    if not rows:
        return ()
    fit = pareto.unbeaten(np.array([(*row.costs(), float(row.unsafe)) for row in rows]))
    kept = [row for row, keeps in zip(rows, fit.tolist(), strict=True) if keeps]
    return tuple(sorted(kept, key=lambda row: (row.unsafe, *row.costs(), row.ratio,
                                               row.build.motor, row.build.converter)))
