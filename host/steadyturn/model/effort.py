"""What a joule at the device costs the arm, over pace; see arm.md."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from steadyturn.model.point import operate
from steadyturn.rig.types import Rig

Floats = NDArray[np.float64]

INSET = 0.15  # of the band's width: how far the cheapest pace is kept from both edges


def effort(rig: Rig, pace_tpm: ArrayLike) -> Floats:
    """Joules of the arm for each joule at the device's socket, shaped like pace_tpm
    [turns/min]; NaN where the device gets nothing. Converter running, winding at 20 degC.

    >>> from steadyturn.rig.examples import example_path
    >>> from steadyturn.rig.file import read_rig
    >>> slow, target, fast = effort(read_rig(example_path("lakeside-hut")), [10, 59, 90])
    >>> bool(np.isnan(slow)), bool(1 < target < fast)
    (True, True)
    """
    at = operate(rig, pace_tpm)
    gets = at.out_w > 0  # not where it is NaN: no steady state
    return np.where(gets, at.arm_w, np.nan) / np.where(gets, at.out_w, 1.0)
