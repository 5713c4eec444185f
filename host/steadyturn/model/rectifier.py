"""Diodes between bank and bus; equations in rectifier.md."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from steadyturn.rig.types import Rectifier

DIODES = {"none": 0, "schottky": 1, "bridge": 2}


def drop_v(rectifier: Rectifier, diode_a: ArrayLike) -> NDArray[np.float64]:
    """Drop [V] of all diodes in the path at diode_a [A]: nothing at no current.

    >>> round(float(drop_v(Rectifier(kind="bridge", drop_v=0.35), 1.0)), 3)
    0.7
    >>> float(drop_v(Rectifier(), 0.0))
    0.0
    """
    amps = np.asarray(diode_a, dtype=float)
    return DIODES[rectifier.kind] * rectifier.drop_v * np.tanh(amps / rectifier.knee_a)
