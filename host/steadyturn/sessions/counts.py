"""What an outing counts: samples by cue and by pace, events by reason, percents by boot."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray
from steadyturn_fw import pages as layout

from steadyturn.sessions import in_force
from steadyturn.sessions.decode import Pages

SAMPLE_S = layout.SAMPLE_MS / 1000


def add(counts: dict[str, int], more: dict[str, int]) -> dict[str, int]:
    return counts | {name: counts.get(name, 0) + n for name, n in more.items()}


def cue_s(live: NDArray[Any], more: NDArray[Any]) -> dict[str, float]:
    counts = np.bincount(live["cue"], minlength=1 << layout.BITS_CUE) + more
    out = {name: float(counts[code]) * SAMPLE_S for code, name in enumerate(layout.CUES)}
    for code in range(len(layout.CUES), len(counts)):
        if counts[code]:
            out[f"code {code}"] = float(counts[code]) * SAMPLE_S
    return out


def shares(seconds: Mapping[str, float]) -> dict[str, float]:
    """Each time's share of all, in percent."""
    whole = sum(seconds.values())
    return {name: 100 * part / whole if whole else 0.0 for name, part in seconds.items()}


def percent(
    table: NDArray[Any], out_uj: NDArray[Any], settings: Mapping[str, Any],
    of_boots: Mapping[int, Mapping[str, Any]],
) -> float:
    """Of the phone, each page by what a percent took in its boot."""
    each_mj = in_force.column(table["boot"], of_boots, settings, "percent_mj")
    if not settings.get("percent_mj"):
        return float("nan")
    each_mj = np.where(each_mj > 0, each_mj, settings["percent_mj"])
    totals = [out_uj[each_mj == mj].sum() / mj for mj in np.unique(each_mj)]
    return float(sum(totals)) / 1000


def pace_s(
    live: NDArray[Any], settings: Mapping[str, Any], of_boots: Mapping[int, Mapping[str, Any]],
) -> dict[str, float]:
    if "low_dtpm" not in settings or "high_dtpm" not in settings:
        return {}
    # the board's own rule: a bound counts as the pace, because the lamp goes by it too
    turning = live[live["cue"] != layout.REST]
    known = turning["valid"] != layout.NO_SENSOR
    low, high = (in_force.column(turning["boot"], of_boots, settings, name)[known] / 10
                 for name in ("low_dtpm", "high_dtpm"))
    pace = turning["pace_tpm"][known]
    below = int(np.count_nonzero(pace < low))
    above = int(np.count_nonzero(pace > high))
    return {
        "below": below * SAMPLE_S, "in_band": (len(pace) - below - above) * SAMPLE_S,
        "above": above * SAMPLE_S, "unknown": int(np.count_nonzero(~known)) * SAMPLE_S,
    }


def other_bands(
    boots: Sequence[Any], settings: Mapping[str, Any],
    of_boots: Mapping[int, Mapping[str, Any]],
) -> int:
    edges = ("low_dtpm", "high_dtpm")
    return sum(boot.turns > 0 and boot.boot in of_boots
               and any(of_boots[boot.boot].get(name) != settings.get(name) for name in edges)
               for boot in boots)


def faults(pages: Pages, events: NDArray[Any], more: dict[str, int]) -> dict[str, int]:
    """Faults by name. A fault that lasts is repeated at the head of each page, dated before
    it; such a repeat counts only if its beginning is in no page."""
    table = pages.pages
    begins = table["t0_ms"][np.searchsorted(table["seq"], events["seq"])]
    repeated = events["t_ms"] < begins
    fresh = add(count(events[~repeated], layout.EV_FAULT, layout.FAULTS), more)
    lasting = count(events[repeated], layout.EV_FAULT, layout.FAULTS)
    return {**dict.fromkeys(lasting, 1), **fresh}


def count(events: NDArray[Any], code: int, names: tuple[str, ...]) -> dict[str, int]:
    arguments, counts = np.unique(
        events["argument"][events["code"] == code], return_counts=True
    )
    return {
        names[a] if a < len(names) else f"code {a}": int(n)
        for a, n in zip(arguments.tolist(), counts.tolist(), strict=True)
    }
