"""What the board itself takes from the bus; equations in supply.md."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from steadyturn.rig.types import Supply

Floats = NDArray[np.float64]


def draw_w(supply: Supply) -> float:
    """Power [W] that the board's regulator takes from the crank; 0 when fed otherwise.

    >>> draw_w(Supply(feed="crank", power_w=0.12)), draw_w(Supply(feed="usb", power_w=0.12))
    (0.12, 0.0)
    """
    return supply.power_w if supply.feed == "crank" else 0.0


def takes_a(supply: Supply, bus_node_v: ArrayLike) -> Floats:
    """Current [A] of a board that is on at bus_node_v [V], same shape.

    Constant power behind a diode; below the volts where the board stops the
    current rises no further, so that it is finite for any bus.

    >>> board = Supply(feed="crank", power_w=0.1, drop_v=0.3, off_v=2.0)
    >>> takes_a(board, [5.3, 2.3, 0.0]).tolist()
    [0.02, 0.05, 0.05]
    """
    held = np.asarray(bus_node_v, dtype=float) - supply.drop_v
    return draw_w(supply) / np.maximum(held, supply.off_v)


def amps(supply: Supply, bus_node_v: ArrayLike) -> tuple[Floats, Floats]:
    """The same, and its slope [A/V]; both shaped like bus_node_v.

    >>> board = Supply(feed="crank", power_w=0.1, drop_v=0.3, off_v=2.0)
    >>> [round(float(value), 4) for value in amps(board, 5.3)]
    [0.02, -0.004]
    """
    behind = np.asarray(np.asarray(bus_node_v, dtype=float) - supply.drop_v)
    lives = behind > supply.off_v
    held = np.maximum(behind, supply.off_v)
    current = draw_w(supply) / held
    return current, np.where(lives, -current / held, 0.0) if not lives.all() else -current / held


def reservoir_v(supply: Supply, bus_node_v: ArrayLike) -> Floats:
    """Steady volts of the board's reservoir [V] at bus_node_v [V].

    >>> float(reservoir_v(Supply(drop_v=0.3, reservoir_max_v=5.2), 4.0))
    3.7
    """
    behind = np.asarray(bus_node_v, dtype=float) - supply.drop_v
    return np.clip(behind, 0.0, supply.reservoir_max_v)
