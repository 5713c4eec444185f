"""The thermistor's thresholds, in millivolts at its ADC pin, so that the board needs no table.

Divider: `ntc_series_ohm` from 3.3 V to the pin, the thermistor from the pin to ground: the hotter
the lower. R(T) = ntc_ohm * exp(ntc_beta_k * (1/T - 1/298.15 K)), the usual two-parameter law
(data sheets of NTC thermistors); within 25-85 degC it is good to about 1 K for one whose B25/85
is given.
"""

from __future__ import annotations

import math

from steadyturn.errors import Failed
from steadyturn.rig.types import Rig

FULL_MV = 3300
READS_TO_MV = 3050  # an ESP32's converter ends near 3.1 V: its data sheet
BACK_K = 10.0  # so much cooler connects again; common practice, no source
COLDEST_K = 10.0  # below air.cold_c nothing of this machine gets
ZERO_K = 273.15
NONE = {"heat_limit_mv": 0, "heat_back_mv": 0, "heat_open_mv": 0}


def pin_mv(rig: Rig, temperature_c: float) -> float:
    """Millivolts at the pin.

    >>> from steadyturn.rig.examples import example_path
    >>> from steadyturn.rig.file import read_rig
    >>> hut = read_rig(example_path("lakeside-hut"))
    >>> [round(pin_mv(hut, c)) for c in (0, 25, 70)]
    [2543, 1650, 494]
    """
    p = rig.protection
    ohm = p.ntc_ohm * math.exp(p.ntc_beta_k * (
        1 / (temperature_c + ZERO_K) - 1 / (25 + ZERO_K)))
    return FULL_MV * ohm / (ohm + p.ntc_series_ohm)


def heat(rig: Rig) -> dict[str, int | str]:
    """The settings; Failed where the divider cannot tell a cold part from a broken wire."""
    p = rig.protection
    if p.ntc_at == "none":
        return dict(NONE)
    coldest = pin_mv(rig, rig.air.cold_c - COLDEST_K)
    if coldest >= READS_TO_MV:
        raise Failed(
            f"Settings cannot be made: at {rig.air.cold_c - COLDEST_K:.0f} degC the thermistor's "
            f"pin stands at {coldest / 1000:.2f} V, where a broken wire cannot be told from cold.",
            "A larger ntc_series_ohm, or a thermistor of fewer ohms (ntc_ohm).")
    limit, back = pin_mv(rig, p.ntc_limit_c), pin_mv(rig, p.ntc_limit_c - BACK_K)
    if limit < 100:
        raise Failed(
            f"Settings cannot be made: at {p.ntc_limit_c} degC the thermistor's pin stands at "
            f"{limit:.0f} mV, too near a shorted wire.",
            "A smaller ntc_series_ohm, or a thermistor of more ohms (ntc_ohm).")
    return {
        "heat_limit_mv": math.ceil(limit), "heat_back_mv": math.ceil(back),
        "heat_open_mv": min(round((coldest + FULL_MV) / 2), READS_TO_MV),
    }
