"""What is believed of the constants after the readings.

All constants act nearly straight on the readings but two: the current at which the brushes' drop
sets in - below what was read it makes no difference, above it the brushes look like ohms - and
the drag, which may be next to nothing beside the rest of the friction. The best fit alone would
hide half of what is possible. Hence the fit is done again with that constant held at each of a
row of values; each such fit gives a normal distribution of the others, and they are mixed by how
likely the readings are with it (Laplace's approximation, nested: Rue, Martino, Chopin 2009, from
memory). The drag's row serves drag and no-load current, the knee's row all others.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from steadyturn.bench.fit import Fit, Problem
from steadyturn.bench.residuals import DRAG, IDLE, KNEE
from steadyturn.bench.rows import Rows

Floats = NDArray[np.float64]
POINTS = 11
REACH = 2.6  # sigmas of what is believed of the held constant beforehand
AWAY = (6.0, 4.0)  # at most so many of its sigmas below and above the fit
HELD = 1e4  # weight that holds it
FINE = 401  # places between which a held constant's density is read
FARTHEST = 300.0  # of a log: an end of an interval stays a number
FRICTION = (IDLE, DRAG)


@dataclass(frozen=True)
class Belief:
    """Of the constants, in the order of `residuals`, SI. middle: median; low, high: 95 %;
    log_sigma, correlation: of the logs."""

    middle: Floats
    low: Floats
    high: Floats
    log_sigma: Floats
    correlation: Floats


@dataclass(frozen=True)
class _Row:
    """Fits with one constant held: at, of which the log; likely: of each, up to a constant;
    centers, spreads: of the logs of all constants."""

    place: int
    at: Floats
    likely: Floats
    centers: Floats
    spreads: Floats

    @property
    def weights(self) -> Floats:
        share = np.exp(self.likely - self.likely.max())
        return np.asarray(share / share.sum())

    def ends(self, place: int) -> list[float]:
        """2.5 %, middle and 97.5 % of the log of a constant."""
        shares = (0.025, 0.5, 0.975)
        if place == self.place:
            fine = np.linspace(self.at[0], self.at[-1], FINE)
            density = np.exp(np.interp(fine, self.at, self.likely) - self.likely.max())
            summed = np.cumsum(density) - density / 2
            return [float(v) for v in np.interp(shares, summed / density.sum(), fine)]
        sigma = np.sqrt(self.spreads[:, place, place])
        return [quantile(self.centers[:, place], sigma, self.weights, s) for s in shares]

    def covariance(self) -> Floats:
        share = self.weights
        away = self.centers - share @ self.centers
        return np.asarray(np.einsum("i,ijk->jk", share, self.spreads)
                          + (share[:, None] * away).T @ away)


def believe(rows: Rows, fit: Fit) -> Belief:
    """The belief after a fit, from the rows it kept."""
    knees, drags = (_held(rows, fit, place) for place in (KNEE, DRAG))
    count = len(fit.constants)
    ends = np.array([(drags if j in FRICTION else knees).ends(j) for j in range(count)])
    total = knees.covariance()
    total[np.ix_(FRICTION, FRICTION)] = drags.covariance()[np.ix_(FRICTION, FRICTION)]
    log_sigma = np.sqrt(np.diag(total))
    middle, wide = ends[:, 1], fit.widened
    low, high = (np.clip(middle + (ends[:, side] - middle) * wide, -FARTHEST, FARTHEST)
                 for side in (0, 2))
    return Belief(np.exp(middle), np.exp(low), np.exp(high), log_sigma * wide,
                  np.clip(total / np.outer(log_sigma, log_sigma), -1, 1))


def _held(rows: Rows, fit: Fit, place: int) -> _Row:
    """The fits with the constant at `place` held."""
    count = len(fit.constants)
    keep = (~np.isin(rows.reading, fit.out)).astype(float)
    problem = Problem(rows, fit.constants, fit.start)
    middle, sigma = problem.mean[place], fit.constants[place].sigma
    own = float(np.sqrt(fit.covariance[place, place]))
    center = float(fit.center[place])
    low = max(min(middle - REACH * sigma, center - REACH * own), center - AWAY[0] * own)
    high = min(max(middle + REACH * sigma, center + REACH * own), center + AWAY[1] * own)
    at = np.linspace(low, high, POINTS)
    problem.prior, problem.mean = problem.prior.copy(), problem.mean.copy()
    problem.prior[place] = HELD
    found: dict[int, tuple[float, Floats, Floats]] = {}
    first = int(np.argmin(np.abs(at - fit.center[place])))
    for places in (range(first, POINTS), range(first - 1, -1, -1)):
        x = fit.center.copy() if places.start == first else found[first][1].copy()
        for i in places:
            problem.mean[place] = x[place] = at[i]
            x, _ = problem.solve(x, keep, tail=False)
            far, errors = problem.scaled(x)
            slopes = problem.slopes(x, errors)
            curve = slopes.T @ (keep[:, None] * slopes) + np.diag(problem.prior**2)
            away = (x - problem.mean) * problem.prior
            likely = -0.5 * float(keep @ far**2 + away @ away) - float(keep @ np.log(errors))
            others = np.delete(np.delete(curve, place, 0), place, 1)
            likely -= 0.5 * float(np.linalg.slogdet(others)[1])
            likely -= 0.5 * ((at[i] - middle) / sigma) ** 2
            spread = np.asarray(np.linalg.inv(curve)[:count, :count], dtype=float)
            found[i] = likely, x.copy(), spread
    return _Row(place, at, np.array([found[i][0] for i in range(POINTS)]),
                np.array([found[i][1][:count] for i in range(POINTS)]),
                np.array([found[i][2] for i in range(POINTS)]))


def quantile(centers: Floats, sigmas: Floats, weights: Floats, share: float) -> float:
    """Where a mixture of normal distributions has this share below it."""
    reach = 6 * float(sigmas.max())
    low, high = float(centers.min()) - reach, float(centers.max()) + reach
    rows = list(zip(centers.tolist(), sigmas.tolist(), weights.tolist(), strict=True))
    for _ in range(50):
        middle = (low + high) / 2
        below = sum(w * 0.5 * math.erfc((c - middle) / s / math.sqrt(2)) for c, s, w in rows)
        low, high = (middle, high) if below < share else (low, middle)
    return (low + high) / 2
