"""How the handle was turned: turns known and unknown, the pace and its spread."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from math import hypot, nan
from typing import Any

import numpy as np

from steadyturn.rig.types import Rig
from steadyturn.sessions.accuracy import Accuracy
from steadyturn.sessions.estimates import Estimate, about
from steadyturn.sessions.figures import Figures
from steadyturn.sessions.flow import SAMPLE_S, Flow
from steadyturn.sessions.ranges import ends

SHARES = (5, 25, 50, 75, 95)  # percent of the time at a slower pace
NEEDED = ("emf_uv_per_tpm", "source_mohm", "drop_mv", "drop_knee_ma")
# what a winding's warmth leaves: followed by the board, or not (firmware/pace.md: 1.4 %, 2.9 %)
WARMTH, NOT_FOLLOWED = 0.015, 0.03


@dataclass(frozen=True, slots=True)
class Pace:
    """Of the samples with a known pace while turning, after each boot's first seconds:
    the paces [turns/min] that 5, 25, 50, 75 and 95 % of the time were slower than, the mean of
    all and the standard deviation within them; seconds: how long that was."""

    p5_tpm: float
    p25_tpm: float
    p50_tpm: float
    p75_tpm: float
    p95_tpm: float
    deviation_tpm: float
    seconds: float


def pace(flow: Flow) -> Pace:
    which = flow.turning & flow.known & flow.started
    paces = flow.pace_tpm[which]
    if not len(paces):
        return Pace(nan, nan, nan, nan, nan, nan, 0.0)
    p5, p25, p50, p75, p95 = (float(p) for p in np.percentile(paces, SHARES))
    return Pace(p5, p25, p50, p75, p95, float(paces.std()), len(paces) * SAMPLE_S)


def turns(
    figures: Figures, flow: Flow, settings: Mapping[str, Any], sensor: Accuracy,
    rig: Rig | None = None,
) -> list[Estimate]:
    """turns, mean_pace [turns/min], turns_unknown: at most so many more were turned while
    hardly any current flowed; what came before the board woke is not even in that."""
    f = figures
    share = pace_share(flow, settings, sensor, rig)
    if f.pace_kind == "measured":  # by pulses: one of them at either end of a boot
        boots = sum(1 for boot in f.boots if boot.turns)
        found = [about("turns", f.turns, 1.0 * max(1, boots), "", "measured"),
                 about("mean_pace", f.mean_pace_tpm, f.mean_pace_tpm * 1e-3, "turns/min",
                       "measured")]
    else:
        kind, note = "inferred", "partly" if f.pace_kind == "partly measured" else ""
        found = [about("turns", f.turns, share * f.turns, "", kind, note=note),
                 about("mean_pace", f.mean_pace_tpm, share * f.mean_pace_tpm, "turns/min", kind,
                       note=note)]
    bound = flow.turning & ~flow.known
    most = float(flow.pace_tpm[bound].sum()) * SAMPLE_S / 60
    found.append(Estimate("turns_unknown", nan, 0.0, most, "", "inferred", "before_waking"))
    return found


def pace_share(flow: Flow, settings: Mapping[str, Any], sensor: Accuracy,
               rig: Rig | None = None) -> float:
    """95 % half-width of a pace from volts, as a share of it; NaN without settings.

    pace = (volts + R I + drop) / emf: what each of them may be off, as a share of the EMF.
    """
    which = flow.known & flow.turning
    if any(name not in settings for name in NEEDED) or not which.any() or not sensor.known:
        return nan
    amps, volts = float(flow.amps[which].mean()), float(flow.volts[which].mean())
    ohmic = settings["source_mohm"] / 1000 * amps
    drop = settings["drop_mv"] / 1000 * amps / (amps + settings["drop_knee_ma"] / 1000)
    emf = volts + ohmic + drop
    return hypot(
        _half("motor.emf_v_per_krpm", "motor.no_load_rpm", rig),
        ohmic / emf * _half("motor.terminal_ohm", "", rig),
        drop / emf * _half("rectifier.drop_v", "", rig),
        sensor.volts_v(volts) / emf,
        WARMTH if settings.get("warm_s") else NOT_FOLLOWED)


def _half(key: str, other: str, rig: Rig | None) -> float:
    """Half of what the value is known to; other: the key where the rig has not the first."""
    if (rig is not None and other and key not in rig.origins) or (rig is None and other):
        key = other
    low, high = ends(rig, key)
    return (high - low) / 2
