"""What one outing shows of the band: the pace that was held, and where the load was let go."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from steadyturn_fw import pages as layout

from steadyturn.sessions.decode import Pages
from steadyturn.sessions.flow import SAMPLE_S, Flow, flow

BEFORE_S = 1.0  # a release: the mean of a turn
LEAST_BEFORE = 3  # samples with a known pace, connected, in it
TOO_FAST = (layout.WHY_OVER_VOLTAGE, layout.WHY_OVER_SPEED, layout.WHY_OVER_CURRENT)


@dataclass(frozen=True, slots=True)
class OutingUse:
    """Paces in turns/min. held_tpm: the middle one with the phone connected, under way; NaN
    where that never was. turning_s, connected_s, in_band_s (of the turning), faster_s, slower_s:
    the lamp asked for that while connected. low_tpm, high_tpm: paces in the band at which the
    volts broke down under the load, and at which it was let go because there was too much."""

    outing: int
    turning_s: float
    connected_s: float
    in_band_s: float
    held_tpm: float
    faster_s: float
    slower_s: float
    low_tpm: tuple[float, ...]
    high_tpm: tuple[float, ...]


def of_outing(number: int, pages: Pages, settings: Mapping[str, Any]) -> OutingUse:
    """number: of the outing; settings: in force in it, with its band."""
    samples = flow(pages, settings)
    low, high = settings["low_dtpm"] / 10, settings["high_dtpm"] / 10
    judged = samples.turning & samples.started & samples.known
    held = judged & samples.connected
    inside = judged & (samples.pace_tpm >= low) & (samples.pace_tpm <= high)
    seconds = samples.seconds
    return OutingUse(
        number, seconds(judged), seconds(held), seconds(inside),
        float(np.median(samples.pace_tpm[held])) if held.any() else float("nan"),
        seconds(held & (samples.cue == layout.FASTER)),
        seconds(held & (samples.cue == layout.SLOWER)),
        _before(pages.events[pages.events["code"] == layout.EV_COLLAPSE], samples, low, high),
        _before(pages.events[(pages.events["code"] == layout.EV_RELEASED)
                             & np.isin(pages.events["argument"], TOO_FAST)], samples, low, high))


def _before(events: NDArray[Any], samples: Flow, low: float, high: float) -> tuple[float, ...]:
    """Mean paces just before these events, of those in the band throughout: otherwise the lamp
    had said so already."""
    found = []
    for boot, t_ms in zip(events["boot"].tolist(), events["t_ms"].tolist(), strict=True):
        at_s = t_ms / 1000
        near = ((samples.boot == boot) & samples.known & samples.connected
                & (samples.t_s < at_s - SAMPLE_S / 2)
                & (samples.t_s >= at_s - BEFORE_S - SAMPLE_S))
        paces = samples.pace_tpm[near]
        if len(paces) >= LEAST_BEFORE and low <= paces.min() and paces.max() <= high:
            found.append(float(paces.mean()))
    return tuple(found)
