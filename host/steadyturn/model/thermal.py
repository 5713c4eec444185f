"""Steady temperatures of winding and mount; equations in thermal.md."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from steadyturn.model.accounts import Points, points
from steadyturn.model.pair import Pair
from steadyturn.rig.types import Rig

Floats = NDArray[np.float64]

HOTTEST_C = 400.0  # where a runaway is cut off; every limit is far below


def rise_k(rig: Rig, at: Points) -> tuple[Floats, Floats]:
    """Steady rise over the air of one motor's winding and of its case [K]."""
    motors = rig.bank.series * rig.bank.parallel
    wound = at.losses_w["winding"] / motors
    rest = (at.losses_w["brush"] + at.losses_w["motor_friction"]) / motors
    case = (wound + rest) * rig.motor.case_air_k_w
    return case + wound * rig.motor.winding_case_k_w, case


def settled_c(rig: Rig, pace: Floats, air_c: float, *, rounds: int = 4) -> tuple[Floats, Floats]:
    """Winding and case [degC] after cranking at each pace for hours, load connected.

    pace: 1-D [turns/min]. The winding's heat raises its own resistance, so the
    state is sought by repetition. Where nothing runs both are the air's.
    """
    winding, case = np.full(pace.shape, air_c), np.full(pace.shape, air_c)
    for _ in range(rounds):
        at = points(Pair(rig, pace, winding), running=True, connected=True, shape=pace.shape)
        hot, warm = rise_k(rig, at)
        winding = air_c + np.minimum(np.nan_to_num(hot), HOTTEST_C)
        case = air_c + np.minimum(np.nan_to_num(warm), HOTTEST_C)
    return winding, case
