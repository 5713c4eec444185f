"""The normal distribution's tails, without overflow."""

from __future__ import annotations

from math import erf, erfc, log, pi, sqrt

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

FAR = -6.0  # from here on the tail's first terms are exact to 0.1 %


def log_cumulative(z: Floats) -> Floats:
    """Logarithm of the normal distribution's share below z. Far down by the first terms of
    Abramowitz & Stegun 26.2.12.

    >>> [round(float(x), 3) for x in log_cumulative(np.array([-40.0, -1.0, 0.0, 8.0]))]
    [-804.608, -1.841, -0.693, -0.0]
    """
    near = np.maximum(z, FAR)
    inside = np.array([log(0.5 * erfc(-x / sqrt(2))) for x in near.tolist()])
    far = np.minimum(z, FAR)
    tail = -0.5 * far**2 - np.log(-far * sqrt(2 * pi)) + np.log1p(-1 / far**2 + 3 / far**4)
    return np.where(z < FAR, tail, inside)


def truncated(mean: Floats, sd: Floats, sign: float,
              log_share: Floats | None = None) -> tuple[Floats, Floats]:
    """Mean and variance of a normal quantity of which only the side of `sign` is possible.
    log_share: log_cumulative(sign * mean / sd) where it is known. Source: Johnson, Kotz &
    Balakrishnan, *Continuous Univariate Distributions 1*, 13.10 (from memory).

    >>> [float(x[0].round(4)) for x in truncated(np.zeros(1), np.ones(1), -1.0)]
    [-0.7979, 0.3634]
    """
    z = sign * mean / sd
    if log_share is None:
        log_share = log_cumulative(z)
    ratio = np.exp(-0.5 * z**2 - 0.5 * log(2 * pi) - log_share)
    share = np.maximum(1 - ratio * (ratio + z), 0.0)
    return sign * (sign * mean + sd * ratio), sd**2 * share


def mixed_quantile(weights: Floats, means: Floats, sds: Floats, share: float) -> Floats:
    """Below which value that share of a mixture of normal quantities lies. weights: of each, in
    sum 1; means, sds: a row each, a column for every mixture asked for. To 1e-9 of a deviation.

    >>> two = np.array([[0.0, 0.0], [0.0, 4.0]])
    >>> mixed_quantile(np.array([0.5, 0.5]), two, np.ones((2, 2)), 0.975).round(2).tolist()
    [1.96, 5.64]
    """
    low, high = (means - 40 * sds).min(axis=0), (means + 40 * sds).max(axis=0)
    for _ in range(45):
        middle = (low + high) / 2
        z = (middle - means) / sds / sqrt(2)
        below = weights @ np.array([[0.5 + 0.5 * erf(x) for x in row] for row in z.tolist()])
        low, high = np.where(below < share, middle, low), np.where(below < share, high, middle)
    return np.asarray((low + high) / 2)
