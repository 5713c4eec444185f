"""The pace inside each build's band that costs the arm least per joule at the socket."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from steadyturn.model.batch_frame import Frame
from steadyturn.model.batch_look import coil_a, look
from steadyturn.model.effort import INSET

Floats = NDArray[np.float64]

MILD_C = 20.0
POINTS = 9
ROUNDS = 3


def in_v_at(frame: Frame, pace: Floats, low_v: Floats, high_v: Floats,
            rounds: int = 30) -> Floats:
    """Converter volts [V] of the stable state at `pace` (builds last), winding at 20 degC,
    between volts that enclose it: secant steps kept inside the bracket.

    >>> from steadyturn.rig.examples import example_path
    >>> from steadyturn.rig.file import read_rig
    >>> hut = read_rig(example_path("lakeside-hut"))
    >>> from steadyturn.model.batch import LIMIT_NAMES
    >>> from steadyturn.model.batch_frame import build, spread
    >>> two = build(spread(hut, {"motor.terminal_ohm": [1.34, 6.0]}), LIMIT_NAMES, 2)
    >>> in_v = np.array([9.0, 9.0])
    >>> pace = look(two, in_v, MILD_C, heated=False).pace
    >>> in_v_at(two, pace, in_v - 4.0, in_v + 3.0).round(6).tolist()
    [9.0, 9.0]
    """
    low = np.broadcast_to(low_v, pace.shape).astype(float)
    high = np.broadcast_to(high_v, pace.shape).astype(float)
    under = look(frame, low, MILD_C, heated=False).pace - pace
    over = look(frame, high, MILD_C, heated=False).pace - pace
    x = high
    for turn in range(rounds):
        new = high - (high - low) * over / np.where(over - under == 0, 1.0, over - under)
        outside = ~((new > low) & (new < high))
        new = np.where(outside, 0.5 * (low + high), new)
        moved = np.abs(new - x) > 1e-8 * high
        x = new
        if turn > 3 and not moved.any():
            break
        miss = look(frame, x, MILD_C, heated=False).pace - pace
        above = miss >= 0
        under = np.where(above, under * over / (over + miss), miss)
        over = np.where(above, miss, over * under / (under + miss))
        high, low = np.where(above, x, high), np.where(above, low, x)
    return x


def targets(frame: Frame, low_tpm: Floats, high_tpm: Floats, low_v: Floats,
            high_v: Floats, *, fine: bool) -> tuple[Floats, Floats, Floats, Floats]:
    """target_tpm, and there arm_w, out_w, bus_v (what the sensor reads), one a build. low_tpm,
    high_tpm: its band [turns/min]; low_v, high_v: volts at the converter that enclose it.

    >>> from steadyturn.rig.examples import example_path
    >>> from steadyturn.rig.file import read_rig
    >>> hut = read_rig(example_path("lakeside-hut"))
    >>> from steadyturn.model.batch import LIMIT_NAMES
    >>> from steadyturn.model.batch_frame import build, spread
    >>> one = build(spread(hut, {"motor.terminal_ohm": [1.34]}), LIMIT_NAMES, 1)
    >>> tpm, arm_w, out_w, bus_v = targets(one, *np.array([[50.0], [90.0], [3.3], [14.2]]),
    ...                                    fine=True)
    >>> float(tpm[0].round(1)), float(arm_w[0].round(2)), float(out_w[0].round(2))
    (69.3, 5.69, 2.53)
    """
    inset = INSET * (high_tpm - low_tpm)
    ends = np.stack([low_tpm + inset, high_tpm - inset])
    left, right = in_v_at(frame, ends, low_v, high_v, 30 if fine else 4)
    slow = left
    every, points = np.arange(len(low_tpm)), POINTS if fine else 5
    for _ in range(ROUNDS if fine else 1):
        fan = left + (right - left) * np.linspace(0.0, 1.0, points)[:, None]
        at = look(frame, fan, MILD_C, heated=False)
        row = np.argmin(at.arm_w, axis=0)
        left = fan[np.maximum(row - 1, 0), every]
        right = fan[np.minimum(row + 1, points - 1), every]
    # with nothing to deliver no pace is better than another: the slowest, as in `band`
    in_v = np.where(frame.out_w > 0, fan[row, every], slow)
    if frame.wish_tpm is not None:
        in_v = in_v_at(frame, np.clip(frame.wish_tpm, *ends), low_v, high_v, 30 if fine else 4)
    at = look(frame, in_v, MILD_C, heated=False)
    in_a = coil_a(frame, in_v)[0]
    out_w = np.array(np.broadcast_to(frame.out_w, low_tpm.shape))
    # the bus as the sensor reads it, before the switch
    return np.clip(at.pace, *ends), at.arm_w, out_w, in_v + frame.switch_ohm * in_a
