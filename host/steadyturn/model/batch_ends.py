"""What bounds the search of a band before anything is looked at: the converter's own volts
and currents, the fold of the bare source, the EMF at the fastest pace."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from steadyturn.model.batch_edges import Ends, State, between
from steadyturn.model.batch_frame import Frame
from steadyturn.model.batch_look import LEFT, margins
from steadyturn.model.motor import copper, magnets

Floats = NDArray[np.float64]
Names = NDArray[np.int64]

BELOW_MARGIN = 1.3  # of the fold's volts; the collapse margin stands at 1.36 of them


def ends(frame: Frame, n: int, names: tuple[str, ...]) -> Ends:
    """Of n builds; names: of the limits.

    >>> from steadyturn.rig.examples import example_path
    >>> from steadyturn.rig.file import read_rig
    >>> hut = read_rig(example_path("lakeside-hut"))
    >>> from steadyturn.model.batch import LIMIT_NAMES
    >>> from steadyturn.model.batch_frame import build, spread
    >>> two = build(spread(hut, {"motor.terminal_ohm": [1.34, 6.0]}), LIMIT_NAMES, 2)
    >>> found = ends(two, 2, LIMIT_NAMES)  # the fold; the cold EMF at 90 turns/min
    >>> found.low_v.round(2).tolist(), found.high_v.round(2).tolist()
    ([3.32, 7.02], [14.18, 14.18])
    >>> LIMIT_NAMES[found.low_name[0]], LIMIT_NAMES[found.high_name[0]]
    ('start', 'comfort_high')
    """
    index, base = names.index, frame.base_w
    least = _least_v(frame)
    low = np.maximum(frame.low_v, least)
    name = np.where(least > frame.low_v, index("input_limit"),
                    np.where(frame.stops, index("start"), index("window_low")))
    if frame.kind != "linear":
        ohm = frame.ohm * copper(frame.cold_c) / frame.parallel
        fold = BELOW_MARGIN * np.sqrt(ohm * base / (1 + ohm * frame.bleed))
        real: Any = 0.0
        if frame.kind in ("boost", "buck_boost"):  # below this the coil's losses take it all
            real = (frame.loss_v + 2 * np.sqrt(frame.loss_ohm * base)) * (1 + 1e-9)
        if frame.kind == "buck_boost":
            lost = frame.set_a * (frame.loss_v + frame.loss_ohm * frame.set_a)
            steps_down = base + lost <= frame.set_a * real
            real = np.where(steps_down, 0.0, real)
        fold = np.maximum(fold, real)
        name = np.where(fold > low, index("start"), name)
        low = np.maximum(low, fold)
    high = np.minimum(frame.high_v, frame.pass_v)
    top = np.where(frame.high_v <= frame.pass_v, index("window_high"), index("pass_through"))
    reach = frame.fast_tpm * frame.emf_tpm * magnets(frame.cold_c)
    top = np.where(reach < high, frame.fast_name, top)
    high = np.minimum(high, reach)

    def each(values: Any) -> Any:
        return np.array(np.broadcast_to(values, (n,)))

    return Ends(each(low), each(high), each(name), each(top))


def _least_v(frame: Frame) -> Any:
    """Volts at which the converter takes all the current it may."""
    base, limit = frame.base_w, frame.in_limit_a
    if frame.kind == "linear":
        room = limit - frame.set_a
        least = np.where(room > 0, base / np.where(room > 0, room, 1.0), np.inf)
        return np.where((base == 0) & (room >= 0), 0.0, least)
    coil = {"buck": frame.set_a, "boost": limit,
            "buck_boost": np.maximum(limit, frame.set_a)}[frame.kind]
    return (base + coil * (frame.loss_v + frame.loss_ohm * coil)) / limit


def clash(state: State, found: Ends, names: tuple[str, ...],
          points: int) -> tuple[Names, Names]:
    """For builds that do not work in this state: the limit that asks for the most pace and the
    one that allows the least, on a grid of `points` between the ends: indices into names.

    >>> from steadyturn.rig.examples import example_path
    >>> from steadyturn.rig.file import read_rig
    >>> hut = read_rig(example_path("lakeside-hut"))
    >>> from steadyturn.model.batch import LIMIT_NAMES
    >>> from steadyturn.model.batch_frame import build, spread
    >>> weak = build(spread(hut, {"motor.terminal_ohm": [12.0]}), LIMIT_NAMES, 1)
    >>> low, high = clash(State(weak, weak.cold_c, False), ends(weak, 1, LIMIT_NAMES),
    ...                   LIMIT_NAMES, 9)
    >>> LIMIT_NAMES[low[0]], LIMIT_NAMES[high[0]]
    ('collapse_margin', 'comfort_high')
    """
    n = len(found.low_v)
    low_tpm, high_tpm = np.full(n, -np.inf), np.full(n, np.inf)
    low_name, high_name = found.low_name.copy(), found.high_name.copy()
    grid = between(found.low_v, np.maximum(found.high_v, found.low_v * 1.001), points)
    at = state.see(grid, 2)[0]
    pace = at.pace
    # on the other side of the fold nothing runs: start fails, the rest is not judged
    dead = np.zeros(pace.shape, bool) if at.spare is None else ~(at.spare > -LEFT)
    for name, _, row in margins(state.frame, at):
        if name in ("comfort_low", "comfort_high"):
            continue
        index: Any = state.frame.node_high_name if name == "clamp" else names.index(name)
        margin = np.where(dead | np.isnan(row), -np.inf, row)
        good = margin >= 0
        judged = ~dead | (name == "start")
        ever, known = good.any(axis=0), judged.any(axis=0)
        rises = np.argmax(margin, axis=0) > np.argmax(judged, axis=0)
        rises |= margin[-1] > -np.inf if name == "start" else False
        low = np.where(good[1:] & ~good[:-1] & judged[:-1], pace[1:], -np.inf).max(axis=0)
        high = np.where(good[:-1] & ~good[1:] & judged[1:], pace[:-1], np.inf).min(axis=0)
        low = np.where(ever, low, np.where(rises & known, np.inf, -np.inf))
        high = np.where(ever, high, np.where(rises | ~known, np.inf, -np.inf))
        low_name = np.where(low > low_tpm, index, low_name)
        low_tpm = np.maximum(low_tpm, low)
        high_name = np.where(high < high_tpm, index, high_name)
        high_tpm = np.minimum(high_tpm, high)
    pace = np.where(dead, np.nan, pace)
    bottom = np.where(np.isnan(pace[0]), -np.inf, pace[0])
    low_name = np.where(bottom > low_tpm, found.low_name, low_name)
    low_tpm = np.maximum(low_tpm, bottom)
    top = np.where(np.isnan(pace[-1]), np.inf, pace[-1])
    high_name = np.where(top < high_tpm, found.high_name, high_name)
    high_tpm = np.minimum(high_tpm, top)
    frame = state.frame
    low_name = np.where(frame.slow_tpm > low_tpm, names.index("comfort_low"), low_name)
    high_name = np.where(frame.fast_tpm < high_tpm, frame.fast_name, high_name)
    return low_name, high_name

