"""Tables of the review's page: the samples in steps of time, boots, faults and events."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray
from steadyturn_fw import pages as layout

from steadyturn.report import words
from steadyturn.report.html_parts import esc, table
from steadyturn.report.plots_boots import TICKS, Stretch, clock
from steadyturn.report.style import duration, number

BREAK, HYPHEN = "&#8203;", "&shy;"  # where a narrow screen may break a word
MOST_ROWS = 60  # of a table of samples: more is what `export` is for
MOST_BOOTS = 100
MOST_EVENTS = 60
# events that say what became of the machine; others are the journal's own business
TOLD = (layout.EV_FAULT, layout.EV_FAULT_END, layout.EV_COLLAPSE, layout.EV_SLIP,
        layout.EV_RELEASED, layout.EV_CONNECTED, layout.EV_GAP, layout.EV_PREVIOUS_SETTINGS,
        layout.EV_SAFE_MODE)
RARE = frozenset(TOLD) - {layout.EV_CONNECTED, layout.EV_RELEASED}


def samples(stretches: Sequence[Stretch]) -> str:
    """Means over steps of each boot's time, as many as fit MOST_ROWS, or over whole boots."""
    shown = stretches[-MOST_BOOTS:]
    recorded = sum(s.end - s.begin for s in shown)
    room = max(1, MOST_ROWS - len(shown))
    step = next((s for s in TICKS if s >= 5 and recorded / s <= room), math.inf)
    rows = [_row(stretch, first, last, part) for stretch in shown
            for first, last, part in _steps(stretch, step)]
    each = "each boot" if not math.isfinite(step) else f"steps of {duration(step)}"
    caption = f"Means over {each}; time in minutes:seconds since the boot"
    if len(shown) < len(stretches):
        caption += f"; the last {len(shown)} of {len(stretches)} boots"
    return table(esc(caption), ("boot", "time", f"turns/{BREAK}min", "bus, V", "W",
                                "lamp, mostly", f"con{HYPHEN}nected"), rows,
                 right=(2, 3, 4, 6), kind="dense")


def _steps(stretch: Stretch, step: float) -> Iterator[tuple[float, float, NDArray[Any]]]:
    rows = stretch.samples
    seconds = rows["t_ms"] / 1000
    begin, end = stretch.begin - stretch.zero, stretch.end - stretch.zero
    at = begin
    while at < end:
        stop = min(end, (math.floor(at / step + 1e-9) + 1) * step if math.isfinite(step) else end)
        yield at, stop, rows[(seconds >= at - 1e-6) & (seconds < stop - 1e-6)]
        at = stop


def _row(stretch: Stretch, first: float, last: float, rows: NDArray[Any]) -> tuple[str, ...]:
    live = rows[~rows["no_data"]]
    head = (str(stretch.boot), f"{clock(first)} to {clock(last)}")
    if not len(live):
        return (*head, "not measured", "", "", "", "")
    sure = live[live["valid"] == layout.VALID]["pace_tpm"]
    pace = number(float(sure.mean())) if len(sure) else "not known"
    cue = int(np.bincount(live["cue"]).argmax())
    watts = live["bus_mv"].astype(float) * live["bus_ma"] / 1e6
    return (*head, pace, f"{live['bus_mv'].mean() / 1000:.2f}", f"{watts.mean():.2f}",
            esc(words.cue(cue).lower()), f"{100 * (live['connected'] == 1).mean():.0f} %")


def shares(caption: str, head: str, rows: Sequence[tuple[str, float]]) -> str:
    """Times [s] and what share of their sum each is; "" where there is no time at all."""
    whole = sum(seconds for _, seconds in rows)
    if not whole:
        return ""
    body = [(esc(name), duration(seconds), f"{100 * seconds / whole:.0f} %")
            for name, seconds in rows]
    return table(esc(caption), (esc(head), "time", "share"), body, right=(1, 2),
                 kind="dense short")


def boots(figures: Any, ended: dict[str, str]) -> str:
    """A row a boot; ended: words for how one ended."""
    shown = figures.boots[-MOST_BOOTS:]
    rows = [(str(b.boot) if b.first_boot == b.boot else f"{b.first_boot} to {b.boot}",
             duration(b.length_s), f"{b.turns:.0f}", f"{b.energy_out_wh:.3f}",
             duration(b.connected_s), esc(ended.get(b.ended, b.ended))) for b in shown]
    caption = "Each rest ends a boot; the time between two is not known"
    if len(shown) < len(figures.boots):
        caption += f" (the last {len(shown)} of {len(figures.boots)})"
    return table(esc(caption), ("boot", "length", "turns", "Wh to the phone",
                                f"con{HYPHEN}nected", "how it ended"), rows,
                 right=(0, 1, 2, 3, 4), kind="dense")


def events(found: NDArray[Any]) -> str:
    """What happened, in order; "" where nothing did. Where it was much, connections and
    releases are left out first, then what came first."""
    told = found[np.isin(found["code"], TOLD)]
    left = ""
    if len(told) > MOST_EVENTS:
        told = told[np.isin(told["code"], list(RARE))]
        left = "; connections and disconnections left out"
    if not len(told):
        return ""
    shown = told[-MOST_EVENTS:]
    rows = [(str(e["boot"]), clock(max(0.0, e["t_ms"] / 1000)),
             esc(words.event(int(e["code"]), int(e["argument"])))) for e in shown]
    caption = f"What happened{left}; time in minutes:seconds since the boot"
    if len(shown) < len(told):
        caption += f" (the last {len(shown)} of {len(told)}; the export has all)"
    return table(esc(caption), ("boot", "time", "event"), rows, right=(0, 1), kind="dense")
