"""What the machine does in time, asked question by question; page: traces.md.

Each answer is `traces.record` run and read, with a closed form beside it where there is one
(model.stability). Keys in SI, paces in turns/min. All of them take the load as plugged in
and connected from the start, as with the bypass link; the board's firmware is gentler: it
connects only where the machine can carry it.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from math import isfinite

import numpy as np

from steadyturn.errors import Problem, WrongInput
from steadyturn.model import stability
from steadyturn.model.hazards import SENSOR_MAX_V
from steadyturn.model.traces import (
    LETS_GO,
    RELEASE,
    SAMPLE_S,
    STARTS,
    UNPLUG,
    Script,
    record,
)
from steadyturn.rig.types import Rig

Progress = Callable[[float], None]

SLOWEST_TPM = 1.0  # a turn takes a minute: what the questions run is counted in turns


def check_pace(pace_tpm: float) -> None:
    """WrongInput where no question can be asked of pace_tpm [turns/min].

    >>> check_pace(60.0)
    >>> check_pace(0.0)
    Traceback (most recent call last):
    steadyturn.errors.WrongInput: question: pace = 0: 1 to 1000 turns/min.
    """
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
             threshold: bool = True, progress: Progress | None = None) -> StartUp:
    """Whether start-up at pace_tpm [turns/min] hunts, and what threshold would stop that.

    threshold: False leaves enough_start_v out (some ten runs less). progress: told the share
    done of the first run. WrongInput: a pace that nobody can keep.

    >>> from steadyturn.rig.examples import example_path
    >>> from steadyturn.rig.file import read_rig
    >>> told = start_up(read_rig(example_path("lakeside-hut")), 60, threshold=False)
    >>> told.hunts, round(told.first_start_s, 1), round(told.running_s, 1)
    (True, 0.7, 1.2)
    """
    check_pace(pace_tpm)
    traces = record(rig, Script.keep(pace_tpm, servo=servo), seconds,
                    progress=_share(progress, seconds))
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


def _share(progress: Progress | None, seconds: float) -> Progress | None:
    """What `record` tells in seconds as a share of them."""
    return None if progress is None else lambda done_s: progress(done_s / seconds)


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


def hiccup(rig: Rig, pace_tpm: float, *, seconds: float = 6.0, servo: bool = True,
           progress: Progress | None = None) -> Hiccup:
    """What hunting looks like at pace_tpm [turns/min], by default of a steady servo. progress:
    told the share done.

    >>> from steadyturn.rig.examples import example_path
    >>> from steadyturn.rig.file import read_rig
    >>> told = hiccup(read_rig(example_path("lakeside-hut")), 40, seconds=1.5)
    >>> told.hunts, round(told.period_s, 3)
    (True, 0.017)
    """
    check_pace(pace_tpm)
    traces = record(rig, Script.keep(pace_tpm, servo=servo), seconds, sample_s=0.005,
                    progress=_share(progress, seconds))
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
    """What happens when the load goes at speed, over `seconds` [s] after it.

    >>> from steadyturn.rig.examples import example_path
    >>> from steadyturn.rig.file import read_rig
    >>> told = unplugged(read_rig(example_path("lakeside-hut")), 70, at_s=3.0, seconds=0.5)
    >>> round(told.before_v, 1), round(told.highest_bus_v, 1), told.ratings[0].part
    (9.2, 11.5, 'device')
    """
    check_pace(pace_tpm)
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

