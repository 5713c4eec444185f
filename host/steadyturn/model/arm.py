"""What the arm feels: torque, force, power; equations in arm.md."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from steadyturn.model import gears
from steadyturn.rig.types import RPM, Rig

Floats = NDArray[np.float64]


def crank_nm(rig: Rig, motors_nm: ArrayLike) -> Floats:
    """Torque at the handle's axle [N m] for motors_nm [N m], the sum over all motors.

    Gears make the arm work harder, so their efficiency divides; the crank's own
    friction is added at the crank.

    >>> from steadyturn.rig.examples import example_path
    >>> from steadyturn.rig.file import read_rig
    >>> hut = read_rig(example_path("lakeside-hut"))
    >>> round(float(crank_nm(hut, 0.0)), 3) == hut.crank.friction_nm
    True
    >>> float(crank_nm(hut, 0.1)) > 0.1 * gears.ratio(hut.stages)
    True
    """
    geared = np.asarray(motors_nm, dtype=float) * gears.ratio(rig.stages)
    return geared / gears.efficiency(rig.stages) + rig.crank.friction_nm


def force_n(rig: Rig, torque_nm: ArrayLike) -> Floats:
    """Mean force at the grip [N] for a torque at the axle [N m].

    >>> from steadyturn.rig.examples import example_path
    >>> from steadyturn.rig.file import read_rig
    >>> hut = read_rig(example_path("lakeside-hut"))
    >>> round(float(force_n(hut, 2.0)) * hut.crank.radius_m, 6)
    2.0
    """
    return np.asarray(torque_nm, dtype=float) / rig.crank.radius_m


def power_w(torque_nm: ArrayLike, pace_tpm: ArrayLike) -> Floats:
    """Power of the arm [W] at torque_nm [N m] and pace_tpm.

    >>> round(float(power_w(4.09, 70)), 1)
    30.0
    """
    return np.asarray(torque_nm, dtype=float) * np.asarray(pace_tpm, dtype=float) * RPM
