"""First crossing of a function that starts below zero: one safeguarded Newton."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]
Function = Callable[[Floats], tuple[Floats, Floats]]


def first_root(function: Function, low: Floats, high: Floats, *, bracketed: bool = False,
               most: int = 100) -> tuple[Floats, Flags]:
    """Root of function(x) -> (value, slope) between low and high, elementwise, and
    whether there is one.

    value(low) is taken to be <= 0. Where the function is concave, Newton's steps
    from low never pass the first root, so that a slope <= 0 below zero proves
    that there is none (for a constant-power load: past the fold). Elsewhere an
    overshoot gives a bracket, and steps that leave it are halved. With
    `bracketed` value(high) >= 0 is known, and the root in between is found.

    >>> x, there = first_root(lambda x: (x * (4 - x) - 3, 4 - 2 * x), np.zeros(1), np.ones(1) * 9)
    >>> float(x[0]), bool(there[0])
    (1.0, True)
    """
    x = np.array(low, dtype=float)
    left, right = x.copy(), np.array(high, dtype=float)
    closed = np.full(x.shape, bracketed)
    none = np.zeros(x.shape, dtype=bool)
    for _ in range(most):
        value, slope = function(x)
        above = value >= 0
        right = np.where(above, x, right)
        closed |= above
        left = np.where(above, left, x)
        none |= ~closed & ((slope <= 0) | (x >= right))
        step = x - value / np.where(slope > 0, slope, 1.0)
        usable = (slope > 0) & (step >= left) & (step <= right)
        new = np.where(usable, step, np.where(closed, 0.5 * (left + right), right))
        new = np.where(none | (value == 0), x, new)
        moved = np.abs(new - x) > 1e-14 * np.abs(new) + 1e-18
        x = new
        if not moved.any():
            break
    return x, ~none
