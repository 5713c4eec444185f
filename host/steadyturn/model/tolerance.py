"""How sure a band is: the paces that work for a share of the builds. See tolerance.md."""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil, log2

import numpy as np
from numpy.typing import NDArray

from steadyturn.model.batch import bands
from steadyturn.model.batch_volts import bus_v_over
from steadyturn.model.tolerance_band import best_pace, share_over, widest
from steadyturn.model.tolerance_draw import SIGMAS, Varies, draw, values, varying
from steadyturn.model.tolerance_rank import first_order
from steadyturn.rig.types import Rig

Floats = NDArray[np.float64]

SEED = 20_250_101
SCRAMBLES = 8  # independent ones, whose differences tell the sampling error
TRIED = 5  # values of the ranking for which the band is drawn again, as if known
TRIED_BUILDS = 2048
FAN_BUILDS = 512
FAN_POINTS = 61
QUANTILES = (2.5, 25.0, 50.0, 75.0, 97.5)


@dataclass(frozen=True)
class Cost:
    """What one value's tolerance costs. low, high: its 95 % points, in the file's unit, like
    `value`. works_share, width_share, low_share, high_share: share of the variance of
    (whether a build works at all, the band's width, its low and its high edge) that it
    explains alone. wider_tpm: how much wider the sure band would be, and sure_gain by how
    much the best pace's share of working builds would rise, were the value known to be
    `value`; None where that was not tried."""

    key: str
    kind: str
    value: float
    low: float
    high: float
    unit: str
    works_share: float
    width_share: float
    low_share: float
    high_share: float
    wider_tpm: float | None
    sure_gain: float | None
    how: str


@dataclass(frozen=True)
class Fan:
    """Over pace_tpm: the share of builds that work there, and bus_v, the quantiles of the bus
    volts of those that run and regulate (one tuple for each of quantiles_percent; NaN where
    hardly a build does)."""

    pace_tpm: tuple[float, ...]
    works_share: tuple[float, ...]
    quantiles_percent: tuple[float, ...]
    bus_v: tuple[tuple[float, ...], ...]


@dataclass(frozen=True)
class Sure:
    """share: asked for; low_tpm, high_tpm: the widest paces between which at least that share
    of the builds work, each hot and cold, None where there are none; works_share: builds
    that have any band; best_tpm, best_share: the pace at which most work. Errors are one
    standard error of the sampling, NaN where it cannot be told."""

    share: float
    builds: int
    low_tpm: float | None
    high_tpm: float | None
    works_share: float
    best_tpm: float | None
    best_share: float
    low_error_tpm: float
    high_error_tpm: float
    works_error: float
    best_error: float
    ranking: tuple[Cost, ...]
    fan: Fan | None


def sure_band(rig: Rig, *, share: float = 0.95, builds: int = 8192, seed: int = SEED,
              deep: bool = True) -> Sure:
    """The sure band of `rig`. share: 0.5 to 0.999; builds: rounded up to SCRAMBLES times a
    power of two. deep: False leaves out the ranking and the fan. The same seed gives the
    same answer.

    Raises ValueError for a share or a number of builds out of range.

    >>> from steadyturn.rig.examples import example_path
    >>> from steadyturn.rig.file import read_rig
    >>> sure = sure_band(read_rig(example_path("toy-motor")), builds=512, deep=False)
    >>> sure.low_tpm, sure.best_share < 0.95
    (None, True)
    """
    if not 0.5 <= share <= 0.999:
        raise ValueError("share must be 0.5 to 0.999")
    if not SCRAMBLES <= builds <= 1 << 24:
        raise ValueError(f"builds must be {SCRAMBLES} to {1 << 24}")
    each = 1 << ceil(log2(max(builds / SCRAMBLES, 1)))
    vary = varying(rig)
    normal = _normal(len(vary), each, seed)
    found = bands(rig, values(vary, normal), target=False) if vary else bands(
        rig, {"air.hot_c": np.full(len(normal), rig.air.hot_c)}, target=False)
    low, high = found.low_tpm, found.high_tpm
    band = widest(low, high, share)
    best_tpm, best_share = best_pace(low, high)
    parts = [slice(i * each, (i + 1) * each) for i in range(SCRAMBLES)]
    edges = [widest(low[part], high[part], share) or (np.nan, np.nan) for part in parts]
    ranking: tuple[Cost, ...] = ()
    fan = None
    if deep:
        ranking = _ranking(rig, share, vary, normal, low, high)
        fan = _fan(rig, vary, normal, low, high, each)
    return Sure(
        share=share, builds=len(low),
        low_tpm=None if band is None else band[0], high_tpm=None if band is None else band[1],
        works_share=float(np.isfinite(low).mean()),
        best_tpm=best_tpm if best_share > 0 else None, best_share=best_share,
        low_error_tpm=_error([edge[0] for edge in edges]),
        high_error_tpm=_error([edge[1] for edge in edges]),
        works_error=_error([np.isfinite(low[part]).mean() for part in parts]),
        best_error=_error([share_over(low[part], high[part], np.array([best_tpm]))[0]
                           for part in parts]),
        ranking=ranking, fan=fan)


def _normal(dimensions: int, each: int, seed: int) -> Floats:
    """Standard normal numbers of all builds, one scrambling after the other."""
    seeds = np.random.SeedSequence(seed).generate_state(SCRAMBLES)
    return np.concatenate([draw(max(dimensions, 1), each, int(one)) for one in seeds])


def _error(parts: list[float]) -> float:
    """Standard error of the mean of independent estimates; NaN where one is missing."""
    if not np.isfinite(parts).all():
        return float("nan")
    return float(np.std(parts, ddof=1) / np.sqrt(len(parts)))


def _ranking(rig: Rig, share: float, vary: tuple[Varies, ...], normal: Floats, low: Floats,
             high: Floats) -> tuple[Cost, ...]:
    """All values, the one that costs most first: by the band's width, a build without a band
    having none; where no pace works for the share, by whether a build works. For the first
    few the band is drawn again, with that value known."""
    if not vary:
        return ()
    works = np.isfinite(low)
    width = np.where(works, high - low, 0.0)
    shares = [first_order(normal, works.astype(float)), first_order(normal, width),
              first_order(normal[works], low[works]), first_order(normal[works], high[works])]
    # every scrambling's first builds; the plain band of the same ones to compare with
    some = np.arange(len(normal)).reshape(SCRAMBLES, -1)[:, :TRIED_BUILDS // SCRAMBLES].ravel()
    plain = widest(low[some], high[some], share)
    most = best_pace(low[some], high[some])[1]
    by = shares[1] if widest(low, high, share) else shares[0] + 1e-6 * shares[1]
    order = np.argsort(-by, kind="stable")
    costs = []
    for place, i in enumerate(order.tolist()):
        one, wider, gain = vary[i], None, None
        if place < TRIED and by[i] > 0:
            known = bands(rig, values(vary, normal[some], frozenset({one.key})), target=False)
            band = widest(known.low_tpm, known.high_tpm, share)
            gain = best_pace(known.low_tpm, known.high_tpm)[1] - most
            if band is not None:
                wider = band[1] - band[0] - (plain[1] - plain[0] if plain else 0.0)
        ends = one.of(np.array([-SIGMAS, SIGMAS])) / one.spec.scale
        at_works, at_width, at_low, at_high = (float(rows[i]) for rows in shares)
        costs.append(Cost(
            one.key, one.kind, one.value / one.spec.scale, float(ends[0]), float(ends[1]),
            one.spec.unit, at_works, at_width, at_low, at_high, wider, gain, one.spec.how))
    return tuple(costs)


def _fan(rig: Rig, vary: tuple[Varies, ...], normal: Floats, low: Floats, high: Floats,
         each: int) -> Fan:
    some = np.isfinite(low)
    furthest = max(rig.arm.comfort_high_tpm, float(high[some].max()) if some.any() else 0.0)
    pace = np.linspace(0.0, 10 * np.ceil(1.2 * furthest / 10), FAN_POINTS)
    few = normal[:min(FAN_BUILDS, each)]
    volts = bus_v_over(rig, values(vary, few) if vary else {}, pace)
    known = np.isfinite(volts)
    bus_v = np.full((len(QUANTILES), len(pace)), np.nan)
    for i in np.nonzero(known.mean(axis=0) >= 0.05)[0]:
        bus_v[:, i] = np.percentile(volts[known[:, i], i], QUANTILES)
    return Fan(tuple(pace.tolist()), tuple(share_over(low, high, pace).tolist()), QUANTILES,
               tuple(tuple(row) for row in bus_v.tolist()))
