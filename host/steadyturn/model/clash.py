"""Why a rig has no band: the most basic of the reasons, as two limits."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from steadyturn.model.edges import Edges
from steadyturn.model.kept import fastest_tpm, slowest_tpm
from steadyturn.model.limits import Sheet, constraints
from steadyturn.model.pair import Pair
from steadyturn.rig.types import Rig

Flags = NDArray[np.bool_]

POINTS = 101
MILD_C = 20.0

# what has to hold first: volts to start at all, power to hold on, then what spoils a machine
# that runs, and last what an arm likes
LADDER = (
    "start", "holding", "board_wake", "collapse_margin", "window_low", "output_low",
    "board_fade", "pass_through", "window_high", "output_high", "output_limit", "input_limit",
    "bus_cut", "clamp", "output_cut", "open_circuit_capacitor", "open_circuit_sensor",
    "open_circuit_converter", "open_circuit_adc", "open_circuit_rectifier",
    "open_circuit_switch", "open_circuit_device", "open_circuit_device_fault", "motor_speed",
    "motor_current", "winding_temperature", "mount_temperature", "arm_force", "arm_power",
)


def clash(rig: Rig, edges: Edges) -> tuple[str, str]:
    """Names of two constraints that leave no pace between them: one that asks for more pace
    (low), then one that allows no more (high). Of all that clash it is the most basic pair: the
    first of LADDER that no comfortable pace keeps together with those before it, and what
    bars the paces at which it would hold.

    >>> from steadyturn.model.edges import find_edges
    >>> from steadyturn.rig.examples import example_path
    >>> from steadyturn.rig.file import read_rig
    >>> toy = read_rig(example_path("toy-motor"))
    >>> clash(toy, find_edges(toy))
    ('start', 'comfort_high')
    """
    pace = np.linspace(slowest_tpm(rig), fastest_tpm(rig), POINTS)
    listed = {one.name: row for row, one in enumerate(constraints(rig))}
    sheet = Sheet(rig, constraints(rig), pace)
    good = {name: sheet.margins[row] >= 0 for name, row in listed.items()}
    # where it has the volts to start but does not run it is power that lacks, not volts
    idle = np.min([view.pair.idle.node_v for view in sheet.views], axis=0)
    runs = np.logical_and.reduce([view.runs for view in sheet.views])
    good["start"] = idle >= rig.converter.start_v
    good["holding"] = runs
    left = np.ones(POINTS, dtype=bool)
    taker = {"low": "comfort_low", "high": "comfort_high"}  # of paces, at either end
    for name in LADDER:
        if name not in good:
            continue
        kept = left & good[name]
        if not kept.any():
            side = _side(name, left, good[name], edges)
            return (name, taker["high"]) if side == "low" else (taker["low"], name)
        before, after = np.nonzero(left)[0], np.nonzero(kept)[0]
        if after[0] > before[0]:
            taker["low"] = name
        if after[-1] < before[-1]:
            taker["high"] = name
        left = kept
    return _by_edges(edges)


@dataclass(frozen=True)
class Source:
    """At pace_tpm, the fastest comfortable pace, 20 degC: open_v [V], the bus with nothing
    but the board on it; most_w [W], what the converter's input can get at most, and asks_w,
    what it would need there to hold its output. Where most_w is less, no converter that
    holds its output can run: the source's E**2 / (4 R) is too little."""

    pace_tpm: float
    open_v: float
    most_w: float
    asks_w: float


def source(rig: Rig) -> Source:
    """What the motors can give at the fastest comfortable pace, see `Source`.

    >>> from steadyturn.rig.examples import example_path
    >>> from steadyturn.rig.file import read_rig
    >>> hut = source(read_rig(example_path("lakeside-hut")))
    >>> hut.pace_tpm, hut.most_w > hut.asks_w
    (90.0, True)
    """
    fastest = rig.arm.comfort_high_tpm
    pair = Pair(rig, np.array([fastest]), np.array([MILD_C]))
    at = pair.line.at(np.linspace(0.0, 1.0, 1001)[:, None] * pair.line.most())
    spare = np.where(at.in_v > 0, pair.output.power(at)[0], -np.inf).ravel()
    best = int(np.argmax(spare))
    most_w = float((at.in_v * at.in_a).ravel()[best])
    return Source(fastest, float(pair.idle.node_v[0]), most_w, most_w - float(spare[best]))


def _side(name: str, left: Flags, good: Flags, edges: Edges) -> str:
    """Whether `name`, which holds at none of the paces left, asks for more pace (low)."""
    holds = np.nonzero(good)[0]
    if holds.size:
        return "low" if holds[0] > np.nonzero(left)[0][-1] else "high"
    return next((limit.side for limit in edges.limits if limit.name == name), "low")


def _by_edges(edges: Edges) -> tuple[str, str]:
    """The binding one of each side, where the comfortable paces show nothing."""
    lows = [limit for limit in edges.limits if limit.side == "low"]
    highs = [limit for limit in edges.limits if limit.side == "high"]
    if lows and highs:
        return lows[0].name, highs[0].name
    only = (lows or highs)[0].name if lows or highs else "holding"
    second = (lows or highs)[1].name if len(lows or highs) > 1 else only
    return only, second
