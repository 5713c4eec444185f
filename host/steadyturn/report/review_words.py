"""Names, units and verdicts of a review's figures in a maker's words; one unit of energy a
screen. Pages and screens take them from here."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

from steadyturn.report.style import duration, number
from steadyturn.report.words import REASON

# estimates: what they are called; the report leaves out what is not here
ESTIMATE = {
    "energy_out": "to the phone",
    "percent": "of the phone's battery",
    "percent_net": "net of the phone's own use",
    "energy_in": "into the converter",
    "losses": "lost in converter and cable",
    "charge": "charge at the bus's volts",
    "turns": "turns",
    "turns_unknown": "turns that were not seen",
    "mean_pace": "mean pace",
    "on": "board on",
    "turning": "turning",
    "in_band": "in the band",
    "connected": "phone connected",
    "power_trend": "power's trend",
    "source_ohm": "resistance of the motors",
    "arm_work": "the arm's work",
    "arm_power": "the arm's power",
    "food": "food burnt for it",
}
# the codes of Estimate.note and Comparison.note
FAULT = {
    "settings": "settings", "sensor": "sensor", "over_voltage": "too many volts",
    "over_current": "too much current", "journal": "journal", "program": "program",
    "temperature": "too hot", "gears": "gears",
}  # in a word or three; report.words.FAULT has what to do
# what ended a connection, where a reason while it is released would mislead (firmware/states.md)
LET_GO = {**REASON, "waiting": "the board was busy for a moment"}
NOTE = {
    "second_load": "by steps of the second load",
    "turn_sensor": "by the turn sensor",
    "at_bus": "at the bus's volts: not the battery's mAh",
    "partly": "partly measured",
    "before_waking": "hardly any current flowed; before the board woke nobody counts",
    "pace_from_volts": "the pace itself comes from the volts, so this compares what phone and "
                       "converter took",
}
COMPARED = {
    "loaded_volts": "volts under load", "power_in": "power into the converter",
    "losses_share": "lost in converter and cable",
}
PAST = {
    "out_per_turn": "a turn delivers", "power_out": "delivers when connected",
    "losses_share": "lost on the way", "connections": "connections in 10 min",
    "faults": "faults", "in_band": "time in the band",
}
VERDICT = {
    "usual": "within usual", "better": "better than usual", "worse": "worse than usual",
    "too few": "too few outings to say", "as expected": "as expected",
    "more": "more than expected", "less": "less than expected",
}
TREND = {"better": "getting better", "worse": "getting worse", "none": ""}
FROM_MILLI_WH = 0.1  # a screen whose largest energy is below this shows mWh


@dataclass(frozen=True, slots=True)
class Energy:
    """How this screen shows energies: all in one unit, with as many decimals as the largest
    needs for three digits."""

    unit: str
    scale: float
    decimals: int

    def plain(self, wh: float) -> str:
        """Without the unit, for a column that names it."""
        if not math.isfinite(wh):
            return "-"
        return f"{wh * self.scale:.{self.decimals}f}"

    def text(self, wh: float) -> str:
        return f"{self.plain(wh)} {self.unit}"


def energy_unit(review: Any) -> Energy:
    """The unit for a review: by what went in, which is the largest.

    >>> from types import SimpleNamespace as Some
    >>> small, large = (energy_unit(Some(figures=Some(energy_in_wh=x, energy_out_wh=0)))
    ...                 for x in (0.0191, 12.3))
    >>> small.text(0.0191), small.text(0.0044), large.text(9.81)
    ('19.1 mWh', '4.4 mWh', '9.8 Wh')
    """
    return energy_of(max(review.figures.energy_in_wh, review.figures.energy_out_wh))


def energy_of(most: float) -> Energy:
    """The unit where that is the largest [Wh]."""
    milli = 0 < most < FROM_MILLI_WH
    scale = 1000.0 if milli else 1.0
    shown = most * scale
    digits = 3 if shown < 1 else max(0, 2 - math.floor(math.log10(shown)))
    return Energy("mWh" if milli else "Wh", scale, min(digits, 3))


def shown(estimate: Any, energy: Energy) -> tuple[str, str]:
    """An estimate's value and range as text, in one unit: ("0.110 Wh", "0.099 to 0.114")."""
    if estimate.unit == "Wh":
        value, low, high = map(energy.plain, (estimate.value, estimate.low, estimate.high))
        unit = energy.unit
    elif estimate.unit == "s":
        return duration(estimate.value), ""
    else:
        low, high = _digits(estimate.low, estimate.high)
        value, unit = _like(estimate.value, estimate), estimate.unit
    if not math.isfinite(estimate.value):
        value = "?" if math.isfinite(estimate.high) else "-"
    text = f"{value} {unit}".strip()
    if not math.isfinite(estimate.low) or not math.isfinite(estimate.high):
        return text, "not known"
    return text, f"{low} to {high}"


def _digits(low: float, high: float) -> tuple[str, str]:
    """Both ends to the place that their distance is known in."""
    places = _places((high - low) / 2)
    return f"{low:.{places}f}", f"{high:.{places}f}"


def _places(reach: float) -> int:
    if not math.isfinite(reach) or reach <= 0:
        return 2
    tens = math.floor(math.log10(reach))
    # a second digit only where the first is small (common practice, no source)
    return min(4, max(0, -tens + (reach < 4 * 10.0**tens)))


def ranged(value: float, low: float, high: float) -> str:
    """A value with its range, all to one place: "3.98 (3.76 to 4.18)".

    >>> ranged(2.716, 2.44, 3.001), ranged(float("nan"), 0.0, 1.0)
    ('2.72 (2.44 to 3.00)', '-')
    """
    if not math.isfinite(value):
        return "-"
    if not math.isfinite(high - low):
        return number(value)
    places = _places((high - low) / 2)
    return f"{value:.{places}f} ({low:.{places}f} to {high:.{places}f})"


def _like(value: float, estimate: Any) -> str:
    if not math.isfinite(estimate.high - estimate.low):
        return number(value)
    return f"{value:.{_places((estimate.high - estimate.low) / 2)}f}"


def connected(f: Any) -> str:
    """How often and how long the phone was connected. f: sessions.figures.Figures."""
    if not f.connections:
        return (f"Phone connected already when this begins, {duration(f.connected_s)} in all."
                if f.connected_s else "The phone was never connected.")
    times = "once" if f.connections == 1 else f"{f.connections} times"
    return f"Phone connected {times}, {duration(f.connected_s)} in all."


def past_value(value: float, unit: str) -> str:
    """A figure of the history: "2.08 J", "3"."""
    return f"{number(value)} {unit}".strip()
