"""Which bus capacitor bridges the ripple of the arm; page: traces.md."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from math import floor, log10

import numpy as np

from steadyturn.errors import Problem, WrongInput
from steadyturn.model import stability
from steadyturn.model.questions import check_pace
from steadyturn.model.traces import (
    LETS_GO,
    SAMPLE_S,
    STARTS,
    STEP_S,
    Script,
    Traces,
    ordinary_step_s,
    record,
)
from steadyturn.rig.types import Rig

E6 = (1.0, 1.5, 2.2, 3.3, 4.7, 6.8)  # IEC 60063
DECADES = tuple(10.0**n for n in range(-6, 1))
SETTLES_S = 4.0  # from rest to a steady pace, at the arm's 40 turns/min a second and 0.7 s
TURNS = 6  # looked at once it is steady

Progress = Callable[[float], None]


@dataclass(frozen=True, slots=True)
class Size:
    """One bus capacitor [F] at a pace that the hand keeps, with the load connected.

    holds: the converter runs at the end, the device draws, and neither has let go in the
    turns looked at. ripple_v: peak to peak at the converter's input, twice a turn (None where
    it does not hold); closed_ripple_v: the same in small signals (None: no running point).
    lowest_v of the input, lowest_out_v at the socket in those turns. growth_per_s: of the
    slowest small motion (above zero: it swings up; None: no running point). starts_s: from
    rest with the load connected, when it has started for good (None: not in that time), after
    letting go lets_go times.
    """

    capacitor_f: float
    holds: bool
    ripple_v: float | None
    closed_ripple_v: float | None
    lowest_v: float
    lowest_out_v: float
    growth_per_s: float | None
    starts_s: float | None
    lets_go: int


@dataclass(frozen=True, slots=True)
class Bridging:
    """sizes: over decades. smallest_f: the least E6 value among 1 uF to 1 F that bridges
    the arm's ripple: it holds, and so does the next larger one (None: none does, or the pace
    has no running point). hold_up_f: C = 2 P t / (V1^2 - V2^2) for the quarter of a turn in
    which the arm pulls less than the mean, if nothing at all came from it (an upper bound)."""

    pace_tpm: float
    sizes: tuple[Size, ...]
    smallest_f: float | None
    hold_up_f: float | None


def bridging(rig: Rig, pace_tpm: float, *, sizes_f: Sequence[float] = DECADES,
             progress: Progress | None = None) -> Bridging:
    """How large a bus capacitor bridges the ripple of the arm at pace_tpm [turns/min], and
    what a large one does to starting. sizes_f [F]: those that are tried one by one; progress:
    told the share done.

    >>> from steadyturn.rig.examples import example_path
    >>> from steadyturn.rig.file import read_rig
    >>> found = bridging(read_rig(example_path("lakeside-hut")), 20, sizes_f=(1e-2,))
    >>> found.sizes[0].holds, found.smallest_f  # too slow: no capacitor helps
    (False, None)
    """
    check_pace(pace_tpm)
    sizes = []
    for n, farad in enumerate(sizes_f):
        sizes.append(size(rig, pace_tpm, farad))
        if progress is not None:
            progress((n + 1) / (len(sizes_f) + 4))
    held = sorted(s.capacitor_f for s in sizes if s.holds)
    smallest = _smallest(rig, pace_tpm, held) if held else None
    regime, volts, in_w, _ = stability.linear(rig, pace_tpm)
    hold_up = None
    stop_v = rig.converter.stop_v
    if regime == "regulating" and volts > stop_v:
        hold_up = 2 * in_w * (15 / pace_tpm) / (volts**2 - stop_v**2)
    return Bridging(pace_tpm, tuple(sizes), smallest, hold_up)


def size(rig: Rig, pace_tpm: float, capacitor_f: float) -> Size:
    """One bus capacitor [F] at pace_tpm [turns/min]: ripple and starting.

    >>> from steadyturn.rig.examples import example_path
    >>> from steadyturn.rig.file import read_rig
    >>> one = size(read_rig(example_path("lakeside-hut")), 60, 1e-3)
    >>> one.holds, round(one.ripple_v, 1), round(one.closed_ripple_v, 1)
    (True, 1.2, 1.2)
    """
    check_pace(pace_tpm)
    if not 1e-9 <= capacitor_f <= 1e3:
        raise WrongInput(Problem("question", "capacitor_f", f"{capacitor_f:g}",
                                 "1 nF to 1000 F."))
    made = replace(rig, bus=replace(rig.bus, capacitor_f=capacitor_f))
    holds, traces, since = _holds(made, pace_tpm)
    ohm = stability.Parts(made, 0.001).r_source
    seconds = SETTLES_S + min(5 * ohm * capacitor_f, 30.0)
    # how it starts needs no step finer than the located events
    start = record(made, Script.keep(pace_tpm), seconds, step_s=STEP_S, sample_s=0.02)
    starts = start.times(STARTS)
    about = stability.linear(made, pace_tpm)[3]
    return Size(
        capacitor_f, holds, ripple_v(traces, since) if holds else None,
        stability.closed_ripple_v(made, pace_tpm), float(traces.in_v[since:].min()),
        float(traces.out_v[since:].min()), None if about is None else about.growth().real,
        starts[-1] if starts and start.converter_on[-1] else None, len(start.times(LETS_GO)))


def _holds(rig: Rig, pace_tpm: float) -> tuple[bool, Traces, int]:
    """Whether the load keeps running at pace, and from which sample on the turns count."""
    script = Script.keep(pace_tpm)

    def run(seconds: float, step_s: float | None) -> tuple[bool, Traces, int]:
        looks = min(TURNS * 60 / pace_tpm, seconds)
        traces = record(rig, script, seconds, settle_s=SETTLES_S, step_s=step_s)
        since = int(np.searchsorted(traces.t_s, seconds - looks))
        late = [t for t in traces.times(LETS_GO) if t >= seconds - looks]
        draws = rig.load.kind == "none" or bool((traces.out_a[since + 1:] > 0).all())
        return bool(traces.converter_on[-1]) and not late and draws, traces, since

    if ordinary_step_s(rig) < STEP_S:  # what rings up does so within some milliseconds
        found = run(0.2, None)
        if not found[0]:
            return found
    ohm = stability.Parts(rig, 0.001).r_source
    slow = min(3 * ohm * rig.bus.capacitor_f, 20.0)
    return run(1.0 + slow + TURNS * 60 / pace_tpm, SAMPLE_S / 2)


def ripple_v(traces: Traces, since: int) -> float:
    """Peak to peak [V] of what goes round twice a turn in the converter's input, from sample
    `since` on: a least-squares fit beside a straight trend.

    >>> from steadyturn.rig.examples import example_path
    >>> from steadyturn.rig.file import read_rig
    >>> hut = read_rig(example_path("lakeside-hut"))
    >>> traces = record(hut, Script.keep(60), 2.0, settle_s=SETTLES_S)  # 2 turns
    >>> round(ripple_v(traces, 0), 1), round(float(np.ptp(traces.in_v)), 1)
    (1.2, 1.2)
    """
    angle = 4 * np.pi * traces.turns[since:]
    t = traces.t_s[since:]
    base = np.stack([np.ones_like(t), t - t[0], np.sin(angle), np.cos(angle)], axis=1)
    fit = np.linalg.lstsq(base, traces.in_v[since:], rcond=None)[0]
    return 2 * float(np.hypot(fit[2], fit[3]))


def _smallest(rig: Rig, pace_tpm: float, held: list[float]) -> float | None:
    """Least E6 value [F] that holds, sought below the least of `held`, by halving."""
    low, high = -6 * 6, _step(held[0])  # 1 uF, and a value known to hold
    values = range(low, high + 1)
    first, last = 0, len(values) - 1
    while first < last:
        middle = (first + last) // 2
        made = replace(rig, bus=replace(rig.bus, capacitor_f=_e6(values[middle])))
        if _holds(made, pace_tpm)[0]:
            last = middle
        else:
            first = middle + 1
    return _e6(values[last])


def _e6(step: int) -> float:
    """The E6 value `step` steps above 1 F.

    >>> _e6(0), _e6(-5), _e6(-18)
    (1.0, 0.15, 0.001)
    """
    decade = floor(step / 6)
    return float(f"{E6[step - 6 * decade]}e{decade}")


def _step(farad: float) -> int:
    """Number of the E6 value at or just above farad.

    >>> _step(0.001), _step(0.0011)
    (-18, -17)
    """
    step = floor(6 * log10(farad)) - 1
    while _e6(step) < farad * (1 - 1e-9):
        step += 1
    return step
