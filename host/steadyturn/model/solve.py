"""First crossing of a function that starts below zero: Newton from a near start, and a
safeguarded one from the left for what that does not settle."""

from __future__ import annotations

from collections.abc import Callable
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]
Function = Callable[[Floats], tuple[Floats, Floats]]
State = TypeVar("State")

NEAR = 1e-8  # a last step of this share of x leaves an error of its square


def first_root(function: Function, low: Floats, high: Floats, *, bracketed: bool = False,
               close: float = 1e-18, most: int = 100) -> tuple[Floats, Flags]:
    """Root of function(x) -> (value, slope) between low and high, elementwise, and
    whether there is one.

    value(low) is taken to be <= 0. Where the function is concave, Newton's steps
    from low never pass the first root, so that a slope <= 0 below zero proves
    that there is none (for a constant-power load: past the fold). Elsewhere an
    overshoot gives a bracket, and steps that leave it are halved. With
    `bracketed` value(high) >= 0 is known, and the root in between is found. Steps end at 1e-14
    of x or at `close`, in x's unit.

    >>> x, there = first_root(lambda x: (x * (4 - x) - 3, 4 - 2 * x), np.zeros(1), np.ones(1) * 9)
    >>> float(x[0]), bool(there[0])
    (1.0, True)
    """
    x = np.array(low, dtype=float)
    left, right = x.copy(), np.array(high, dtype=float)
    closed = np.full(x.shape, bracketed)
    none = np.zeros(x.shape, dtype=bool)
    for turn in range(most):
        value, slope = function(x)
        above = value >= 0
        right = np.where(above, x, right)
        closed |= above
        left = np.where(above, left, x)
        none |= ~closed & ((slope <= 0) | (x >= right))
        step = x - value / np.where(slope > 0, slope, 1.0)
        usable = (slope > 0) & (step >= left) & (step <= right)
        new = np.where(usable, step, np.where(closed, 0.5 * (left + right), right))
        if turn % 3 == 2 and turn > 6:  # across a kink steps may go to and fro for ever
            far = closed & (np.abs(new - x) > NEAR * np.abs(x))
            new = np.where(far, 0.5 * (left + right), new)
        new = np.where(none | (value == 0), x, new)
        moved = np.abs(new - x) > 1e-14 * np.abs(new) + close
        x = new
        if not moved.any():
            break
    return x, ~none


def near_root(function: Callable[[Floats], tuple[Floats, Floats, State]], start: Floats, *,
              most: int = 8) -> tuple[Floats, Flags, State, Floats]:
    """Newton's steps from a start near the root, elementwise, all points in step.

    function(x) -> (value, slope, state), finite for any finite x. Returns x, whether a root was
    reached there with a slope above zero all the way, the state one step before x, and that
    step. What is not settled needs `first_root`.

    >>> def power(x):
    ...     return x * (4 - x) - 3, 4 - 2 * x, x
    >>> x, settled, before, step = near_root(power, np.array([0.9, 2.5]))
    >>> round(float(x[0]), 12), settled.tolist()
    (1.0, [True, False])
    """
    x, lost = start, np.zeros(start.shape, dtype=bool)
    for _ in range(most):
        value, slope, state = function(x)
        falls = slope <= 0
        if falls.any():
            lost |= falls
            slope = np.where(falls, np.inf, slope)
        step = value / slope
        done = np.abs(step) <= NEAR * x + 1e-18
        x = x - step
        if (done | lost).all():
            break
        below = x < 0
        if below.any():
            lost |= below
            x = np.where(below, 0.0, x)
    return x, done & ~lost & (x >= 0), state, step
