"""The operating point: what a rig does at each pace. Equations in point.md."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from steadyturn.model.accounts import LOSSES, Gathered, Points, points
from steadyturn.model.pair import Pair
from steadyturn.rig.types import Rig

__all__ = ["LOSSES", "Points", "operate"]

CHUNK = 8192  # points solved at once: what stays in a processor's cache


def operate(rig: Rig, pace_tpm: ArrayLike, *, running: bool = True,
            winding_c: ArrayLike | None = None, connected: bool = True) -> Points:
    """Operating points of `rig` at pace_tpm [turns/min], finite, >= 0, of any shape.

    running: where two states exist at one pace (between the converter's stop and
    start thresholds), True takes that of a converter which runs already, False the
    one reached from rest. winding_c: winding temperature [degC], a number or an
    array like pace_tpm; None is 20. connected: False releases the load switch.

    The stable upper root is taken; where there is none the regime is `collapse`.
    arm_w = out_w + sum(losses_w) holds to rounding. Raises ValueError for a pace
    that is negative or not finite.

    >>> from steadyturn.rig.examples import example_path
    >>> from steadyturn.rig.file import read_rig
    >>> hut = read_rig(example_path("lakeside-hut"))
    >>> at = operate(hut, [10, 70])
    >>> at.regime.tolist()
    ['idle', 'regulating']
    >>> abs(float((at.arm_w - at.out_w - sum(at.losses_w.values())).max())) < 1e-12
    True
    """
    pace = np.asarray(pace_tpm, dtype=float)
    if not (np.isfinite(pace) & (pace >= 0)).all():
        raise ValueError("pace_tpm must be finite and not negative")
    warm = np.asarray(20.0 if winding_c is None else winding_c, dtype=float)
    flat = pace.ravel()
    heat = warm.reshape(1) if warm.size == 1 else np.broadcast_to(warm, pace.shape).ravel()
    whole = Gathered(flat.size)
    for start in range(0, max(flat.size, 1), CHUNK):
        some = slice(start, start + CHUNK)
        pair = Pair(rig, flat[some], heat if heat.size == 1 else heat[some],
                    connected=connected)
        whole.put(start, points(pair, running=running, connected=connected))
    return whole.points(pace.shape)
