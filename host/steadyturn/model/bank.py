"""Equal motors in series and parallel on one gear; equations in bank.md."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from steadyturn.model import gears, motor
from steadyturn.rig.types import RPM, Rig

Floats = NDArray[np.float64]


def emf_v_per_tpm(rig: Rig, winding_c: float = 20.0) -> float:
    """EMF of the whole bank [V] per turn a minute of the handle, winding at winding_c.

    >>> from steadyturn.rig.examples import example_path
    >>> from steadyturn.rig.file import read_rig
    >>> hut = read_rig(example_path("lakeside-hut"))
    >>> round(emf_v_per_tpm(hut) * 70, 2)
    10.71
    """
    per_motor = float(motor.emf_constant_at(rig.motor, winding_c))
    return rig.bank.series * per_motor * gears.ratio(rig.stages) * RPM


def source_ohm(rig: Rig, winding_c: float = 20.0) -> float:
    """Resistance [ohm] from the bank's EMF to the bus node. Brushes and diodes are
    drops, not resistances, and stand in `motor` and `rectifier`.

    >>> from steadyturn.rig.examples import example_path
    >>> from steadyturn.rig.file import read_rig
    >>> hut = read_rig(example_path("lakeside-hut"))
    >>> round(source_ohm(hut), 3), round(source_ohm(hut, 80.0), 3)
    (2.68, 3.312)
    """
    per_motor = float(motor.ohm_at(rig.motor, winding_c))
    return rig.bank.series * per_motor / rig.bank.parallel


def circulating_a(rig: Rig, pace_tpm: ArrayLike, winding_c: float = 20.0) -> Floats:
    """Current [A] that two unequal strings in parallel drive round themselves with
    nothing connected, same shape as pace_tpm; none with a diode each or one string.

    >>> from steadyturn.rig.examples import example_path
    >>> from steadyturn.rig.file import read_rig
    >>> hut = read_rig(example_path("lakeside-hut"))
    >>> from dataclasses import replace
    >>> pair = replace(hut, bank=replace(hut.bank, parallel=2, spread=0.1))
    >>> circulating_a(hut, [70.0]).tolist(), circulating_a(pair, [0.0, 70.0]).round(3).tolist()
    ([0.0], [0.0, 0.065])
    """
    pace = np.asarray(pace_tpm, dtype=float)
    if rig.bank.parallel < 2 or rig.bank.diode_each:
        return np.zeros_like(pace)
    uneven = rig.bank.spread * emf_v_per_tpm(rig, winding_c) * pace
    drops = 2 * rig.bank.series * rig.motor.brush_drop_v
    loop_ohm = 2 * rig.bank.series * float(motor.ohm_at(rig.motor, winding_c))
    return np.maximum(0.0, uneven - drops) / loop_ohm
