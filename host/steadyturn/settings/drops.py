"""Brushes and diodes in the form that the board can compute in integers."""

from __future__ import annotations

import numpy as np

from steadyturn.model import motor, rectifier
from steadyturn.rig.types import Rig

MOST_V = 5.0  # what the board takes


def bank_drop_v(rig: Rig, bank_a: np.ndarray) -> np.ndarray:
    """Drops of brushes and diodes between EMF and bus [V] at the bank's current [A]."""
    motor_a = bank_a / rig.bank.parallel
    diode_a = motor_a if rig.bank.diode_each else bank_a
    brushes = rig.bank.series * motor.brush_v(rig.motor, motor_a)
    return np.asarray(brushes + rectifier.drop_v(rig.rectifier, diode_a))


def fit(rig: Rig, low_a: float, high_a: float) -> tuple[float, float]:
    """(drop [V], knee [A]) of drop * I / (I + knee), nearest to the sum of the tanh curves
    between the two currents of the bank (least squares on evenly spaced currents).

    The board has no tanh; the pace that it computes is off by the misfit over the EMF. Where
    all currents stand far below the knees, drop and knee could both grow without end: no drop
    above MOST_V is taken.
    """
    amps = np.linspace(low_a, high_a, 60)
    wanted = bank_drop_v(rig, amps)
    best = (np.inf, 0.0, 0.001)
    for knee in np.geomspace(0.001, 2.0, 120):
        shape = amps / (amps + knee)
        drop = float(shape @ wanted / (shape @ shape))
        if drop > MOST_V:
            continue
        miss = float(np.sum((drop * shape - wanted) ** 2))
        if miss < best[0]:
            best = (miss, drop, float(knee))
    return best[1], best[2]
