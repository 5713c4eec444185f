"""What is believed of the constants after the readings.

All constants act nearly straight on the readings but one: the current at which the brushes'
drop sets in. Below what was read it makes no difference, above it the brushes look like ohms, so
the best fit alone would hide half of what is possible. Hence the fit is done again with the knee
held at each of a row of values; each such fit gives a normal distribution of the others, and
they are mixed by how likely the readings are with that knee (Laplace's approximation, nested:
Rue, Martino, Chopin 2009, from memory).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from steadyturn.bench.fit import Fit, Problem
from steadyturn.bench.residuals import KNEE
from steadyturn.bench.rows import Rows

Floats = NDArray[np.float64]
KNEES = 11
REACH = 2.6  # sigmas of what is believed of the knee beforehand
HELD = 1e4  # weight that holds it


@dataclass(frozen=True)
class Belief:
    """Of the constants, in the order of `residuals`, SI. middle: median; low, high: 95 %;
    log_sigma, correlation: of the logs. weights: of the knees tried, which sum to 1."""

    middle: Floats
    low: Floats
    high: Floats
    log_sigma: Floats
    correlation: Floats
    weights: Floats


def believe(rows: Rows, fit: Fit) -> Belief:
    """The belief after a fit, from the rows it kept."""
    count = len(fit.constants)
    keep = (~np.isin(rows.reading, fit.out)).astype(float)
    problem = Problem(rows, fit.constants, fit.start)
    middle, sigma = problem.mean[KNEE], fit.constants[KNEE].sigma
    knees = middle + sigma * np.linspace(-REACH, REACH, KNEES)
    problem.prior = problem.prior.copy()
    problem.mean = problem.mean.copy()
    problem.prior[KNEE] = HELD
    found: dict[int, tuple[float, Floats, Floats]] = {}
    first = int(np.argmin(np.abs(knees - fit.center[KNEE])))
    for places in (range(first, KNEES), range(first - 1, -1, -1)):
        x = fit.center.copy() if places.start == first else found[first][1].copy()
        for place in places:
            problem.mean[KNEE] = x[KNEE] = knees[place]
            x, _ = problem.solve(x, keep, tail=False)
            far, own = problem.scaled(x)
            slopes = problem.slopes(x, own)
            curve = slopes.T @ (keep[:, None] * slopes) + np.diag(problem.prior**2)
            away = (x - problem.mean) * problem.prior
            likely = -0.5 * float(keep @ far**2 + away @ away) - float(keep @ np.log(own))
            others = np.delete(np.delete(curve, KNEE, 0), KNEE, 1)
            likely -= 0.5 * float(np.linalg.slogdet(others)[1])
            likely -= 0.5 * ((knees[place] - middle) / sigma) ** 2
            spread = np.asarray(np.linalg.inv(curve)[:count, :count], dtype=float)
            found[place] = likely, x.copy(), spread
    weights = np.exp([found[i][0] - max(f[0] for f in found.values()) for i in range(KNEES)])
    weights /= weights.sum()
    centers = np.array([found[i][1][:count] for i in range(KNEES)])
    spreads = np.array([found[i][2] for i in range(KNEES)])
    each = np.sqrt(np.array([np.diag(s) for s in spreads]))
    each[:, KNEE] = (knees[1] - knees[0]) / 2
    mean = weights @ centers
    away = centers - mean
    total = np.einsum("i,ijk->jk", weights, spreads) + (weights[:, None] * away).T @ away
    total[KNEE, KNEE] += float(weights @ each[:, KNEE] ** 2)
    ends = np.array([[_quantile(centers[:, j], each[:, j], weights, share)
                      for share in (0.025, 0.5, 0.975)] for j in range(count)])
    log_sigma = np.sqrt(np.diag(total))
    wide = fit.widened
    return Belief(np.exp(ends[:, 1]), np.exp(ends[:, 1] + (ends[:, 0] - ends[:, 1]) * wide),
                  np.exp(ends[:, 1] + (ends[:, 2] - ends[:, 1]) * wide), log_sigma * wide,
                  total / np.outer(log_sigma, log_sigma), weights)


def _quantile(centers: Floats, sigmas: Floats, weights: Floats, share: float) -> float:
    """Where a mixture of normal distributions has this share below it."""
    reach = 6 * float(sigmas.max())
    low, high = float(centers.min()) - reach, float(centers.max()) + reach
    rows = list(zip(centers.tolist(), sigmas.tolist(), weights.tolist(), strict=True))
    for _ in range(50):
        middle = (low + high) / 2
        below = sum(w * 0.5 * math.erfc((c - middle) / s / math.sqrt(2)) for c, s, w in rows)
        low, high = (middle, high) if below < share else (low, middle)
    return (low + high) / 2
