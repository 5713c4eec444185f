"""The samples of an outing as plain columns, for what is reckoned from them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields
from math import nan
from typing import Any

import numpy as np
from numpy.typing import NDArray
from steadyturn_fw import pages as layout

from steadyturn.sessions.benches import outside
from steadyturn.sessions.decode import Pages

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

SAMPLE_S = layout.SAMPLE_MS / 1000
# after the load was connected: soft start, and a phone that asks what port it is on; from memory
SETTLE_S = 3.0
# from a boot's first sample: the hand speeds up; common practice, no source
START_S = 10.0
# a phone that charges takes most of what it ever takes; a quarter is its own use, or nothing
IDLE_SHARE = 0.25


@dataclass(frozen=True, slots=True)
class Flow:
    """One row a sample in which something was measured, in the journal's order, SAMPLE_S each.

    boot, t_s since that boot, volts [V] and amps [A] at the converter's input, pace_tpm; known:
    the pace is more than a bound; turning: not at rest; connected; settled: connected, current
    flows, and both for SETTLE_S; started: later than START_S after the boot's first turning;
    cue: the lamp's code; rise_k: of the windings, as the board takes it (0: not followed).
    warm_ohm: the source's resistance, shunt included, with which the board finds the pace where
    it does not follow the warmth; NaN where it does, or without settings.
    """

    boot: NDArray[Any]
    t_s: Floats
    volts: Floats
    amps: Floats
    pace_tpm: Floats
    known: Flags
    turning: Flags
    connected: Flags
    settled: Flags
    started: Flags
    cue: NDArray[Any]
    rise_k: Floats
    warm_ohm: float = nan

    @property
    def watts(self) -> Floats:
        return self.volts * self.amps

    def seconds(self, which: Flags) -> float:
        return int(np.count_nonzero(which)) * SAMPLE_S


def drawing(flow: Flow) -> Flags:
    """Settled samples in which the phone takes something: at least a quarter of what it takes at
    most; below that it is full, unplugged or asleep."""
    if not flow.settled.any():
        return flow.settled
    most = float(np.percentile(flow.watts[flow.settled], 90))
    return flow.settled & (flow.watts >= IDLE_SHARE * most)


def flow(pages: Pages, settings: Mapping[str, Any] | None = None) -> Flow:
    """Of all samples; stalls, samples without a sensor and those of a bench are left out."""
    settings = settings or {}
    follows = settings.get("warm_s") or "source_mohm" not in settings
    samples = outside(pages, pages.samples)
    live = samples[~samples["no_data"] & (samples["valid"] < layout.VOLTS_ONLY)]
    known = live["valid"] == layout.VALID
    turning = live["cue"] != layout.REST
    connected = live["connected"] == 1
    rise = np.zeros(len(live))
    if len(pages.pages):
        rise = pages.pages["rise_k"][np.searchsorted(pages.pages["seq"], live["seq"])] * 1.0
    t_s = live["t_ms"] / 1000
    begins = _begins(live["boot"], t_s)
    return Flow(
        boot=live["boot"], t_s=t_s, volts=live["bus_mv"] / 1000, amps=live["bus_ma"] / 1000,
        pace_tpm=live["pace_tpm"].astype(float), known=known, turning=turning,
        connected=connected, settled=_for(connected & known, begins, SETTLE_S),
        started=_after(turning, live["boot"], t_s), cue=live["cue"], rise_k=rise,
        warm_ohm=nan if follows else settings["source_mohm"] / 1000)


def run_long(flow: Flow, which: Flags, seconds: float) -> Flags:
    """Where `which` has held for so long without a break in the samples."""
    return _for(which, _begins(flow.boot, flow.t_s), seconds)


def thinned(flow: Flow, most: int) -> Flow:
    """Every so many-th sample, at most about `most`: for ranges, which need no more."""
    step = max(1, len(flow.volts) // most)
    if step == 1:
        return flow
    return Flow(**{f.name: getattr(flow, f.name) if f.name == "warm_ohm"
                   else getattr(flow, f.name)[::step] for f in fields(Flow)})


def _begins(boot: NDArray[Any], t_s: Floats) -> Flags:
    """Where a run of samples that follow one another begins."""
    if not len(boot):
        return np.zeros(0, bool)
    follows = (np.diff(boot) == 0) & (np.abs(np.diff(t_s) - SAMPLE_S) < SAMPLE_S / 2)
    return np.append(True, ~follows)


def _for(which: Flags, begins: Flags, seconds: float) -> Flags:
    """Where `which` has held for so long without a break."""
    count = np.arange(len(which))
    edge = begins | ~which
    since = np.maximum.accumulate(np.where(edge, count, 0)) if len(count) else count
    lasted = (count - since) * SAMPLE_S
    return which & (lasted >= seconds - 1e-9)


def _after(turning: Flags, boot: NDArray[Any], t_s: Floats) -> Flags:
    """Turning, and later than START_S after its boot's first turning."""
    out = np.zeros(len(turning), bool)
    if not turning.any():
        return out
    boots, first = np.unique(boot[turning], return_index=True)
    begins = t_s[turning][first]
    row = np.minimum(np.searchsorted(boots, boot), len(boots) - 1)
    start = np.where(boots[row] == boot, begins[row], np.inf)
    return turning & (t_s - start >= START_S)
