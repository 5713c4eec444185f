"""Steady temperatures of winding and mount; equations in thermal.md."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from steadyturn.model import motor
from steadyturn.model.pair import Pair
from steadyturn.rig.types import Rig

Floats = NDArray[np.float64]

HOTTEST_C = 400.0  # where a runaway is cut off; every limit is far below
SETTLED_K = 1e-3  # a repetition that moves less than this ends


def rise_k(rig: Rig, pair: Pair) -> tuple[Floats, Floats]:
    """Steady rise over the air of one motor's winding and of its case [K], running.

    >>> from steadyturn.rig.examples import example_path
    >>> from steadyturn.rig.file import read_rig
    >>> hut = read_rig(example_path("lakeside-hut"))
    >>> winding, case = rise_k(hut, Pair(hut, np.array([70.0]), np.array([20.0])))
    >>> bool(winding[0] > case[0] > 0)
    True
    """
    assert pair.found is not None
    amps = np.where(pair.found.there, pair.found.x, np.nan)
    wound = amps**2 * pair.line.ohm / rig.bank.series
    rest = amps * motor.brush_v(rig.motor, amps)
    rest = rest + motor.friction_nm(rig.motor, pair.motor_rad_s) * pair.motor_rad_s
    case = (wound + rest) * rig.motor.case_air_k_w
    return case + wound * rig.motor.winding_case_k_w, case


def settled_c(rig: Rig, pace: Floats, air_c: float, *, rounds: int = 30) -> tuple[Floats, Floats]:
    """Winding and case [degC] after cranking at each pace for hours, load connected.

    pace: 1-D [turns/min]. The winding's heat raises its own resistance, so the state
    is sought by repetition, from cool upwards, with secant steps (the heat grows ever
    faster with temperature, so that they never pass the answer), until a step is below
    SETTLED_K. Where it comes to nothing running, the winding keeps the heat at which that
    happened.

    >>> from steadyturn.rig.examples import example_path
    >>> from steadyturn.rig.file import read_rig
    >>> hut = read_rig(example_path("lakeside-hut"))
    >>> winding, case = settled_c(hut, np.array([70.0]), 30.0)
    >>> bool(winding[0] > case[0] > 30.0)
    True
    """
    winding, case = np.full(pace.shape, air_c), np.full(pace.shape, air_c)
    before, gave = winding.copy(), winding.copy()
    moving = np.arange(pace.size)
    for turn in range(rounds):
        was = winding[moving]
        hot, warm = rise_k(rig, Pair(rig, pace[moving], was))
        runs = ~np.isnan(hot)
        gives = np.where(runs, air_c + np.minimum(hot, HOTTEST_C), was)
        case[moving] = np.where(runs, air_c + np.minimum(warm, HOTTEST_C), case[moving])
        step = gives - was
        if turn:
            apart = was - before[moving]
            slope = (gives - gave[moving]) / np.where(apart > 1e-9, apart, np.inf)
            step = step / (1 - np.clip(slope, 0.0, 0.9))
        before[moving], gave[moving] = was, gives
        now = np.minimum(was + np.maximum(step, 0.0), air_c + HOTTEST_C)
        winding[moving] = now
        moving = moving[now - was > SETTLED_K]
        if not moving.size:
            break
    return winding, case
