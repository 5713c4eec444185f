"""What an arm is taken to give where its rig file does not say.

The figure of one hand of an untrained person of 35 (types.Arm.power_w) is scaled for two
arms and for age. Sources and spread: model/endurance.md.
"""

from __future__ import annotations

from steadyturn.rig.types import Arm, Origin, specs

TWO_ARMS = 1.5  # over one arm; 1.3 to 2, common practice, no source
YOUNG, MIDDLE, OLD = (20.0, 1.15), (35.0, 1.0), (60.0, 0.8)  # years, share


def age_share(years: float) -> float:
    """Power at an age over that at 35: 1.15 at 20 years, 0.8 at 60, straight lines between.

    Below 20 as at 20; above 60 the line is drawn on (not in the source). Source: Krendel, in
    Marks' Handbook sec. 9 (as quoted in "Man as a power source", progressivegardening.com).

    >>> [round(age_share(years), 3) for years in (20, 35, 60)]
    [1.15, 1.0, 0.8]
    """
    (near, above), (far, below) = (YOUNG, MIDDLE) if years < MIDDLE[0] else (MIDDLE, OLD)
    return above + (max(years, YOUNG[0]) - near) / (far - near) * (below - above)


def arms_share(arms: str) -> float:
    """Power of "one" or "two" arms over that of one."""
    return TWO_ARMS if arms == "two" else 1.0


def assumed_power(arm: Arm) -> Origin:
    """What this arm's power_w is taken to be, with its range [W], where nobody gave it."""
    spec = specs(Arm)["power_w"]
    share = arms_share(arm.arms) * age_share(arm.age_years or MIDDLE[0])
    assert spec.typical is not None
    low, value, high = (watts * share for watts in spec.typical)
    note = spec.source
    if share != 1:
        note = f"{note}; times {share:.2f} for age and arms"
    return Origin("assumed", value, low, high, note)
