"""Divider and volts of a 431-type reference: clamp, bus cut and output cut; circuit.md."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

from steadyturn.circuit.standard import E96

REF_V = 2.495  # data sheets of the 431 type, as are the next three: from memory
REF_DRIFT = 0.003  # half of 16 mV from 0 to 70 degC
REF_A, REF_MAX_A = 2e-6, 4e-6  # into its reference pin
CATHODE_MAX_V = 36.0
ARM_DRIFT = 0.001  # 25 ppm/K over 40 K: common practice
PIN_MAX_A = 0.01  # into its reference pin, which stands at some 2.5 V at least
SPARE_V = 2.0  # what a clamp's volts stay below those of the reference's cathode


@dataclass(frozen=True)
class Trip:
    """A divider, and between which volts it acts, every tolerance at its end."""

    upper_ohm: float
    lower_ohm: float
    low_v: float
    nominal_v: float
    high_v: float


def trip(upper_ohm: float, lower_ohm: float, ref_share: float, arm_share: float) -> Trip:
    """Volts of a given divider; ref_share, arm_share: tolerance of reference and resistors.

    >>> [round(v, 2) for v in (trip(2670, 2320, 0.005, 0.001).low_v,
    ...                        trip(2670, 2320, 0.005, 0.001).high_v)]
    [5.31, 5.43]
    """
    volts = []
    for ref, arm, amps in ((-1, -1, 0.0), (0, 0, REF_A), (1, 1, REF_MAX_A)):
        vref = REF_V * (1 + ref * (ref_share + REF_DRIFT))
        upper = upper_ohm * (1 + arm * (arm_share + ARM_DRIFT))
        lower = lower_ohm * (1 - arm * (arm_share + ARM_DRIFT))
        volts.append(vref * (1 + upper / lower) + amps * upper)
    return Trip(upper_ohm, lower_ohm, *volts)


@lru_cache(maxsize=64)
def below(high_v: float, ref_share: float, arm_share: float, *, about_ohm: float) -> Trip:
    """The divider of E96 values, its lower arm within a sixth of about_ohm, that acts as late
    as it may: never above high_v.

    >>> chosen = below(5.45, 0.005, 0.001, about_ohm=4500)
    >>> chosen.upper_ohm, chosen.lower_ohm, round(chosen.low_v, 2), round(chosen.high_v, 2)
    (4870.0, 4220.0, 5.32, 5.45)
    """
    best: Trip | None = None
    for lower in (1000 * step for step in E96 if 0.86 < 1000 * step / about_ohm < 1.16):
        for upper in (step * decade for step in E96 for decade in (1e2, 1e3, 1e4)):
            rough = REF_V * (1 + upper / lower)
            if not 0.9 * high_v < rough < high_v:
                continue
            one = trip(round(upper, 3), round(lower, 3), ref_share, arm_share)
            if one.high_v <= high_v and (best is None or one.high_v > best.high_v):
                best = one
    if best is None:
        raise ValueError(f"no divider acts below {high_v} V")
    return best
