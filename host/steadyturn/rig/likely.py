"""What a motor that is only half known is likely to be, from what is known of it.

Shares and ranges: common practice and from memory, no source; see sizing/typical.toml for the
classes that they were held against.
"""

from __future__ import annotations

Guess = tuple[float, float, float]  # low, value, high

GEARED_RPM = 1000.0  # slower at its rated volts: a motor with a gearbox


def ohm(volts: float) -> float:
    """A small motor of 12 V has about 3 ohm; at equal power ohms go with volts squared.

    >>> ohm(12), ohm(24)
    (3.0, 12.0)
    """
    return max(0.3, 3 * (volts / 12) ** 2)


def no_load_a(volts: float, ohms: float, *, geared: bool) -> tuple[Guess, str]:
    """Current running free [A], and why: a share of the stall current, volts over ohms. About
    3 % at 12 V, less at more volts; a gearbox rubs.

    >>> [round(no_load_a(volts, ohms, geared=False)[0][1], 2) for volts, ohms in
    ...  ((12, 12), (12, 2.5), (24, 4), (24, 1.5))]
    [0.03, 0.14, 0.09, 0.24]
    """
    share = 0.10 if geared else min(max(0.36 / volts, 0.01), 0.06)
    amps = min(max(share * volts / ohms, 0.002), 2.0)
    why = f"the current then: about {100 * share:.3g} % of the stall current"
    return (amps / 2.5, amps, amps * 2.5), why + (", with its gearbox" if geared else "")


def max_a(volts: float, ohms: float) -> tuple[Guess, str]:
    """Highest lasting current [A], and why: about a fifth of the stall current.

    >>> max_a(12, 12)[0][1]
    0.2
    """
    stall = volts / ohms
    return ((0.1 * stall, 0.2 * stall, 0.4 * stall),
            f"about a fifth of the stall current, {volts:.3g} V / {ohms:.3g} ohm")


def max_rpm(rpm: float, *, geared: bool) -> tuple[Guess, str]:
    """Highest speed [rpm], and why.

    >>> max_rpm(5500, geared=False)[0]
    (6050.0, 7150.0, 8800.0)
    """
    guess = (round(1.1 * rpm, 3), round(1.3 * rpm, 3), round(1.6 * rpm, 3))
    return guess, "about 1.3 times no_load_rpm" + (", at the gearbox's shaft" if geared else "")
