"""Minutes and endurance in words, with the caution that stands beside each."""

from __future__ import annotations

from math import isfinite

DAY_MIN = 480.0  # where model.endurance ends: that or more

CARE = ("A rough guide, not medical advice: change arms, rest often, stop on pain or "
        "breathlessness (hardware/cautions.md).")


def time(minutes: float) -> str:
    """0.4 min, 83 min, 4 h 20 min, 14 h; no figure is better than a few percent."""
    if not isfinite(minutes):
        return "never"
    if minutes < 9.95:
        return f"{minutes:.1f}".removesuffix(".0") + " min"
    if minutes < 100:
        return f"{minutes:.0f} min"
    step = 5 if minutes < 600 else 60
    hours, rest = divmod(round(minutes / step) * step, 60)
    return f"{hours} h {rest} min" if rest else f"{hours} h"


def span(low: float, high: float, beyond: str = "never") -> str:
    """Two times as a range: 3 to 5 min, 74 min to 8 h; `beyond` for one without end."""
    one, other = (time(x) if isfinite(x) else beyond for x in (low, high))
    if one == other:
        return one
    if one.endswith(" min") and other.endswith(" min") and "h" not in one + other:
        return f"{one[:-4]} to {other}"
    return f"{one} to {other}"


def keeps(minutes: tuple[float, float, float]) -> str:
    """How long an arm keeps a power, (low, middle, high): 20 min to 4 h; 480 is that or more."""
    low, _, high = minutes
    if low >= DAY_MIN:
        return "8 h or more"
    return span(low, high) + (" or more" if high >= DAY_MIN else "")
