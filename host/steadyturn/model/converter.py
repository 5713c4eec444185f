"""Losses, kinds and usable window of the converter; equations in converter.md."""

from __future__ import annotations

from functools import lru_cache
from itertools import combinations

import numpy as np

from steadyturn.rig.types import Converter

COIL = {"boost": "in", "buck": "out", "buck_boost": "larger", "linear": "linear"}


def coil(kind: str) -> str:
    """Which current the losses follow: "in", "out", "larger" or "linear".

    >>> coil("boost")
    'in'
    """
    return COIL[kind]


@lru_cache(maxsize=4096)
def loss_constants(converter: Converter) -> tuple[float, float, float]:
    """(loss_w [W], loss_v [V], loss_ohm [ohm]): as given, or fitted to `points`.

    The fit is of least relative error with no constant below zero. A linear
    regulator has only the first: its headroom is no constant.
    """
    linear = converter.kind == "linear"
    if not converter.points:
        constants = (converter.loss_w, converter.loss_v, converter.loss_ohm)
        return (constants[0], 0.0, 0.0) if linear else constants
    amps, lost = [], []
    for point in converter.points:
        out_w = converter.out_v * point.out_a
        in_a = out_w / point.efficiency / point.in_v
        by_kind = {"in": in_a, "out": point.out_a, "larger": max(in_a, point.out_a),
                   "linear": 0.0}
        amps.append(by_kind[coil(converter.kind)])
        loss = out_w * (1 / point.efficiency - 1)
        if linear:
            loss -= (point.in_v - converter.out_v) * point.out_a
        lost.append(max(loss, 1e-6))
    current, loss_w = np.array(amps), np.array(lost)
    columns = np.stack([np.ones_like(current), current, current**2], axis=1) / loss_w[:, None]
    best: tuple[float, tuple[float, float, float]] = (np.inf, (0.0, 0.0, 0.0))
    free = (0,) if linear else (0, 1, 2)
    for size in range(1, min(len(free), len(lost)) + 1):
        for chosen in combinations(free, size):
            found, *_ = np.linalg.lstsq(columns[:, chosen], np.ones(len(lost)), rcond=None)
            miss = float(np.sum((columns[:, chosen] @ found - 1) ** 2))
            if (found >= 0).all() and miss < best[0] - 1e-12:
                full = [0.0, 0.0, 0.0]
                for column, value in zip(chosen, found, strict=True):
                    full[column] = float(value)
                best = (miss, (full[0], full[1], full[2]))
    return best[1]


def passes_when_off(converter: Converter) -> bool:
    """True when a disabled converter still passes its input: a plain boost.

    >>> plain = Converter(kind="boost", out_v=5, start_v=3, stop_v=2, max_in_v=6)
    >>> parted = Converter(kind="boost", out_v=5, start_v=3, stop_v=2, max_in_v=6, isolates=True)
    >>> passes_when_off(plain), passes_when_off(parted)
    (True, False)
    """
    return converter.kind == "boost" and not converter.isolates


def window_v(converter: Converter) -> tuple[float, float]:
    """Usable input of the converter (low, high) [V], under load.

    Low: it keeps running, and a buck or linear regulator holds its output. High:
    its maximum input, and for a boost its set point, above which it cannot hold
    the output down.

    >>> window_v(Converter(kind="buck", out_v=5, start_v=7, stop_v=5, max_in_v=24, headroom_v=1))
    (6, 24)
    """
    low, high = converter.stop_v, converter.max_in_v
    if converter.kind in ("buck", "linear"):
        low = max(low, converter.out_v + converter.headroom_v)
    if converter.kind == "boost":
        high = min(high, converter.out_v)
    return low, high
