"""An empty band is an answer: which two constraints clash, and what would part them.

Every remedy is the model run again with that change; nothing is a rule of thumb.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import ceil, log

import numpy as np
from numpy.typing import NDArray

from steadyturn.model import gears
from steadyturn.model.batch import bands
from steadyturn.model.clash import clash
from steadyturn.model.hazards import AFTER_A_FAULT, hazards
from steadyturn.model.remedy_changes import BUY, PRINT, Change, groups, whole_head
from steadyturn.rig.types import Rig, Stage

__all__ = ["Remedy", "clash", "remedies"]

Floats = NDArray[np.float64]

LEAST_TPM = 6.0  # a narrower band is no help
ENOUGH_TPM = 12.0  # a band a hand can keep without looking
WIDE_TPM = 25.0  # one of which guesses and a hot day leave something
CLAMP = 0.4  # what a clamp or cut asks for, on the scale of remedy_changes
BETTER_TPM = 6.0  # by so much two changes have to beat each of them alone
LOWEST_RATIO, HIGHEST_RATIO, RATIOS = 1.0, 100.0, 120
MESH_RATIO = 6.3  # most that one printed mesh makes, common practice, no source
MESH_EFFICIENCY = 0.85  # of each mesh more, as rig.types.Stage


@dataclass(frozen=True)
class Remedy:
    """change: in a maker's words; the band it gives [turns/min]; hazards: names of the
    ratings that would then be broken."""

    change: str
    low_tpm: float
    high_tpm: float
    hazards: tuple[str, ...]


@dataclass(frozen=True)
class _Tried:
    """A remedy and what it asks for; far: how far the ratio moves, as a logarithm."""

    remedy: Remedy
    cost: float
    far: float = 0.0

    @property
    def width(self) -> float:
        return self.remedy.high_tpm - self.remedy.low_tpm

    @property
    def safe(self) -> bool:
        return set(self.remedy.hazards) <= set(AFTER_A_FAULT)

    def cures(self, width_tpm: float) -> bool:
        """Whether no more need be looked for: also not a device that hardly charges."""
        return self.safe and self.width >= width_tpm and self.cost <= BUY + 0.5

    @property
    def rank(self) -> tuple[bool, int]:
        """Safe ones first, then wide ones."""
        return not self.safe, 0 if self.width >= WIDE_TPM else 1 if self.width >= ENOUGH_TPM else 2

    @property
    def order(self) -> tuple[bool, float, float]:
        """Those with room first, then by what they ask for; safe ones need no clamp or cut."""
        return (self.width < ENOUGH_TPM, self.cost + (0 if self.safe else CLAMP), -self.width)


def remedies(rig: Rig) -> tuple[Remedy, ...]:
    """What makes a band, the cheapest first (rewired, printed, bought), narrow bands last. One
    change at a time; where no single one is safe with a wide band, also those that do better
    together with another gear ratio, and at last other motors with another converter.

    >>> from steadyturn.rig.examples import example_path
    >>> from steadyturn.rig.file import read_rig
    >>> best = remedies(read_rig(example_path("toy-motor")))[0]
    >>> best.low_tpm < best.high_tpm
    True
    """
    ratios = _ratios(gears.ratio(rig.stages))
    found: list[_Tried] = []
    geared = _geared(Change("", PRINT, rig), ratios)
    if (ratio_alone := _nearest(geared)) is not None:
        found.append(ratio_alone)
    pairs: list[_Tried] = []
    for group in groups(rig):
        alone, together = [], []
        for change in group:
            tried = _geared(change, ratios)
            alone += [one for one in tried if one.far == 0]
            if (best := _nearest([one for one in tried if one.far])) is not None:
                together.append(best)
        single = _mildest(alone)
        if single is not None:
            found.append(single)
        pair = _mildest(together)
        if pair is not None and all(_beats(pair, one) for one in (single, ratio_alone)):
            pairs.append(pair)
    if not any(one.cures(WIDE_TPM) for one in found):
        found += pairs
    if not any(one.cures(ENOUGH_TPM) for one in found):
        whole = [_nearest(_geared(change, ratios)) for change in whole_head(rig)]
        if (best := _mildest([one for one in whole if one is not None])) is not None:
            found.append(best)
    return tuple(one.remedy for one in sorted(found, key=lambda one: one.order))


def _ratios(now: float) -> Floats:
    """Round ratios from LOWEST to HIGHEST_RATIO, and the present one."""
    even = np.geomspace(min(LOWEST_RATIO, now), max(HIGHEST_RATIO, now), RATIOS)
    return np.unique(np.concatenate([np.where(even < 10, even.round(1), even.round()), [now]]))


def _meshes(ratio: float) -> int:
    return max(1, ceil(log(max(ratio, 1.01)) / log(MESH_RATIO)))


def _geared(change: Change, ratios: Floats) -> list[_Tried]:
    """What the changed rig does at each of the ratios; far = 0: the present one. A train that
    needs a mesh more loses as much as a mesh does."""
    rig, now = change.rig, gears.ratio(change.rig.stages)
    have = sum(_meshes(gears.stage_ratio(stage)) for stage in rig.stages)
    more = np.array([max(0, _meshes(ratio) - have) if ratio != now else 0
                     for ratio in ratios.tolist()])
    efficiency = gears.efficiency(rig.stages) * MESH_EFFICIENCY**more
    many = bands(rig, {"train.ratio": ratios, "train.efficiency": efficiency}, target=False)
    tried = []
    for i in np.nonzero(many.high_tpm - many.low_tpm >= LEAST_TPM)[0].tolist():
        ratio = float(ratios[i])
        words = change.words
        if ratio != now:
            mesh = f" ({_count(int(more[i]))} more)" if more[i] else ""
            words = ", and ".join(part for part in (
                words, f"a gear ratio of {ratio:.3g} in place of {now:.3g}{mesh}") if part)
        turned = replace(rig, stages=(Stage(ratio=ratio, efficiency=float(efficiency[i])),))
        high = float(many.high_tpm[i])
        broken = tuple(h.name for h in hazards(turned, high))
        cost = change.cost if ratio == now or not change.words else max(change.cost, PRINT) + 0.5
        tried.append(_Tried(Remedy(words, float(many.low_tpm[i]), high, broken), cost,
                            abs(log(ratio / now))))
    return tried


def _count(meshes: int) -> str:
    return "a mesh" if meshes == 1 else f"{meshes} meshes"


def _nearest(tried: list[_Tried]) -> _Tried | None:
    """The ratio that moves least of those with a wide band, else the widest; safe ones first."""
    return min(tried, key=lambda one: (
        *one.rank, one.far if one.width >= WIDE_TPM else -one.width), default=None)


def _mildest(tried: list[_Tried]) -> _Tried | None:
    """The first of the best rank but for narrow ones, of which the widest."""
    return min(tried, key=lambda one: (*one.rank, 0 if one.width >= ENOUGH_TPM else -one.width),
               default=None)


def _beats(pair: _Tried, alone: _Tried | None) -> bool:
    """Whether two changes are worth it where one of them alone does something already."""
    if alone is None or pair.safe > alone.safe:
        return True
    return pair.safe == alone.safe and pair.width >= alone.width + BETTER_TPM
