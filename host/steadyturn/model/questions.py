"""What the machine does in time, asked question by question; page: traces.md.

Each answer is `traces.record` run and read, with a closed form beside it where there is one
(model.stability). Keys in SI, paces in turns/min. All of them take the load as plugged in
and connected from the start, as with the bypass link; the board's firmware is gentler: it
connects only where the machine can carry it.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from math import floor, isfinite, log10

import numpy as np

from steadyturn.errors import Problem, WrongInput
from steadyturn.model import stability
from steadyturn.model.hazards import SENSOR_MAX_V
from steadyturn.model.traces import (
    LETS_GO,
    RELEASE,
    SAMPLE_S,
    STARTS,
    STEP_S,
    UNPLUG,
    Script,
    Traces,
    ordinary_step_s,
    record,
)
from steadyturn.rig.types import Rig

E6 = (1.0, 1.5, 2.2, 3.3, 4.7, 6.8)  # IEC 60063
SETTLES_S = 4.0  # from rest to a steady pace, at the arm's 40 turns/min a second and 0.7 s
TURNS = 6  # looked at once it is steady

SLOWEST_TPM = 1.0  # a turn takes a minute: what the questions run is counted in turns

Progress = Callable[[float], None]


def _check_pace(pace_tpm: float) -> None:
    """WrongInput where no question can be asked of pace_tpm [turns/min]."""
    if not (isfinite(pace_tpm) and SLOWEST_TPM <= pace_tpm <= 1000):
        raise WrongInput(Problem("question", "pace", f"{pace_tpm:g}", "1 to 1000 turns/min."))


# --------------------------------------------------------------------------- starting


@dataclass(frozen=True, slots=True)
class StartUp:
    """From rest to pace_tpm with the load connected.

    first_start_s: when the converter first starts (None: never). running_s: when it has
    started for good (None: it does not within seconds). starts: how often it started.
    hunts: it let go at least once. overshoot_percent: how far the handle goes beyond its
    pace at most. enough_start_v: the least start threshold, found by trial to 0.05 V, that
    runs without letting go (None: it does not hunt, or none below the volts reached does).
    closed_start_v: the same for a pace that rises slowly, in closed form (None: no running
    point, or no constant power).
    """

    pace_tpm: float
    seconds: float
    first_start_s: float | None
    running_s: float | None
    starts: int
    hunts: bool
    overshoot_percent: float
    start_v: float
    enough_start_v: float | None
    closed_start_v: float | None


def start_up(rig: Rig, pace_tpm: float, *, seconds: float = 8.0, servo: bool = False,
             threshold: bool = True) -> StartUp:
    """Whether start-up at pace_tpm [turns/min] hunts, and what threshold would stop that.

    threshold: False leaves enough_start_v out (some ten runs less). WrongInput: a pace that
    nobody can keep.
    """
    _check_pace(pace_tpm)
    traces = record(rig, Script.keep(pace_tpm, servo=servo), seconds)
    starts, stops = traces.times(STARTS), traces.times(LETS_GO)
    runs = bool(starts) and bool(traces.converter_on[-1])
    enough = None
    if threshold and stops:
        enough = _enough_v(rig, pace_tpm, seconds, servo)
    regime, _, in_w, about = stability.linear(rig, pace_tpm)
    closed = None
    if about is not None and regime == "regulating":
        closed = stability.start_threshold_v(about.r, in_w, rig.converter.stop_v)
    return StartUp(
        pace_tpm, seconds, starts[0] if starts else None,
        starts[-1] if runs else None, len(starts), bool(stops),
        max(0.0, 100 * (float(traces.pace_tpm.max()) / pace_tpm - 1)),
        rig.converter.start_v, enough, closed)


def _enough_v(rig: Rig, pace_tpm: float, seconds: float, servo: bool) -> float | None:
    """Least start threshold [V] that starts and does not let go."""

    def holds(start_v: float) -> bool:
        part = replace(rig.converter, start_v=start_v)
        traces = record(replace(rig, converter=part), Script.keep(pace_tpm, servo=servo), seconds,
                        step_s=SAMPLE_S / 2)  # the located events are what counts
        return bool(traces.times(STARTS)) and not traces.times(LETS_GO)

    idle = record(rig, Script.keep(pace_tpm, servo=servo, connected=False), seconds)
    top = float(idle.bus_v.max())
    low = rig.converter.start_v
    # from above: just below the volts reached it starts late, and holds if any does
    tried = [low + (top - low) * share for share in (0.97, 0.9, 0.8, 0.65, 0.5)]
    good = next((v for v in tried if v > low and holds(v)), None)
    if good is None:
        return None
    while good - low > 0.05:
        middle = (low + good) / 2
        low, good = (low, middle) if holds(middle) else (middle, good)
    return good


# ----------------------------------------------------------------------------- hunting


@dataclass(frozen=True, slots=True)
class Hiccup:
    """A converter that starts, collapses, lets go and starts again, at pace_tpm.

    hunts: it does, in the last two thirds of the time; the rest is None where it does not.
    period_s, on_share: mean of the hiccups; in_v_mean: the converter's input; out_w_mean:
    what the device gets; closed_period_s: of a bus at a steady pace, without soft start and
    drops (None: it would not hunt).
    """

    pace_tpm: float
    hunts: bool
    count: int
    period_s: float | None = None
    on_share: float | None = None
    in_v_mean: float | None = None
    out_w_mean: float | None = None
    closed_period_s: float | None = None


def hiccup(rig: Rig, pace_tpm: float, *, seconds: float = 6.0, servo: bool = True) -> Hiccup:
    """What hunting looks like at pace_tpm [turns/min], by default of a steady servo."""
    _check_pace(pace_tpm)
    traces = record(rig, Script.keep(pace_tpm, servo=servo), seconds, sample_s=0.005)
    since = seconds / 3
    starts = [t for t in traces.times(STARTS) if t >= since]
    stops = [t for t in traces.times(LETS_GO) if t >= since]
    if len(starts) < 2 or not stops:
        return Hiccup(pace_tpm, False, len(starts))
    first, last = starts[0], starts[-1]
    on = [min(stop for stop in stops if stop >= start) - start for start in starts[:-1]]
    period = (last - first) / (len(starts) - 1)
    late = traces.t_s >= since
    return Hiccup(
        pace_tpm, True, len(starts), period, sum(on) / (last - first),
        float(traces.in_v[late].mean()), float((traces.out_v * traces.out_a)[late].mean()),
        _closed_period_s(rig, float(traces.pace_tpm[late].mean())))


def _closed_period_s(rig: Rig, pace_tpm: float) -> float | None:
    part, out = rig.converter, stability.Parts(rig, 0.001)
    out.warm(out.air_c)
    output = stability.full_w(rig)
    if output is None:
        return None
    emf_v = out.kc * pace_tpm * stability.RPM - out.brush_v - out.diode_v
    # it lets go when its own terminals, behind shunt and switch, have fallen to stop_v
    stop_v = part.stop_v + out.r_input * output / part.stop_v
    if stop_v >= part.start_v:
        return None
    on, off = stability.hiccup_s(emf_v, out.r_source, out.bus_f, output, part.start_v,
                                 stop_v, out.bus_bleed)
    return on + off if np.isfinite(on + off) else None


# ------------------------------------------------------------------- the bus capacitor


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


DECADES = tuple(10.0**n for n in range(-6, 1))


def bridging(rig: Rig, pace_tpm: float, *, sizes_f: Sequence[float] = DECADES,
             progress: Progress | None = None) -> Bridging:
    """How large a bus capacitor bridges the ripple of the arm at pace_tpm [turns/min], and
    what a large one does to starting. progress: told the share done."""
    _check_pace(pace_tpm)
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
    """One bus capacitor [F] at pace_tpm [turns/min]: ripple and starting."""
    _check_pace(pace_tpm)
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
    `since` on: a least-squares fit beside a straight trend."""
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


# --------------------------------------------------------------------- the load goes


@dataclass(frozen=True, slots=True)
class Reached:
    """A rating and the highest volts that its part saw."""

    part: str
    highest_v: float
    rating_v: float
    broken: bool


@dataclass(frozen=True, slots=True)
class Unplugged:
    """The load goes at at_s while the handle is at pace_tpm; what: "unplug" (the device's
    plug) or "release" (the load switch).

    before_v: the bus just before. highest_bus_v, highest_out_v: afterwards; after_s: how long
    after at_s the bus is highest. overshoot_percent: how far the handle goes beyond its pace;
    fastest_tpm. ratings: every part that sees these volts, worst first.
    """

    pace_tpm: float
    what: str
    at_s: float
    before_v: float
    highest_bus_v: float
    highest_out_v: float
    after_s: float
    fastest_tpm: float
    overshoot_percent: float
    ratings: tuple[Reached, ...]


def unplugged(rig: Rig, pace_tpm: float, *, what: str = UNPLUG, at_s: float = 6.0,
              seconds: float = 3.0, servo: bool = False) -> Unplugged:
    """What happens when the load goes at speed, over `seconds` [s] after it."""
    _check_pace(pace_tpm)
    if what not in (UNPLUG, RELEASE):
        raise WrongInput(Problem("question", "what", what, f"{UNPLUG!r} or {RELEASE!r}."))
    script = Script.unplugged(pace_tpm, at_s, what=what, servo=servo)
    traces = record(rig, script, at_s + seconds, sample_s=0.005)
    after = traces.t_s >= at_s
    bus, top = traces.bus_v[after], int(np.argmax(traces.bus_v[after]))
    fastest = float(traces.pace_tpm[after].max())
    highest = max(float(bus[top]), traces.peak_after_v[0])
    out = traces.peak_after_v[1]
    return Unplugged(
        pace_tpm, what, at_s, float(traces.bus_v[~after][-1]), highest, out,
        float(traces.t_s[after][top] - at_s), fastest,
        max(0.0, 100 * (fastest / pace_tpm - 1)), _ratings(rig, highest, out, what))


def _ratings(rig: Rig, bus_v: float, out_v: float, what: str) -> tuple[Reached, ...]:
    seen = [("bus capacitor", bus_v, rig.bus.capacitor_max_v),
            (f"{rig.sensor.chip.upper()} sensor", bus_v, SENSOR_MAX_V[rig.sensor.chip])]
    if not (rig.switch.place == "bus_switch" and what == RELEASE):
        seen.append(("converter input", bus_v, rig.converter.max_in_v))
    if rig.rectifier.kind != "none":
        seen.append(("rectifier", bus_v, rig.rectifier.max_v))
    if rig.switch.place == "bus_switch":
        seen.append(("load switch", bus_v, rig.switch.max_v))
    if rig.load.kind != "none":
        seen.append(("device", out_v, rig.load.max_v))
    found = [Reached(part, volts, rating, volts > rating) for part, volts, rating in seen]
    return tuple(sorted(found, key=lambda r: -r.highest_v / r.rating_v))

