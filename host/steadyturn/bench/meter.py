"""What a multimeter's own error makes of a reading.

Ranges are decades of the count: a meter of 2000 counts has 200 mV, 2 V, 20 V, 200 V, and of
amperes 20 mA, 200 mA and, past its fuse, 20 A (often marked 10 A). The share
of the reading belongs to a range's divider, the same for every reading on it, so it is not
averaged out by reading again: each range has an unknown gain of its own in the fit. The digits
are of each reading alone.
"""

from __future__ import annotations

import math

from steadyturn.bench.readings import Meter

SIGMAS = 2.0  # a meter's bounds are read as what 95 of 100 keep
LOWEST = {"V": -1, "A": -2}  # 200 mV and 20 mA are the lowest of a 2000-count meter; memory


def full_scale(meter: Meter, value: float, unit: str = "V") -> float:
    """The smallest range [unit] that shows `value`.

    >>> full_scale(Meter(), 1.5), full_scale(Meter(), 2.4), full_scale(Meter(counts=6000), 2.4)
    (2.0, 20.0, 6.0)
    >>> full_scale(Meter(), 0.15, "A"), full_scale(Meter(), 0.3, "A")
    (0.2, 20.0)
    """
    lead = meter.counts / 10 ** math.floor(math.log10(meter.counts))
    place = LOWEST[unit]
    while lead * 10.0**place <= abs(value) and place < 6:
        place += 2 if unit == "A" and place == -1 else 1  # none between 200 mA and 10 A
    return lead * 10.0**place


def step(meter: Meter, value: float, unit: str = "V") -> float:
    """The last place [unit] where the meter shows `value`.

    >>> round(step(Meter(), 1.5), 6), round(step(Meter(), 0.15), 6)
    (0.001, 0.0001)
    """
    return full_scale(meter, value, unit) / meter.counts


def digit_error(meter: Meter, value: float, unit: str = "V") -> float:
    """Standard error [unit] of one reading by its last place: the digits, and rounding."""
    last = step(meter, value, unit)
    return last * math.hypot(meter.digits / SIGMAS, 1 / math.sqrt(12))
