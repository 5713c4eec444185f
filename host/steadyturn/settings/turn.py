"""The turn sensor in the board's settings: pulses, and when they no longer fit the volts."""

from __future__ import annotations

from steadyturn.rig.tolerances import tolerance_of
from steadyturn.rig.types import Rig

# The pace from volts is off by this much without any fault: a winding 25 K away from what is
# assumed (0.2 % a kelvin: 5 %), 15 % of resistance where a fifth of the EMF is lost in it (3 %),
# the sensor's volts (2 %). Figures of the model; that they add up straight is caution.
OTHER_SHARE = 0.10
SLIP_MS = 3000  # two to four turns: a jerk is no fault; common practice, no source
EMF_KEYS = ("motor.emf_v_per_krpm", "motor.no_load_rpm")


def settings(rig: Rig) -> dict[str, int | str]:
    """The fields of the board's turn sensor; pulses is 1 where there is none."""
    return {
        "turn_pulses": rig.sensor.turn_pulses or 1,
        "slip_permille": round(1000 * slip_share(rig)),
        "slip_ms": SLIP_MS,
    }


def slip_share(rig: Rig) -> float:
    """How far apart pulses and volts may be, as a share: what the EMF constant may be off
    (a measured one by its interval, another by its kind's tolerance) and OTHER_SHARE."""
    key = EMF_KEYS[0] if rig.motor.emf_v_s is not None else EMF_KEYS[1]
    origin = rig.origins.get(key)
    if origin is not None and origin.kind != "given":
        off = (origin.high - origin.low) / 2 / origin.value
    elif origin is not None and origin.tolerance is not None:
        off = origin.tolerance
    else:
        off = tolerance_of(key).share
    return min(OTHER_SHARE + off, 0.9)
