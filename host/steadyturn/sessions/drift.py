"""Does a constant of the machine change? Constant against drifting against stepped, with odds.

Mathematics alone; what it takes and why is on the page drift.md. A series of readings of the
logarithm of one constant, an outing each:

    y = level + walk + weather + offset of how it was read + change + scatter

`change` is nothing, or a straight line from some outing on, or a step at one. Each of these is a
linear model with normal priors, so that its probability of giving just these readings is known
in closed form, and with it the odds between them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import inf, log, sqrt

import numpy as np
from numpy.typing import NDArray

from steadyturn.sessions.normal import log_cumulative, mixed_quantile, truncated

Floats = NDArray[np.float64]

WINDOW = 40  # readings that are kept: older ones have been forgotten
WALK_SD = 0.001  # of the logarithm, each outing: what brushes and contacts wander; assumption
WEATHER_DAYS = 60.0  # of a season's weather: two thirds of it are forgotten; assumption
LEVEL_SD = 0.7  # where nothing is known before: within a factor of four
# What was known before may be of another motor, or was read wrongly, or was true once: so likely
# is that before the readings, and then the level is within a factor of two of it. Without that a
# figure that is wrong by many of its deviations is met half-way, because what is wrong in every
# reading alike takes up the rest. Assumptions, chosen with the ranges of drift.md.
OTHER, OTHER_SD = 0.7, 0.35
# scatter from outing to outing beyond what each reading tells of itself, and how likely before
# any is known; assumption
LEAST_SD = 0.02  # brushes and contacts repeat to a per cent or two (common practice, no source)
SCATTER = (0.003, 0.007, 0.012, 0.020, 0.040)
SCATTER_WEIGHT = (0.25, 0.20, 0.25, 0.25, 0.05)
# Before it is looked at, a machine that changes is as likely as one that does not, so that the
# odds are what the readings tell. Of one that changes: half wear from the start on, the others
# begin to at any outing of the window, or step (a plug, a solder joint). The other way round (a
# plug put right) is a fifth as likely. Assumptions, chosen with the error rates of drift.md.
WEARS_FROM_START, WEARS_FROM_HERE, STEPS_HERE = 0.5, 0.005, 0.003
SEEN_BEYOND = 3  # readings that a change is in, at least: two may be odd ones
OTHER_WAY = 0.2
SLOPE_SD = (0.004, 0.012)  # of the logarithm, an outing: 4 % and 13 % in ten
STEP_SD = 0.15
# A reading that is that far from the median of its neighbours counts for little: Hampel, JASA 69
# (1974) 383, with a median of five (from memory)
ODD, ODD_NEIGHBOURS, MAD = 4.0, 2, 1.4826
ODD_FLOOR = 0.008
LEAST_READINGS = 4
MOST_LOG = 600.0  # its power is a number still
TINY = 1e-300
MOST_ODDS = 1e9  # more is no surer


@dataclass(frozen=True, slots=True)
class Reading:
    """One outing's. at: which outing it is, counted; day: when, in days; log: of the constant,
    with sd, its own deviation. way: how it was read, common_sd: what is wrong in every reading
    of that way alike."""

    at: float
    day: float
    log: float
    sd: float
    way: str = ""
    common_sd: float = 0.0


@dataclass(frozen=True, slots=True)
class Trend:
    """What the readings tell. All of logarithms; now, low, high: the constant today, 95 %.

    odds_up, odds_down: that it has risen (fallen) against that it has not changed. change,
    change_sd: since it began; rate, rate_low, rate_high: each outing, where it does; began:
    index of the reading from which on, None where a change is no likelier than none.
    odds_other: by the readings alone, that what was known before is not of this machine, against
    that it is; None where nothing was. level, level_low, level_high: at each reading, 95 %.
    odd: which readings count for little.
    """

    now: float
    low: float
    high: float
    odds_up: float
    odds_down: float
    change: float
    change_sd: float
    rate: float
    rate_low: float
    rate_high: float
    began: int | None
    odds_other: float | None
    level: Floats
    level_low: Floats
    level_high: Floats
    odd: NDArray[np.bool_]


def trend(
    readings: Sequence[Reading], *, prior: tuple[float, float] | None = None,
    weather_sd: float = 0.0,
) -> Trend:
    """Of at least one reading, the oldest first; only the last WINDOW count.

    prior: the logarithm and its deviation as they were known before: of this machine or, by
    OTHER, not. weather_sd: what a season does to the reading. Source: drift.md.
    """
    data = _Data(readings[-WINDOW:], None if prior is None else prior[0], weather_sd)
    if prior is None:
        return _mixed(data, _all(data, LEVEL_SD, 1.0))
    holds = _all(data, prior[1], 1 - OTHER)
    return _mixed(data, holds, _all(data, max(OTHER_SD, prior[1]), OTHER))


class _Data:
    def __init__(self, readings: Sequence[Reading], centre: float | None,
                 weather_sd: float) -> None:
        self.y = np.array([r.log for r in readings])
        own = np.maximum([r.sd for r in readings], LEAST_SD)
        self.odd = odd_ones(self.y, own)
        self.at = np.array([r.at for r in readings])
        self.centre = centre if centre is not None else float(np.median(self.y))
        self.left = self.y - self.centre
        # an odd one tells what its neighbours leave open, not more
        self.noise = own**2 + np.where(self.odd, (self.left - np.median(self.left)) ** 2, 0.0)
        apart = np.minimum.outer(self.at, self.at) - self.at[0]
        self.walk = WALK_SD**2 * apart  # covariance of what wanders, as the level does
        days = np.array([r.day for r in readings])
        season = weather_sd**2 * np.exp(-np.abs(np.subtract.outer(days, days)) / WEATHER_DAYS)
        ways = np.array([r.way for r in readings])
        common = np.array([r.common_sd for r in readings])
        offset = np.equal.outer(ways, ways) * np.outer(common, common)
        self.rest = season + offset  # of what else moves the readings
        self.ramps, self.prior, self.spread, self.onset = self._changes()

    def _changes(self) -> tuple[Floats, Floats, Floats, NDArray[np.int64]]:
        """Shapes of a change (a column each), how likely each is, the deviation of its size, and
        with which reading it begins."""
        count = len(self.y)
        shapes, weights, sizes, onsets = [], [], [], []
        for first in range(count):
            before = self.at[first - 1] if first else self.at[0]
            # every outing since the last reading may have been the one
            passed = max(1.0, self.at[first] - before)
            line = np.maximum(0.0, self.at - before)
            begins = WEARS_FROM_HERE * passed if first else WEARS_FROM_START
            if first > count - SEEN_BEYOND:
                continue
            if line.any():
                for size in SLOPE_SD:
                    shapes.append(line)
                    weights.append(begins / len(SLOPE_SD))
                    sizes.append(size)
                    onsets.append(first)
            if first:
                shapes.append((np.arange(count) >= first).astype(float))
                weights.append(STEPS_HERE * passed)
                sizes.append(STEP_SD)
                onsets.append(first)
        shape = np.array(shapes).T if shapes else np.zeros((count, 0))
        return shape, np.array(weights), np.array(sizes), np.array(onsets, dtype=np.int64)


def odd_ones(y: Floats, own_sd: Floats) -> NDArray[np.bool_]:
    """Which readings stand apart from their neighbours: more than ODD deviations from the median
    of five. A step is not odd once most of five are beyond it."""
    count = len(y)
    if count < LEAST_READINGS:
        return np.zeros(count, bool)
    wide = 2 * ODD_NEIGHBOURS + 1
    begin = np.clip(np.arange(count) - ODD_NEIGHBOURS, 0, max(0, count - wide))
    middle = np.array([np.median(y[b : b + wide]) for b in begin])
    off = np.abs(y - middle)
    usual = max(MAD * float(np.median(off)), ODD_FLOOR)
    return np.asarray(off > ODD * np.hypot(usual, own_sd))


def _all(data: _Data, wide: float, weight: float) -> list[_Scatter]:
    """Every scatter, the level's deviation before being `wide`."""
    return [_Scatter(data, wide, sd, weight * share)
            for sd, share in zip(SCATTER, SCATTER_WEIGHT, strict=True)]


class _Scatter:
    """All hypotheses with one scatter: their log evidence and what they say."""

    def __init__(self, data: _Data, wide: float, sd: float, weight: float) -> None:
        asked = wide**2 + data.walk  # covariance of the level
        whole = asked + data.rest + np.diag(data.noise + sd**2)
        root = np.linalg.cholesky(whole)
        y = np.linalg.solve(root, data.left)
        seen = np.linalg.solve(root, asked)  # of the level, whitened
        shapes = np.linalg.solve(root, data.ramps)
        self.log_none = float(log(weight) - np.log(np.diag(root)).sum() - 0.5 * (y @ y))
        told = (shapes**2).sum(axis=0)
        self.precision = told + 1 / data.spread**2
        self.size = (y @ shapes) / self.precision
        self.size_sd = 1 / np.sqrt(self.precision)
        gain = 0.5 * self.size**2 * self.precision - 0.5 * np.log(
            self.precision * data.spread**2)
        z = self.size / self.size_sd
        base = self.log_none + gain + np.log(2 * data.prior)
        self.share = {1.0: log_cumulative(z), -1.0: log_cumulative(-z)}
        self.log_up = base + self.share[1.0]
        self.log_down = base + self.share[-1.0] + np.log(OTHER_WAY)
        self.level = seen.T @ y
        self.level_var = np.maximum(np.diag(asked) - (seen**2).sum(axis=0), 0.0)
        self.follows = data.ramps - seen.T @ shapes  # the level's answer to a change's size


def _mixed(data: _Data, *sides: Sequence[_Scatter]) -> Trend:
    """Of all hypotheses: those by which what was known before is of this machine, and those by
    which it is not; or of one side, where nothing was known."""
    top = max(part.log_none for side in sides for part in side)
    moved = _Moves(data)
    levels = [_level(data, side, top, moved) for side in sides]
    none, up, down = (sum(getattr(level, name) for level in levels)
                      for name in ("none", "up", "down"))
    whole = none + up + down
    weights = np.array([level.weight for level in levels]) / whole
    means = np.array([level.mean for level in levels])
    sds = np.array([level.sd for level in levels])
    low, high = (mixed_quantile(weights, means, sds, share) for share in (0.025, 0.975))
    mean = weights @ means
    other = None
    if len(levels) > 1:
        holds, denies = levels[0].weight / (1 - OTHER), levels[1].weight / OTHER
        other = denies / max(holds, denies / MOST_ODDS)
    change, change_sd, rate, rate_sd, began = moved.told(up=up >= down)
    if max(up, down) < none:
        began = None
    return Trend(
        float(mean[-1]) + data.centre, float(low[-1]) + data.centre,
        float(high[-1]) + data.centre, up / none, down / none, change, change_sd, rate,
        rate - 1.96 * rate_sd, rate + 1.96 * rate_sd, began, other, mean + data.centre,
        low + data.centre, high + data.centre, data.odd)


@dataclass(frozen=True, slots=True)
class _Level:
    """What one side says of the level at each reading, and how likely it is with no change and
    with one up or down (all to the same scale)."""

    none: float
    up: float
    down: float
    mean: Floats
    sd: Floats

    @property
    def weight(self) -> float:
        return self.none + self.up + self.down


def _level(data: _Data, side: Sequence[_Scatter], top: float, moved: _Moves) -> _Level:
    """moved: takes up the changes too."""
    none = ups = downs = 0.0
    mean, square = np.zeros(len(data.y)), np.zeros(len(data.y))
    for part in side:
        alone = float(np.exp(part.log_none - top))
        none += alone
        mean += alone * part.level
        square += alone * (part.level_var + part.level**2)
        for sign, log_share in ((1.0, part.log_up), (-1.0, part.log_down)):
            weights = np.exp(np.minimum(log_share - top, MOST_LOG))
            size, var = truncated(part.size, part.size_sd, sign, part.share[sign])
            level = part.level[:, None] + part.follows * size
            spread = part.level_var[:, None] + part.follows**2 * var
            mean += level @ weights
            square += (spread + level**2) @ weights
            moved.add(sign, weights, size, var)
            ups, downs = (ups + float(weights.sum()), downs) if sign > 0 else (
                ups, downs + float(weights.sum()))
    whole = max(none + ups + downs, TINY)
    mean = mean / whole
    return _Level(none, ups, downs, mean, np.sqrt(np.maximum(square / whole - mean**2, TINY)))


class _Moves:
    """Size, rate and begin of a change, weighed over all hypotheses of one direction."""

    def __init__(self, data: _Data) -> None:
        self.data = data
        self.end = data.ramps[-1] if data.ramps.size else np.zeros(0)
        # over the outings of the last ten, or those since it began
        ago = data.at[-1] - data.at
        at = int(np.argmax(ago <= 10.0))
        self.span = max(1.0, float(ago[at]))
        self.recent = (self.end - data.ramps[at]) / self.span if data.ramps.size else self.end
        self.sums = {True: np.zeros(5), False: np.zeros(5)}
        self.onsets = {True: np.zeros(len(data.y)), False: np.zeros(len(data.y))}

    def add(self, sign: float, weights: Floats, size: Floats, var: Floats) -> None:
        up = sign > 0
        change, rate = self.end * size, self.recent * size
        self.sums[up] += [
            weights.sum(), weights @ change, weights @ (self.end**2 * var + change**2),
            weights @ rate, weights @ (self.recent**2 * var + rate**2)]
        np.add.at(self.onsets[up], self.data.onset, weights)

    def told(self, *, up: bool) -> tuple[float, float, float, float, int | None]:
        whole, change, change2, rate, rate2 = self.sums[up]
        if not 0 < whole < inf:
            return 0.0, 0.0, 0.0, 0.0, None
        change, rate = change / whole, rate / whole
        change_sd = sqrt(max(change2 / whole - change**2, 0.0))
        rate_sd = sqrt(max(rate2 / whole - rate**2, 0.0))
        began = int(np.searchsorted(np.cumsum(self.onsets[up]), whole / 2))
        return change, change_sd, rate, rate_sd, min(began, len(self.data.y) - 1)
