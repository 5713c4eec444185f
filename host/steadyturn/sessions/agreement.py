"""Totals against samples: each made by its own way from the same ticks, so that one checks the
other."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from steadyturn_fw import pages as layout

from steadyturn.sessions.decode import Pages

SAMPLE_S = layout.SAMPLE_MS / 1000
# A sample's volts times its amps misses what the two did together within its 0.2 s.
AGREE_PERCENT = 3.0


@dataclass(frozen=True, slots=True)
class Check:
    """Totals against samples, over the pages where both are complete. Each percentage is
    how much more the samples give; NaN where there was nothing. agrees: within 3 % and the
    samples' own rounding."""

    pages: int
    energy_in_percent: float
    charge_percent: float
    turns_percent: float
    agrees: bool


def agreement(pages: Pages, step: Mapping[str, NDArray[Any]], start_unknown: bool) -> Check:
    """Compare where a page's step is that page's alone and no sample of it is a stall."""
    table, samples = pages.pages, pages.samples
    if not len(table):
        return Check(0, np.nan, np.nan, np.nan, True)
    row = np.searchsorted(table["seq"], samples["seq"])

    def per_page(values: NDArray[Any]) -> NDArray[Any]:
        return np.bincount(row, values, len(table))

    lost = per_page(samples["no_data"])
    whole = (np.diff(table["seq"], prepend=table["seq"][0] - 1) == 1) & (lost == 0)
    whole &= step["on_samples"] == table["samples"]
    if start_unknown:
        whole[0] = False
    mv, ma = samples["bus_mv"].astype(float), samples["bus_ma"].astype(float)
    valid = (samples["valid"] == layout.VALID) & ~samples["no_data"]
    turns = np.where(valid, np.nan_to_num(samples["pace_tpm"]), 0) * SAMPLE_S / 60
    # a mean is written to the nearest unit; a page that was closed early may end with a
    # sample that is not whole, or with ticks that made none
    rounding = (table["bus_unit_mv"][row] * ma + table["bus_unit_ma"][row] * mv) / 2
    loose = (table["samples"] < layout.SAMPLES)[row] & np.append(np.diff(row) > 0, True)
    result = []
    agrees = True
    for name, by_sample, slack in (
        ("energy_in_uj", mv * ma * SAMPLE_S, rounding * SAMPLE_S),
        ("charge_uc", ma * SAMPLE_S * 1e3, table["bus_unit_ma"][row] / 2 * SAMPLE_S * 1e3),
        ("turns_m", turns * 1e3, np.where(valid, 0.25 * SAMPLE_S / 60 * 1e3, 0)),
    ):
        ours = float(per_page(by_sample)[whole].sum())
        theirs = float(step[name][whole].sum())
        loosely = per_page(slack + loose * by_sample)[whole].sum()
        if name == "turns_m" and (table["flags"] & layout.FLAG_PACE_MEASURED).any():
            # a pulse comes once a turn or more often: either end may be off by one of them
            loosely += 2000 * len(np.unique(table["boot"]))
        allowed = float(loosely) + AGREE_PERCENT / 100 * theirs
        agrees &= abs(ours - theirs) <= allowed
        result.append(100 * (ours / theirs - 1) if theirs else np.nan)
    energy, charge, turned = result
    return Check(int(np.count_nonzero(whole)), energy, charge, turned, agrees)
