"""The bands of many builds of one rig at once. See batch.md."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from steadyturn.model.batch_edges import FINE, ROUGH, Effort, Ends, State, edge, scan
from steadyturn.model.batch_ends import clash, ends
from steadyturn.model.batch_frame import Frame, build, part, size, spread
from steadyturn.model.batch_target import targets
from steadyturn.model.motor import magnets
from steadyturn.rig.types import Rig

Floats = NDArray[np.float64]
Names = NDArray[np.int64]

LIMIT_NAMES = (
    "board_wake", "board_fade", "start", "holding", "collapse_margin", "input_limit",
    "output_limit", "window_low", "window_high", "pass_through", "output_low", "output_high",
    "bus_cut", "clamp", "output_cut", "open_circuit_capacitor", "open_circuit_sensor",
    "open_circuit_converter", "open_circuit_adc", "open_circuit_rectifier",
    "open_circuit_switch", "open_circuit_device", "open_circuit_device_fault", "motor_speed",
    "motor_current", "winding_temperature", "mount_temperature", "arm_force", "arm_power",
    "comfort_low", "comfort_high",
)  # in the order of `limits`
BLOCK = 1 << 16  # builds prepared together: bounds the memory


@dataclass(frozen=True)
class Bands:
    """One value a build. low_tpm, target_tpm, high_tpm [turns/min], and at the target, winding
    at 20 degC: arm_w, out_w [W], bus_v [V]; NaN where there is no band (and all but the
    edges where the target was not asked for). low_limit, high_limit: index into LIMIT_NAMES
    of what binds on each side; where there is no band, the two that clash."""

    low_tpm: Floats
    target_tpm: Floats
    high_tpm: Floats
    low_limit: Names
    high_limit: Names
    arm_w: Floats
    out_w: Floats
    bus_v: Floats


def bands(rig: Rig, values: Mapping[str, ArrayLike], *, fine: bool = True,
          target: bool = True) -> Bands:
    """The band of each build of `rig`.

    values: key as in the rig file ("motor.terminal_ohm"; also "train.ratio" and
    "train.efficiency" of all stages together) -> a number or a 1-D array, in SI; all
    arrays of one length. Kinds, and which protections are fitted, are those of `rig`.
    fine: edges to about 1e-3 turns/min; else mostly to 0.02, for searching (batch.md).

    Raises KeyError for a key that a rig has not, ValueError for arrays of unequal
    lengths or with a number that is not finite.

    >>> from steadyturn.rig.examples import example_path
    >>> from steadyturn.rig.file import read_rig
    >>> hut = read_rig(example_path("lakeside-hut"))
    >>> many = bands(hut, {"motor.terminal_ohm": [1.0, 1.4, 6.0]})
    >>> (many.high_tpm > many.low_tpm).tolist()
    [True, True, False]
    """
    n = size(values)
    effort = FINE if fine else ROUGH
    with np.errstate(all="ignore"):  # what is not a number is no band
        pieces = [piece for start in range(0, n, BLOCK)
                  for piece in _block(rig, part(values, start, start + BLOCK),
                                      min(BLOCK, n - start), effort, target)]
    return Bands(*(np.concatenate(parts) for parts in zip(*pieces, strict=True)))


def _block(rig: Rig, values: Mapping[str, ArrayLike], n: int, effort: Effort, target: bool
           ) -> list[tuple[NDArray, ...]]:
    frame = build(spread(rig, values), LIMIT_NAMES, n)
    return [_chunk(frame.take(slice(start, start + effort.chunk)), min(effort.chunk, n - start),
                   effort, target) for start in range(0, n, effort.chunk)]


def _chunk(frame: Frame, n: int, effort: Effort, target: bool) -> tuple[NDArray, ...]:
    found = ends(frame, n, LIMIT_NAMES)
    low, high = np.full(n, np.nan), np.full(n, np.nan)
    shut = np.broadcast_to(frame.shut, (n,))
    # without any drop the hot machine needs at least this pace
    least = found.low_v / (frame.emf_tpm * magnets(frame.hot_c))
    hope = (found.low_v < found.high_v) & (np.maximum(least, frame.slow_tpm) < frame.fast_tpm)
    hope &= shut < 0
    which = np.nonzero(hope)[0]
    if which.size:
        low[which], high[which], found.low_name[which], found.high_name[which] = _edges(
            frame.take(which), found.take(which), effort)
    found.low_name[~hope & (frame.slow_tpm > least)] = LIMIT_NAMES.index("comfort_low")
    found.high_name[shut >= 0] = shut[shut >= 0]
    works = low < high
    low[~works] = high[~works] = np.nan
    best = [np.full(n, np.nan) for _ in range(4)]
    if target and works.any():
        some = np.nonzero(works)[0]
        for whole, part in zip(best, targets(frame.take(some), low[some], high[some],
                                             found.low_v[some], found.high_v[some],
                                             fine=effort is FINE),
                               strict=True):
            whole[some] = part
    return (low, best[0], high, found.low_name, found.high_name, *best[1:])


def _edges(frame: Frame, found: Ends, effort: Effort) -> tuple[Floats, Floats, Names, Names]:
    """Edges that hold for the cold and for the hot machine, with the limits that make them;
    NaN where there is none."""
    n = len(found.low_v)
    states = (State(frame, frame.cold_c, False), State(frame, frame.hot_c, True))
    scans = [scan(states[0], found, effort)]
    # the hot machine only where the cold one works
    runs = scans[0].works
    some = np.nonzero(runs)[0]
    scans.append(scan(states[1].take(some), found.take(some), effort).back(some, n))
    tpm = [np.full(n, np.nan), np.full(n, np.nan)]
    names = [found.low_name.copy(), found.high_name.copy()]
    both = scans[1].works
    for side, sign in enumerate((1.0, -1.0)):
        binding = np.full(n, -np.inf)
        # the machine that mostly binds first (low: hot, high: cold); the other one where it is
        # not known to hold there
        for mine in (1 - side, side):
            known = (scans[mine].low, scans[mine].high)[side]
            which = np.nonzero(both & (sign * known.in_tpm > binding))[0]
            if which.size:
                at, name = edge(states[mine].take(which), known.take(which), side, effort,
                                LIMIT_NAMES)
                stricter = sign * at > binding[which]
                chosen = which[stricter]
                binding[chosen], names[side][chosen] = sign * at[stricter], name[stricter]
        tpm[side][both] = sign * binding[both]
    low = np.maximum(tpm[0], frame.slow_tpm)  # where the last step stopped short of them
    high = np.minimum(tpm[1], frame.fast_tpm)
    for state, lost in zip(states, (~runs, runs & ~both), strict=True):
        which = np.nonzero(lost)[0]
        if which.size:
            names[0][which], names[1][which] = clash(
                state.take(which), found.take(which), LIMIT_NAMES, effort.points)
    return low, high, names[0], names[1]
