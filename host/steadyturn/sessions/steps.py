"""An outing's samples as means over steps of time: the figures beside a drawing of them."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from steadyturn_fw import pages as layout

from steadyturn.sessions import benches
from steadyturn.sessions.decode import Pages
from steadyturn.sessions.outings import Span, spans

MOST_STEPS = 60  # more is what the export is for
MOST_BOOTS = 100
BENCH = "bench"  # in the cue's place
LENGTHS_S = (5, 10, 15, 20, 30, 60, 120, 300, 600, 900, 1800, 3600)


@dataclass(frozen=True, slots=True)
class Step:
    """Means from begin_s to end_s since the boot, over what was measured; NaN where nothing
    was. pace_tpm: where it is known. cue: the lamp's, most of the time, "" where there is none,
    "bench" where readings for one were taken.
    """

    boot: int
    begin_s: float
    end_s: float
    pace_tpm: float
    bus_v: float
    power_w: float
    cue: str
    connected_percent: float


@dataclass(frozen=True, slots=True)
class Steps:
    """each_s: how long each is at most, None: each is a boot. boots: of how many; all_boots:
    how many there are, the last ones were taken."""

    each_s: float | None
    boots: int
    all_boots: int
    rows: tuple[Step, ...]


def steps(pages: Pages) -> Steps:
    """At most MOST_STEPS, cut at round times of each boot, or one a boot where that is more."""
    found = [span for span in spans(pages) if span.end_ms > span.begin_ms]
    taken = found[-MOST_BOOTS:]
    recorded_s = sum(span.end_ms - span.begin_ms for span in taken) / 1000
    room = MOST_STEPS - 2 * len(taken)  # each boot may begin and end within a step
    each_s = next((s for s in LENGTHS_S if recorded_s / s <= room), None)
    rows = [row for span in taken for row in _of_boot(pages, span, each_s)]
    return Steps(each_s, len(taken), len(found), tuple(rows))


def _of_boot(pages: Pages, span: Span, each_s: int | None) -> list[Step]:
    seqs, rows_of = pages.pages["seq"], pages.samples["seq"]  # both rise
    first = int(np.searchsorted(rows_of, seqs[span.first], "left"))
    stop = int(np.searchsorted(rows_of, seqs[span.stop - 1], "right"))
    samples = pages.samples[first:stop]
    begin, end = span.begin_ms, span.end_ms
    edges = [begin, end]
    if each_s is not None:
        each_ms = 1000 * each_s
        edges[1:1] = range((begin // each_ms + 1) * each_ms, end, each_ms)
    cut = np.searchsorted(samples["t_ms"], edges[1:-1])
    return [_step(pages, span.boot, a, b, rows) for a, b, rows in
            zip(edges[:-1], edges[1:], np.split(samples, cut), strict=True)]


def _step(pages: Pages, boot: int, begin_ms: int, end_ms: int, rows: NDArray[Any]) -> Step:
    live = rows[~rows["no_data"]]
    begin_s, end_s = begin_ms / 1000, end_ms / 1000
    if not len(live):
        return Step(boot, begin_s, end_s, math.nan, math.nan, math.nan, "", math.nan)
    sure = live["pace_tpm"][live["valid"] == layout.VALID]
    bench = 2 * np.count_nonzero(benches.of_samples(pages, live)) > len(live)
    code = int(np.bincount(live["cue"]).argmax())
    power = live["bus_mv"].astype(float) * live["bus_ma"] / 1e6
    return Step(
        boot, begin_s, end_s,
        pace_tpm=float(sure.mean()) if len(sure) else math.nan,
        bus_v=float(live["bus_mv"].mean()) / 1000, power_w=float(power.mean()),
        cue=BENCH if bench else layout.CUES[code] if code < len(layout.CUES) else f"code {code}",
        connected_percent=100 * float((live["connected"] == 1).mean()))
