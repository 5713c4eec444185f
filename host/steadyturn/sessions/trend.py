"""How a power drifts while it lasts, with the range that its own scatter allows."""

from __future__ import annotations

from math import sqrt

import numpy as np
from numpy.typing import NDArray

from steadyturn.sessions.estimates import Estimate

Floats = NDArray[np.float64]

BLOCK_S = 10.0  # longer than a turn and than the phone's own steps
LEAST_BLOCKS = 12  # two minutes: below that a trend is mostly noise
# Student's t for 95 % at 4, 6, 8, 10, 15, 20, 30 degrees of freedom (any table of it)
_T = ((4, 2.776), (6, 2.447), (8, 2.306), (10, 2.228), (15, 2.131), (20, 2.086), (30, 2.042))


def power_trend(watts: Floats, sample_s: float) -> Estimate | None:
    """By how much the power changes in ten minutes, % of its mean; None where it lasts too
    short. watts: one a sample, of connected time joined.

    A straight line through means over BLOCK_S; its deviation is widened where neighbouring
    means resemble each other (lag-1 autocorrelation r: fewer free ones by (1 - r) / (1 + r);
    Bayley & Hammersley 1946, from memory).
    """
    size = round(BLOCK_S / sample_s)
    count = len(watts) // size
    if count < LEAST_BLOCKS:
        return None
    means = watts[: count * size].reshape(count, size).mean(axis=1)
    level = float(means.mean())
    if level <= 0:
        return None
    t = (np.arange(count) - (count - 1) / 2) * BLOCK_S
    squares = float(t @ t)
    slope = float(t @ (means - level)) / squares
    left = means - level - slope * t
    if float(left @ left) > 0:
        r = max(0.0, float(left[1:] @ left[:-1]) / float(left @ left))
    else:
        r = 0.0
    free = max(4.0, count * (1 - r) / (1 + r) - 2)
    off = sqrt(float(left @ left) / free / squares)
    reach = float(np.interp(free, [n for n, _ in _T], [v for _, v in _T])) * off
    scale = 600 / level * 100
    return Estimate("power_trend", slope * scale, (slope - reach) * scale,
                    (slope + reach) * scale, "% in 10 min", "measured")
