"""The fit: constants from rows, robust against a few bad readings.

Gauss-Newton with Levenberg and Marquardt's damping in the logs of the constants (so none is
ever negative), the shared unknowns beside them, priors as rows of their own. It begins with the
weights of Student's t, under which a bad reading pulls little; then readings that stand too
far off are taken out one by one and may come back; the rest is fitted plainly. Where a reading
was taken out, it is tried from other beginnings too (`likes`). Intervals: from
the curvature at the end, made wider where the readings scatter more than their errors allow.

Source of the weights: Lange, Little, Taylor, Robust statistical modeling using the t
distribution, 1989, from memory. The widening is Birge's ratio.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from steadyturn.bench import likes
from steadyturn.bench.constants import Constant
from steadyturn.bench.residuals import KNEE, OHM, K, evaluate
from steadyturn.bench.rows import Rows

Floats = NDArray[np.float64]
TAIL = 4.0  # degrees of freedom of Student's t: usual choice, the paper above
FAR = 3.8  # sigmas at which a reading is taken out: by chance one in 7,000
MOST_OUT = 0.4  # of the readings: with more, none can be told to be the bad ones
FEW = 12  # readings up to which it begins again without each of them in turn
STEP = 1e-5  # of a log, for slopes
MOST_STEPS = 60
ENOUGH = 1e-3  # of chi-square: a step that gains less ends the search; 1 is one sigma
SURE = 1.959964  # sigmas of 95 %
MISFIT = 0.01  # the scatter is called too large where chance gives it more rarely than this


@dataclass(frozen=True)
class Fit:
    """center, covariance: of the logs of the constants, then of the shared unknowns. standing:
    each row's distance in sigmas of its own prediction without it.
    out: readings taken out. chi2, freedom: of the rows kept. widened: factor on every sigma, 1
    where the fit is good. start: logs that it began at."""

    constants: tuple[Constant, ...]
    center: Floats
    covariance: Floats
    standing: Floats
    left: Floats
    sigma: Floats
    slopes: Floats
    out: tuple[int, ...]
    chi2: float
    freedom: float
    widened: float
    settled: bool
    start: Floats

    def value(self, place: int) -> float:
        return float(np.exp(self.center[place]))

    def log_sigma(self, place: int) -> float:
        return float(np.sqrt(self.covariance[place, place])) * self.widened

    def interval(self, place: int) -> tuple[float, float]:
        """95 %, SI."""
        reach = SURE * self.log_sigma(place)
        return self.value(place) * math.exp(-reach), self.value(place) * math.exp(reach)


class Problem:
    """The rows with the priors; unknowns: logs of constants, then shared ones in sigmas."""

    def __init__(self, rows: Rows, constants: tuple[Constant, ...], start: Floats) -> None:
        self.rows = rows
        self.constants, self.count = constants, len(constants)
        self.mean = np.concatenate([start, np.zeros(len(rows.shared))])
        self.prior = np.concatenate([[1 / c.sigma for c in constants],
                                     np.ones(len(rows.shared))])

    def split(self, x: Floats) -> tuple[Floats, Floats]:
        logs = np.clip(x[..., : self.count], -60, 60)
        return np.exp(logs), x[..., self.count :] * self.rows.shared_sigma

    def scaled(self, x: Floats, sigma: Floats | None = None) -> tuple[Floats, Floats]:
        left, own = evaluate(self.rows, *self.split(x))
        own = own if sigma is None else sigma
        return left / own, own

    def slopes(self, x: Floats, sigma: Floats) -> Floats:
        moves = np.eye(len(x)) * STEP
        both = np.concatenate([x + moves, x - moves])
        left = evaluate(self.rows, *self.split(both))[0]
        above, below = left[: len(x)], left[len(x) :]
        return np.asarray(((above - below) / (2 * STEP * sigma)).T)

    def solve(self, x: Floats, keep: Floats, *, tail: bool) -> tuple[Floats, bool]:
        """x where the weighted squares are least. keep: 0 or 1 for each row."""
        damping = 1e-3
        for _ in range(MOST_STEPS):
            far, sigma = self.scaled(x)
            weight = keep * ((TAIL + 1) / (TAIL + far**2) if tail else 1.0)
            slopes = self.slopes(x, sigma)
            priors = (x - self.mean) * self.prior
            curve = slopes.T @ (weight[:, None] * slopes) + np.diag(self.prior**2)
            down = -(slopes.T @ (weight * far) + self.prior * priors)
            before = float(weight @ far**2 + priors @ priors)
            while True:
                move = np.linalg.solve(curve + damping * np.diag(np.diag(curve)), down)
                move = np.clip(move, -2, 2)
                there = x + move
                far_there = self.scaled(there, sigma)[0]
                own = (there - self.mean) * self.prior
                after = float(weight @ far_there**2 + own @ own)
                if after <= before or damping > 1e8:
                    break
                damping *= 6
            x, damping = there, max(damping / 6, 1e-9)
            if abs(before - after) < ENOUGH:
                return x, True
        return x, False


def fit(rows: Rows, constants: tuple[Constant, ...], *, robust: bool = True) -> Fit:
    """The constants that the rows tell, with what stands out. constants: in the order of
    `residuals`. robust=False keeps every reading at full weight."""
    start = _start(rows, constants)
    problem = Problem(rows, constants, start)
    keep = np.ones(rows.size)
    if robust:
        x, keep, settled = _robust(problem, rows)
    else:
        x, settled = problem.solve(problem.mean.copy(), keep, tail=False)
    standing, covariance, slopes = _standing(problem, x, keep)
    far, sigma = problem.scaled(x)
    kept = keep > 0
    chi2 = float(np.sum(far[kept] ** 2))
    used = np.einsum("ij,jk,ik->", slopes[kept], covariance, slopes[kept])
    freedom = float(max(kept.sum() - used, 0.0))
    bad = freedom > 1 and chance_of_more(chi2, freedom) < MISFIT
    return Fit(constants, x, covariance, standing, far * sigma, sigma, slopes,
               tuple(sorted(set(rows.reading[~kept].tolist()))), chi2, freedom,
               math.sqrt(chi2 / freedom) if bad else 1.0, settled, start)


def _robust(problem: Problem, rows: Rows) -> tuple[Floats, Floats, bool]:
    """Constants, weights of the readings, settled. Where something stands out, or what comes
    out is no motor, it begins again elsewhere; taken is a motor that leaves out fewest."""
    every = np.ones(rows.size)
    x = _from_knees(problem, problem.mean.copy(), every)
    keep = _whole(rows, (np.abs(problem.scaled(x)[0]) < 2 * FAR).astype(float))
    found = [_settle(problem, rows, x, keep)]
    best = _rank(problem, rows, found[0])
    odd = likes.odd(rows)
    out = set(rows.reading[found[0][1] == 0].tolist())
    if not best[0] and out == odd:
        return found[0]
    readings = sorted(set(rows.reading.tolist()))
    each = [{one} for one in readings] if (best[0] or out) and len(readings) <= FEW else []
    for without in [odd, *each]:
        keep = (~np.isin(rows.reading, list(without))).astype(float)
        if not keep.any():
            continue
        x = _from_knees(problem, problem.mean.copy(), keep)
        found.append(_settle(problem, rows, x, keep))
        rank = _rank(problem, rows, found[-1])
        if not rank[0] and rank[1] <= max(len(odd), 1):
            break  # a motor, and no more left out than stands out beside its like
    return min(found, key=lambda one: _rank(problem, rows, one))


def _rank(problem: Problem, rows: Rows, found: tuple[Floats, Floats, bool]) -> tuple[float, ...]:
    """Less is better: is it no motor, or lost most of like readings; how many are left out; how
    far the rest and what is believed stand off."""
    x, keep, _ = found
    out = set(rows.reading[keep == 0].tolist())
    wrong = bool(likes.doubts(rows, problem.constants, x, out)) or not likes.most_kept(rows, out)
    far = problem.scaled(x)[0]
    prior = (x - problem.mean) * problem.prior
    return float(wrong), len(out), float(keep @ far**2 + prior @ prior)


def _settle(problem: Problem, rows: Rows, x: Floats,
            keep: Floats) -> tuple[Floats, Floats, bool]:
    """From a beginning: readings leave and come back one by one until none stands out."""
    x, settled = problem.solve(x, keep, tail=False)
    readings = len(set(rows.reading.tolist()))
    for _ in range(2 * readings):
        standing = _standing(problem, x, keep)[0]
        change = _worst(rows, keep, standing, readings)
        if change is None:
            break
        keep = keep.copy()
        keep[rows.reading == change[0]] = change[1]
        x, settled = problem.solve(x, keep, tail=False)
    return x, keep, settled


def _from_knees(problem: Problem, x: Floats, keep: Floats) -> Floats:
    """The best of three beginnings: a small and a large brush knee lead to hollows of their
    own."""
    found = []
    for away in (0.0, -1.5, 1.5):
        begin = x.copy()
        begin[KNEE] += away / problem.prior[KNEE]
        at, _ = problem.solve(begin, keep, tail=True)
        far, sigma = problem.scaled(at)
        miss = (TAIL + 1) * float(np.log1p(far**2 / TAIL).sum()) + 2 * float(np.log(sigma).sum())
        found.append((miss + float(np.sum(((at - problem.mean) * problem.prior) ** 2)), at))
    return min(found, key=lambda pair: pair[0])[1]


def _start(rows: Rows, constants: tuple[Constant, ...]) -> Floats:
    """Logs to begin with: medians over the readings of k and R, the others as typical. These
    are also the priors' middle: harmless where the prior is wide, and k and R have no other."""
    start = np.array([c.start for c in constants])
    setup = rows.setup
    if start[OHM] <= 0:
        held = rows.held > 0
        ohms = []
        if held.any():
            ohms = list(np.abs(rows.volts[held] / rows.amps[held]))
        steps = rows.kind == "step"
        if steps.any():
            ohms += list(rows.volts[steps] / (rows.amps - rows.from_a)[steps]
                         * setup.parallel / setup.series)
        start[OHM] = float(np.median(ohms)) * 0.9 if ohms else 3.0
    if start[K] <= 0:
        turning = (rows.kind == "volts") & (rows.w > 0)
        free = (rows.kind == "run") & ~(rows.w > 0)
        per = np.abs(rows.volts[turning]) + np.abs(rows.amps[turning]) * (
            start[OHM] * setup.series / setup.parallel + rows.loop_ohm[turning])
        found = list(per / (rows.w[turning] * setup.series))
        stalls = rows.kind == "stall"
        found += list(np.abs(rows.torque[stalls] / rows.amps[stalls]))
        if not found and free.any():
            found = [0.02]  # a motor of hand size, engineering judgement
        start[K] = float(np.median(found)) if found else 0.02
    start[OHM] = max(start[OHM], 1e-3)
    start[K] = max(start[K], 1e-6)
    return np.log(start)


def _whole(rows: Rows, keep: Floats) -> Floats:
    """A reading is kept with all its rows or with none."""
    found = keep.copy()
    for reading in set(rows.reading[keep == 0].tolist()):
        found[rows.reading == reading] = 0
    return found


def _standing(problem: Problem, x: Floats, keep: Floats) -> tuple[Floats, Floats, Floats]:
    """Distances as in `Fit.standing`, the covariance [logs, SI of the shared in sigmas], and
    the slopes."""
    far, sigma = problem.scaled(x)
    slopes = problem.slopes(x, sigma)
    curve = slopes.T @ (keep[:, None] * slopes) + np.diag(problem.prior**2)
    covariance = np.linalg.inv(curve)
    lever = np.einsum("ij,jk,ik->i", slopes, covariance, slopes)
    own = np.where(keep > 0, np.maximum(1 - lever, 0.02), 1 + lever)
    return np.asarray(far / np.sqrt(own)), np.asarray(covariance, dtype=float), slopes


def _worst(rows: Rows, keep: Floats, standing: Floats, readings: int) -> tuple[int, float] | None:
    """The reading to take out or to take back, and its new weight."""
    by: dict[int, float] = {}
    for reading, far in zip(rows.reading.tolist(), np.abs(standing), strict=True):
        by[reading] = max(by.get(reading, 0.0), float(far))
    gone = set(rows.reading[keep == 0].tolist())
    back = [(far, r) for r, far in by.items() if r in gone and far < FAR * 0.9]
    if back:
        return min(back)[1], 1.0
    worst = [(far, r) for r, far in by.items() if r not in gone and far > FAR]
    if worst and len(gone) < MOST_OUT * readings:
        return max(worst)[1], 0.0
    return None


def chance_of_more(chi2: float, freedom: float) -> float:
    """How often chance gives at least so much; Wilson and Hilferty 1931, from memory.

    >>> round(chance_of_more(18.31, 10), 3)  # tables: 0.05
    0.05
    """
    third = (chi2 / freedom) ** (1 / 3)
    spread = 2 / (9 * freedom)
    z = (third - (1 - spread)) / math.sqrt(spread)
    return 0.5 * math.erfc(z / math.sqrt(2))

