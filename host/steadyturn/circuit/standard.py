"""Values and ratings that parts are sold in."""

from __future__ import annotations

import math
from collections.abc import Iterable

E6 = (1.0, 1.5, 2.2, 3.3, 4.7, 6.8)  # IEC 60063
E12 = (1.0, 1.2, 1.5, 1.8, 2.2, 2.7, 3.3, 3.9, 4.7, 5.6, 6.8, 8.2)
E24 = (1.0, 1.1, 1.2, 1.3, 1.5, 1.6, 1.8, 2.0, 2.2, 2.4, 2.7, 3.0, 3.3, 3.6, 3.9, 4.3, 4.7, 5.1,
       5.6, 6.2, 6.8, 7.5, 8.2, 9.1)
E96 = tuple(round(10 ** (i / 96), 2) for i in range(96))
# common practice, no source
DIODE_V = (20.0, 40.0, 60.0, 100.0, 150.0, 200.0)
TRANSISTOR_V = (20.0, 30.0, 40.0, 60.0, 100.0, 150.0, 200.0)
CAPACITOR_V = (6.3, 10.0, 16.0, 25.0, 35.0, 50.0, 63.0, 100.0)
REGULATOR_V = (16.0, 24.0, 30.0, 40.0, 60.0, 100.0)
FUSE_A = (0.5, 0.63, 0.8, 1.0, 1.25, 1.6, 2.0, 2.5, 3.15, 4.0, 5.0, 6.3, 8.0, 10.0, 12.5, 16.0)
AMPS = (1.0, 3.0, 5.0, 10.0, 20.0, 40.0)
WATTS = (0.25, 0.6, 1.0, 2.0, 5.0, 10.0, 25.0, 50.0, 100.0, 200.0)


def nearest(value: float, series: Iterable[float] = E24) -> float:
    """The value of an E series that is nearest by ratio.

    >>> nearest(5050.0), nearest(0.049, E6)
    (5100.0, 0.047)
    """
    return min(_around(value, series), key=lambda one: abs(math.log(one / value)))


def at_most(value: float, series: Iterable[float] = E24) -> float:
    """The largest value of an E series that is no larger.

    >>> at_most(11.0, E6)
    10.0
    """
    return max(one for one in _around(value, series) if one <= value * (1 + 1e-9))


def at_least(value: float, series: Iterable[float] = E12) -> float:
    """The smallest value of an E series that is no smaller.

    >>> at_least(10.2), at_least(10.0)
    (12.0, 10.0)
    """
    return min(one for one in _around(value, series) if one >= value * (1 - 1e-9))


def _around(value: float, series: Iterable[float]) -> list[float]:
    decade = math.floor(math.log10(value))
    return [float(f"{step * 10.0 ** power:.6g}") for power in range(decade - 1, decade + 2)
            for step in series]


def rating(least: float, steps: tuple[float, ...]) -> float:
    """The lowest rating that is enough; more than is sold: the need itself, rounded up.

    >>> rating(49.6, DIODE_V), rating(480.0, DIODE_V)
    (60.0, 480.0)
    """
    return next((step for step in steps if step >= least), float(math.ceil(least)))
