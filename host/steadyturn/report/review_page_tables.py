"""Tables of the review's page: the samples in steps of time, boots, faults and events."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray
from steadyturn_fw import pages as layout

from steadyturn.report import words
from steadyturn.report.html_parts import esc, table
from steadyturn.report.plots_boots import clock
from steadyturn.report.style import duration, number

BREAK, HYPHEN = "&#8203;", "&shy;"  # where a narrow screen may break a word
MOST_BOOTS = 100
MOST_EVENTS = 60
# events that say what became of the machine; others are the journal's own business
TOLD = (layout.EV_FAULT, layout.EV_FAULT_END, layout.EV_COLLAPSE, layout.EV_SLIP,
        layout.EV_RELEASED, layout.EV_CONNECTED, layout.EV_GAP, layout.EV_PREVIOUS_SETTINGS,
        layout.EV_SAFE_MODE)
RARE = frozenset(TOLD) - {layout.EV_CONNECTED, layout.EV_RELEASED}


def samples(found: Any) -> str:
    """found: sessions.steps.Steps."""
    each = "each boot" if found.each_s is None else f"steps of {duration(found.each_s)}"
    caption = f"Means over {each}; time in minutes:seconds since the boot"
    if found.boots < found.all_boots:
        caption += f"; the last {found.boots} of {found.all_boots} boots"
    return table(esc(caption), ("boot", "time", f"turns/{BREAK}min", "bus, V", "W",
                                "lamp, mostly", f"con{HYPHEN}nected"),
                 [_row(step) for step in found.rows], right=(2, 3, 4, 6), kind="dense")


def _row(step: Any) -> tuple[str, ...]:
    head = (str(step.boot), f"{clock(step.begin_s)} to {clock(step.end_s)}")
    if not math.isfinite(step.bus_v):
        return (*head, "not measured", "", "", "", "")
    pace = number(step.pace_tpm) if math.isfinite(step.pace_tpm) else "not known"
    return (*head, pace, f"{step.bus_v:.2f}", f"{step.power_w:.2f}",
            esc(words.cue(step.cue).lower()), f"{step.connected_percent:.0f} %")


def shares(caption: str, head: str, rows: Sequence[tuple[str, float, float]]) -> str:
    """Names with their time [s] and share [%]; "" where there is no time at all."""
    if not any(seconds for _, seconds, _ in rows):
        return ""
    body = [(esc(name), duration(seconds), f"{percent:.0f} %") for name, seconds, percent in rows]
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
