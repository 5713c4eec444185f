"""What single changes do to a machine, within what is not known of it. See single.md.

The same draws serve the machine as it is and as it would be: what a change leaves alone is the
same in both, so that a doubt which both share does not blur the difference.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from math import ceil, log, log2

import numpy as np
from numpy.typing import NDArray

from steadyturn.model import gears
from steadyturn.model.batch import Bands, bands
from steadyturn.model.hazards import AFTER_A_FAULT, hazards
from steadyturn.model.tolerance_band import widest
from steadyturn.model.tolerance_draw import Varies, draw, values, varying
from steadyturn.rig.types import Rig, Stage
from steadyturn.sizing import trains
from steadyturn.sizing.drawer import Limits

Floats = NDArray[np.float64]

BUILDS = 512  # odds are then known to about 2 of 100
SEED = 20_250_601
SHARE = 0.95  # of builds that the sure band works for
WIDER_TPM = 6.0  # as model.remedies
NOTICED = 0.01  # a smaller change of the effort nobody notices; it is neither help nor harm
REACH = 2.5  # other ratios are sought within so many times the present one
REACH_NO_BAND = 8.0  # and where it has no band
TRIED = 40  # trains looked at for hazards
EVEN = 0.005  # efforts that differ by less are one: then fewer stages


@dataclass(frozen=True)
class Weighed:
    """One machine among the draws. works_share: of builds with a band; sure_low_tpm,
    sure_high_tpm: of the band that works for SHARE of them, None: none; arm_w_per_w: 2.5 %,
    median, 97.5 % of those that work (NaN: none). Against the machine as it is: ratio, of the
    efforts where both work, likewise; helps_share, harms_share: of all builds; wider_share: of
    all, those whose band gets wider by WIDER_TPM."""

    works_share: float
    sure_low_tpm: float | None
    sure_high_tpm: float | None
    arm_w_per_w: tuple[float, float, float]
    ratio: tuple[float, float, float]
    helps_share: float
    harms_share: float
    wider_share: float


def weigh(now: Rig, others: Sequence[tuple[Rig, tuple[str, ...]]],
          progress: Callable[[int, int], None] | None = None, *,
          builds: int = BUILDS) -> list[Weighed]:
    """The machine as it is, then each other one. others: rigs, each with the sections whose
    part is another specimen. builds: rounded up to a power of two; the same ones every time."""
    rigs = [(now, ()), *others]
    vary = [varying(rig) for rig, _ in rigs]
    names = [[_name(one, number, other) for one in each]
             for number, ((_, other), each) in enumerate(zip(rigs, vary, strict=True))]
    places = {name: i for i, name in enumerate(dict.fromkeys(n for each in names for n in each))}
    normal = draw(max(len(places), 1), 1 << ceil(log2(builds)), SEED)
    found: list[Weighed] = []
    base: Bands | None = None
    for done, ((rig, _), each, named) in enumerate(zip(rigs, vary, names, strict=True)):
        if progress is not None:
            progress(done, len(rigs))
        drawn = values(each, normal[:, [places[name] for name in named]]) if each else {
            "air.hot_c": np.full(len(normal), rig.air.hot_c)}
        made = bands(rig, drawn)
        base = base or made
        found.append(_against(base, made))
    return found


def _name(one: Varies, number: int, other: tuple[str, ...]) -> str:
    """What is not the same part is drawn anew."""
    section = one.key.partition(".")[0]
    return f"{one.key} {number}" if section in other else one.key


def _against(base: Bands, made: Bands) -> Weighed:
    worked, works = np.isfinite(base.low_tpm), np.isfinite(made.low_tpm)
    effort = made.arm_w / made.out_w
    ratio = effort / (base.arm_w / base.out_w)
    both = worked & works
    helps = (works & ~worked) | (both & (ratio < 1 - NOTICED))
    harms = (worked & ~works) | (both & (ratio > 1 + NOTICED))
    sure = widest(made.low_tpm, made.high_tpm, SHARE)
    return Weighed(float(works.mean()), sure[0] if sure else None, sure[1] if sure else None,
                   _points(effort[works]), _points(ratio[both]), float(helps.mean()),
                   float(harms.mean()), float((_width(made) >= _width(base) + WIDER_TPM).mean()))


def _width(of: Bands) -> Floats:
    return np.nan_to_num(of.high_tpm - of.low_tpm)


def _points(sample: Floats) -> tuple[float, float, float]:
    if not sample.size:
        return float("nan"), float("nan"), float("nan")
    low, middle, high = np.percentile(sample, (2.5, 50, 97.5)).tolist()
    return low, middle, high


def other_trains(rig: Rig, limits: Limits) -> list[tuple[tuple[int, int], ...]]:
    """Trains that can be made: the one that asks least of the arm and, where it is another, the
    one with the widest band; none that breaks a rating which holds now, and none of the ratio it
    has. Teeth of each stage, handle side first."""
    now = gears.ratio(rig.stages)
    limits = _with_own(limits, rig)
    at_all = bands(rig, {"train.ratio": [now]}, target=False)
    works = bool(np.isfinite(at_all.low_tpm[0]))
    reach = REACH if works else REACH_NO_BAND
    made = [t for t in trains.trains(
        range(limits.min_teeth, limits.max_teeth + 1), limits.max_stages,
        limits.max_stage_ratio, reach * now) if t.ratio >= now / reach
        and abs(t.ratio / now - 1) > trains.SPACING]
    if not made:
        return []
    each = gears.efficiency(rig.stages) ** (1 / max(len(rig.stages), 1))
    stages = np.array([len(t.teeth) for t in made])
    found = bands(rig, {"train.ratio": np.array([t.ratio for t in made]),
                        "train.efficiency": each**stages})
    width = 2 * (found.high_tpm - found.low_tpm) / (found.high_tpm + found.low_tpm)
    effort = found.arm_w / found.out_w
    good = np.nonzero(width >= limits.min_width)[0]
    if not good.size:
        good = np.nonzero(np.isfinite(width))[0]
    before = {h.name for h in hazards(rig, float(at_all.high_tpm[0]) if works else None)}
    orders = (sorted(good.tolist(), key=lambda i: (round(log(effort[i]) / EVEN), stages[i],
                                                   abs(np.log(made[i].ratio / now)))),
              sorted(good.tolist(), key=lambda i: (-round(float(width[i]), 2), stages[i],
                                                   effort[i])))
    chosen: list[int] = []
    for order in orders:
        safe = (i for i in order[:TRIED]
                if _safe(rig, made[i].teeth, each, float(found.high_tpm[i]), before))
        best = next(safe, None)
        if best is not None and best not in chosen:
            chosen.append(best)
    return [made[i].teeth for i in chosen]


def _with_own(limits: Limits, rig: Rig) -> Limits:
    """What could be made once can be made again."""
    wheels = [w for s in rig.stages for w in (s.driver_teeth, s.driven_teeth) if w]
    return replace(
        limits, min_teeth=min([limits.min_teeth, *wheels]),
        max_teeth=max([limits.max_teeth, *wheels]),
        max_stages=max(limits.max_stages, len(rig.stages)),
        max_stage_ratio=max([limits.max_stage_ratio, *map(gears.stage_ratio, rig.stages)]))


def _safe(rig: Rig, teeth: tuple[tuple[int, int], ...], each: float, high_tpm: float,
          before: set[str]) -> bool:
    turned = replace(rig, stages=tuple(
        Stage(driver_teeth=driver, driven_teeth=driven, efficiency=each)
        for driver, driven in teeth))
    return {h.name for h in hazards(turned, high_tpm)} - set(AFTER_A_FAULT) <= before
