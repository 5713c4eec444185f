"""Two outings side by side: which figures differ by more than they are known to.

Of two machines, or of one whose sensor was corrected between, the ranges of both figures count
in full (root of the squares). Of one machine with one correction, an error of sensor or
constants is the same in both, so that it only stretches their difference; what is left is how
well the same sensor repeats itself from one day to another.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from math import hypot, isfinite, nan
from typing import Any

from steadyturn.sessions.accuracy import Accuracy
from steadyturn.sessions.estimates import Estimate, about
from steadyturn.sessions.figures import MAH, WH, Figures

# 95 %: gains that drift by 50 ppm/K (INA226, TI SBOS547B) over the 20 K between a cold and a
# warm day, of volts and of amps, and as much again for shunt and windings; common practice
REPEATS = 0.005
# its range is that of chance, which is another one each time
BY_CHANCE = ("power_trend",)
COUNTED = ("connections", "releases", "collapses", "faults")
# settings by which readings become figures: where they are equal, so are their errors
CONSTANTS = (
    "chip", "shunt_uohm", "out_shunt_uohm", "bus_gain_ppm", "bus_offset_mv", "amps_gain_ppm",
    "amps_offset_ma", "out_bus_gain_ppm", "out_bus_offset_mv", "out_amps_gain_ppm",
    "out_amps_offset_ma", "amplifier_permille", "amplifier_zero_mv", "divider_permille",
    "emf_uv_per_tpm", "source_mohm", "drop_mv", "drop_knee_ma", "turn_pulses",
    "coil", "out_mv", "loss_uw", "loss_mv", "loss_mohm", "path_mohm", "percent_mj")


@dataclass(frozen=True, slots=True)
class Compared:
    """One figure of this outing and of the other, each with its 95 % range, in `unit`.

    difference: this less the other, with its own 95 % range. verdict: "more" or "less" where
    that range leaves out zero, "same" where the figures are equal to the digit, "unsure" where
    the difference lies within the uncertainty, "unknown" where either figure is not known.
    """

    name: str
    unit: str
    kind: str
    value: float
    low: float
    high: float
    other: float
    other_low: float
    other_high: float
    difference: float
    difference_low: float
    difference_high: float
    verdict: str


def same_constants(one: Mapping[str, Any], two: Mapping[str, Any]) -> bool:
    """Do two boards' settings make figures from readings in the same way? False where either is
    not known."""
    return "chip" in one and all(one.get(name) == two.get(name) for name in CONSTANTS)


def rates(figures: Figures, estimates: Iterable[Estimate], sensor: Accuracy) -> list[Estimate]:
    """What does not depend on how long somebody cranked: power_out [W] while connected,
    out_per_turn [J a turn], loaded_volts [V] (mean by charge), in_band_share [%], and
    what was counted."""
    f = figures
    by_name = {e.name: e for e in estimates}
    found = []
    out = by_name.get("energy_out")
    if out is not None:
        found.append(_over(out, f.connected_s / 3600, "power_out", "W"))
        found.append(_over(out, f.turns / WH, "out_per_turn", "J a turn"))
    volts = f.energy_in_j / (f.charge_mah * MAH) if f.charge_mah > 0 else nan
    found.append(about("loaded_volts", volts, sensor.volts_v(volts), "V", "measured"))
    found.append(about("in_band_share", f.band_percent, 0.0, "%", "measured"))
    counts = (f.connections, sum(f.releases.values()), f.collapses, f.faults)
    return found + [about(name, float(count), 0.0, "", "measured")
                    for name, count in zip(COUNTED, counts, strict=True)]


def _over(one: Estimate, by: float, name: str, unit: str) -> Estimate:
    """An estimate over a figure that is as good as sure."""
    by = by if by > 0 else nan
    return Estimate(name, one.value / by, one.low / by, one.high / by, unit, one.kind)


def compare(ours: Sequence[Estimate], theirs: Sequence[Estimate], *,
            same_sensor: bool) -> tuple[Compared, ...]:
    """Figures that either has, in the order of ours. same_sensor: one board with one correction
    and one set of constants."""
    other: Mapping[str, Estimate] = {e.name: e for e in theirs}
    mine = {e.name for e in ours}
    pairs = [(e, other.get(e.name, _lacks(e))) for e in ours]
    pairs += [(_lacks(e), e) for e in theirs if e.name not in mine]
    return tuple(_compared(one, two, same_sensor) for one, two in pairs
                 if isfinite(one.value) or isfinite(two.value))


def _lacks(like: Estimate) -> Estimate:
    return Estimate(like.name, nan, nan, nan, like.unit, like.kind, like.note)


def _compared(one: Estimate, two: Estimate, same_sensor: bool) -> Compared:
    difference = one.value - two.value
    if same_sensor and one.name not in BY_CHANCE and not _sure(one, two):
        share = max(_half(e) / abs(e.value) if e.value else 0.0 for e in (one, two))
        down = up = hypot(share * difference, REPEATS * hypot(one.value, two.value))
    else:
        down = hypot(one.value - one.low, two.high - two.value)
        up = hypot(one.high - one.value, two.value - two.low)
    low, high = difference - down, difference + up
    if not isfinite(difference):
        verdict = "unknown"
    elif difference == 0:
        verdict = "same"
    elif not isfinite(down + up):
        verdict = "unsure"
    else:
        verdict = "more" if low > 0 else "less" if high < 0 else "unsure"
    return Compared(one.name, one.unit, one.kind if isfinite(one.value) else two.kind,
                    one.value, one.low, one.high, two.value, two.low, two.high,
                    difference, low, high, verdict)


def _half(one: Estimate) -> float:
    return (one.high - one.low) / 2


def _sure(one: Estimate, two: Estimate) -> bool:
    """Counted or timed: known better than any sensor repeats itself."""
    return all(_half(e) <= REPEATS / 5 * abs(e.value) for e in (one, two))
