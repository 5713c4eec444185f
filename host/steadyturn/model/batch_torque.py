"""What the arm feels of many builds along their bands, and what their open circuits bear.

For whoever shares one machine among many gears: the torques are those of the operating
points that `bands` stands on.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from steadyturn.model.batch import LIMIT_NAMES
from steadyturn.model.batch_ends import ends
from steadyturn.model.batch_frame import build, size, spread
from steadyturn.model.batch_look import look
from steadyturn.model.batch_open import most_v
from steadyturn.model.batch_target import MILD_C
from steadyturn.model.motor import ohm_at
from steadyturn.rig.types import Rig

Floats = NDArray[np.float64]

FAN = 48  # operating points that a curve is drawn through
CLAMP = "clamp_power"  # as model.hazards names it


def handle_nm(rig: Rig, values: Mapping[str, ArrayLike], low_tpm: Floats, high_tpm: Floats,
              points: int) -> tuple[Floats, Floats, Floats]:
    """Torque at the handle [N m] of each build at `points` equal steps from low_tpm to
    high_tpm [turns/min], one of each a build, inside its band: (at 20 degC, the larger of
    the hot and the cold machine's), both [build, point]; and out_w [W], one a build.

    values: as for `bands`; at least one of them is an array.

    >>> from steadyturn.rig.examples import example_path
    >>> from steadyturn.rig.file import read_rig
    >>> hut = read_rig(example_path("lakeside-hut"))
    >>> mild, most, out_w = handle_nm(hut, {"motor.max_a": [1.5]}, np.array([60.0]),
    ...                               np.array([80.0]), 3)
    >>> mild.round(2).tolist(), bool((most >= mild).all())
    ([[0.92, 0.78, 0.68]], True)
    """
    n = size(values)
    with np.errstate(all="ignore"):  # between the limits only numbers are left
        frame = build(spread(rig, values), LIMIT_NAMES, n)
        found = ends(frame, n, LIMIT_NAMES)
        in_v = found.low_v * (found.high_v / found.low_v) ** np.linspace(0.0, 1.0, FAN)[:, None]
        states = [look(frame, in_v, MILD_C, heated=False),
                  look(frame, in_v, frame.cold_c, heated=False),
                  look(frame, in_v, frame.hot_c, heated=True)]
    pace = low_tpm[:, None] + (high_tpm - low_tpm)[:, None] * np.linspace(0, 1, points)
    curves = np.empty((3, n, points))
    for state, at in enumerate(states):
        lowest = np.argmin(np.where(np.isnan(at.pace), np.inf, at.pace), axis=0)
        for one in range(n):  # above the fold, where the pace rises with the volts
            tail = slice(lowest[one], None)
            curves[state, one] = np.interp(pace[one], at.pace[tail, one], at.arm_nm[tail, one])
    return (curves[0], np.maximum(curves[1], curves[2]),
            np.array(np.broadcast_to(frame.out_w, (n,)), dtype=float))


def bears_v(rig: Rig, values: Mapping[str, ArrayLike]) -> list[tuple[str, Floats]]:
    """Names of `hazards`, each with the open-circuit volts up to which it does not arise, one
    a build. The bus clamp's power, which no slower band saves, is called CLAMP.

    >>> from steadyturn.rig.examples import example_path
    >>> from steadyturn.rig.file import read_rig
    >>> hut = read_rig(example_path("lakeside-hut"))
    >>> [(name, volts.tolist()) for name, volts in bears_v(hut, {"bank.series": [1, 2]})][:1]
    [('open_circuit_capacitor', [35.0, 35.0])]
    """
    n, wide = size(values), spread(rig, values)
    rows: list[tuple[str, Any]] = most_v(wide)
    clamp, watts = rig.protection.bus_clamp_v, rig.protection.bus_clamp_w
    if clamp is not None and watts is None:  # not stated: not counted on
        rows.append((CLAMP, -np.inf))
    elif clamp is not None and watts is not None:  # `hazards.clamp_w`, turned round
        ohm = wide.bank.series * ohm_at(wide.motor, wide.air.cold_c) / wide.bank.parallel
        rows.append((CLAMP, clamp + watts * ohm / clamp))
    return [(name, np.array(np.broadcast_to(volts, (n,)), dtype=float)) for name, volts in rows]
