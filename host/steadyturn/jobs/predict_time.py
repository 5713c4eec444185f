"""The machine in time from rest: how it starts, settles, and what a pulled plug does."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from steadyturn.errors import Problem, WrongInput
from steadyturn.jobs.hazards import Hazard, hazards_at
from steadyturn.jobs.predict import check_pace
from steadyturn.jobs.predict_questions import Questions, ask
from steadyturn.model import hazards
from steadyturn.model.traces import LETS_GO, STARTS, UNPLUG, Event, Script, Traces, record
from steadyturn.report import plot_files, plots_time
from steadyturn.rig.file import read_rig
from steadyturn.rig.spec import specs
from steadyturn.rig.types import Bus, Rig

Floats = NDArray[np.float64]

LONGEST_S = 86_400.0
SHORTEST_S = 0.1
SAMPLE_S = 0.01
MOST_SAMPLES = 200_000  # recorded: longer runs are sampled more coarsely
MOST_SHOWN = 2_000  # samples in the JSON
SHOW_UNPLUGGED_S = 4.0
LOOK_S = 5.0  # the end of the loaded time that counts as settled
ROWS = 12
REACHED = 0.95  # of the pace: the handle is there
QUIET_S = 1.0  # a converter that stays on for this long holds
_TRACES = ("t_s", "pace_tpm", "in_v", "in_a", "out_v", "out_a", "motor_a", "crank_nm", "bus_v",
           "converter_on", "connected", "plugged")

Progress = Callable[[float, str], None]


@dataclass(frozen=True)
class StartUp:
    """starts_s: the converter's first start, None where it never does; holds_s: from when on
    it stays on until the load goes or the time ends. starts, lets_go: how often until then,
    or in the whole loaded time. reached_s: when the handle first came to REACHED of its pace
    (None: not under load). hiccup_s: middle time from start to start where it does not
    hold. bus_v: highest volts of the bus while loaded."""

    starts_s: float | None
    holds_s: float | None
    starts: int
    lets_go: int
    reached_s: float | None
    hiccup_s: float | None
    bus_v: float


@dataclass(frozen=True)
class Span:
    """Mean and ends of a trace over the settled time."""

    mean: float
    low: float
    high: float


@dataclass(frozen=True)
class Settled:
    """The last seconds under load, from_s to to_s. out_w: the device's mean power."""

    from_s: float
    to_s: float
    pace_tpm: Span
    in_v: Span
    in_a: Span
    out_v: Span
    out_a: Span
    out_w: float
    crank_nm: Span
    arm_w: float


@dataclass(frozen=True)
class Rated:
    """What one part sees at the highest bus volts after the load went; as in
    model.hazards.Rating."""

    name: str
    volts: float
    rating_v: float
    reason: str


@dataclass(frozen=True)
class Unplugged:
    """After the plug was pulled at at_s: highest volts of bus and socket, fastest pace, and
    what each part sees, the tightest first."""

    at_s: float
    bus_v: float
    out_v: float
    pace_tpm: float
    rated: tuple[Rated, ...]


@dataclass(frozen=True)
class Row:
    """One moment; what: an event that made it worth a row, else empty."""

    t_s: float
    pace_tpm: float
    in_v: float
    in_a: float
    out_v: float
    out_a: float
    crank_nm: float
    converter_on: bool
    what: str


@dataclass(frozen=True)
class Course:
    """What `predict --time` found. overshoot_tpm: how far beyond pace_tpm the handle went
    under load. in_borne_v: what the converter's input bears. hazards: ratings that the source
    can exceed when the load goes at this pace. traces: as in model.traces.Traces, thinned,
    every sample_s [s]."""

    file: str
    rig: str
    pace_tpm: float
    time_s: float
    unplug_s: float | None
    capacitor_uf: float
    start_v: float
    stop_v: float
    in_borne_v: float
    hazards: tuple[Hazard, ...]
    start: StartUp
    settled: Settled | None
    overshoot_tpm: float
    unplugged: Unplugged | None
    questions: Questions
    rows: tuple[Row, ...]
    events: tuple[Event, ...]
    sample_s: float
    traces: dict[str, tuple[Any, ...]]
    plot: Path | None
    recorded: Traces = field(metadata={"json": False})


def predict_time(path: str | Path, pace_tpm: float, time_s: float, *,
                 unplug_s: float | None = None, capacitor_uf: float | None = None,
                 sizes: bool = False, plot: Path | None = None,
                 progress: Progress | None = None) -> Course:
    """The machine from rest to pace_tpm [turns/min], for time_s [s].

    unplug_s: when the device's plug is pulled (None: in the last quarter, at most 4 s before
    the end; at or after the end: never). capacitor_uf: a bus capacitor in place of the
    rig's [uF]. sizes: try bus capacitors, too. plot: also draw the traces there. progress:
    told the share done and of what.

    Raises WrongInput for values that make no sense, and for the file's problems.
    """
    check_pace(pace_tpm)
    _check_time("--time", time_s, SHORTEST_S, LONGEST_S, "from rest until things have settled, "
                "20 s are usually enough.")
    if unplug_s is None:
        unplug_s = max(0.75 * time_s, time_s - SHOW_UNPLUGGED_S)
    else:
        _check_time("--unplug", unplug_s, 0.0, LONGEST_S,
                    "at or after the end means never.")
    if plot is not None:
        plot_files.check(plot)
    rig = _fitted(read_rig(path), capacitor_uf)
    goes = unplug_s < time_s and rig.load.kind != "none"
    steps = ((0.0, pace_tpm), (unplug_s, UNPLUG)) if goes else ((0.0, pace_tpm),)
    sample_s = SAMPLE_S * math.ceil(time_s / SAMPLE_S / MOST_SAMPLES)
    told = progress or _nobody
    traces = record(rig, Script(steps), time_s, sample_s=sample_s,
                    progress=lambda done_s: told(done_s / time_s, "time"))
    asked = ask(rig, pace_tpm, sizes=sizes, progress=told)
    result = _course(path, rig, traces, asked, pace_tpm, time_s, unplug_s if goes else None, plot)
    if plot is not None:
        plots_time.write(result, plot)
    return result


def _nobody(share: float, what: str) -> None:
    """Where nobody watches."""


def _check_time(option: str, value: float, least: float, most: float, how: str) -> None:
    if not (math.isfinite(value) and least <= value <= most):
        raise WrongInput(Problem(option, "", f"{value:g}", f"seconds, {least:g} to {most:g}.",
                                 how[:1].upper() + how[1:]))


def _fitted(rig: Rig, capacitor_uf: float | None) -> Rig:
    if capacitor_uf is None:
        return rig
    spec = specs(Bus)["capacitor_f"]
    if not (math.isfinite(capacitor_uf) and spec.low <= capacitor_uf <= spec.high):
        raise WrongInput(Problem(
            "--capacitor", "", f"{capacitor_uf:g}", f"microfarads, {spec.low:g} to "
            f"{spec.high:g}.", "It is printed on the capacitor."))
    return replace(rig, bus=replace(rig.bus, capacitor_f=capacitor_uf * 1e-6))


def _course(path: str | Path, rig: Rig, traces: Traces, asked: Questions, pace_tpm: float,
            time_s: float, unplug_s: float | None, plot: Path | None) -> Course:
    end = time_s if unplug_s is None else unplug_s
    loaded = traces.t_s <= end
    start = _start_up(traces, end, REACHED * pace_tpm)
    step = -(-len(traces.t_s) // MOST_SHOWN)
    return Course(
        file=str(path), rig=rig.name, pace_tpm=pace_tpm, time_s=time_s, unplug_s=unplug_s,
        capacitor_uf=rig.bus.capacitor_f * 1e6, start_v=rig.converter.start_v,
        stop_v=rig.converter.stop_v, in_borne_v=rig.converter.max_in_v,
        hazards=hazards_at(rig, pace_tpm), start=start,
        settled=_settled(traces, start, end),
        overshoot_tpm=max(0.0, float(traces.pace_tpm[loaded].max()) - pace_tpm),
        unplugged=None if unplug_s is None else _unplugged(rig, traces, unplug_s),
        questions=asked, rows=_rows(traces, start, unplug_s), events=traces.events,
        sample_s=float(traces.t_s[1] - traces.t_s[0]) * step,
        traces={name: tuple(getattr(traces, name)[::step].tolist()) for name in _TRACES},
        plot=plot, recorded=traces)


def _start_up(traces: Traces, end: float, there_tpm: float) -> StartUp:
    starts = [t for t in traces.times(STARTS) if t <= end]
    stops = [t for t in traces.times(LETS_GO) if t <= end]
    holds = None
    if starts and (not stops or starts[-1] > stops[-1]):
        last = starts[-1]  # a start just before the end proves nothing
        if end - last >= min(QUIET_S, 0.25 * end):
            holds = last
    hiccup = None
    if holds is None and len(starts) > 2:
        late = starts[len(starts) // 2 :]
        hiccup = float(np.median(np.diff(late))) if len(late) > 1 else None
    there = np.nonzero((traces.pace_tpm >= there_tpm) & (traces.t_s <= end))[0]
    return StartUp(starts[0] if starts else None, holds, len(starts), len(stops),
                   float(traces.t_s[there[0]]) if there.size else None, hiccup,
                   float(traces.bus_v[traces.t_s <= end].max()))


def _settled(traces: Traces, start: StartUp, end: float) -> Settled | None:
    """None where the converter does not hold, or the time is too short to tell."""
    if start.holds_s is None:
        return None
    begin = max(end - LOOK_S, start.holds_s + 0.5 * (end - start.holds_s))
    seen = (traces.t_s >= begin) & (traces.t_s < end)
    if seen.sum() < 2:
        return None

    def span(name: str) -> Span:
        values = getattr(traces, name)[seen]
        return Span(float(values.mean()), float(values.min()), float(values.max()))

    turned = np.gradient(traces.turns, traces.t_s)[seen] * 2 * np.pi
    return Settled(
        from_s=float(begin), to_s=float(end), pace_tpm=span("pace_tpm"), in_v=span("in_v"),
        in_a=span("in_a"), out_v=span("out_v"), out_a=span("out_a"),
        out_w=float((traces.out_v * traces.out_a)[seen].mean()), crank_nm=span("crank_nm"),
        arm_w=float((traces.crank_nm[seen] * turned).mean()))


def _unplugged(rig: Rig, traces: Traces, at_s: float) -> Unplugged:
    after = traces.t_s >= at_s
    bus_v = max(float(traces.bus_v[after].max()), traces.peak_after_v[0])
    out_v = max(float(traces.converter_v[after].max()), traces.peak_after_v[1])
    rated = [Rated(one.name, float(one.seen(np.array(bus_v))), one.rating_v, one.reason)
             for one in hazards.ratings(rig) if not one.name.endswith("_fault")]
    rated.sort(key=lambda one: one.rating_v / max(one.volts, 1e-9))
    return Unplugged(at_s, bus_v, out_v, float(traces.pace_tpm[after].max()), tuple(rated))


def _rows(traces: Traces, start: StartUp, unplug_s: float | None) -> tuple[Row, ...]:
    """Evenly spaced moments, and those of what counts."""
    whole = float(traces.t_s[-1])
    marks = {0.0: "at rest", whole: ""}
    for i in range(1, ROWS - 3):
        marks[whole * i / (ROWS - 3)] = ""
    if start.starts_s is not None:
        marks[start.starts_s] = "converter starts"
    if start.holds_s is not None and start.holds_s != start.starts_s:
        marks[start.holds_s] = "starts, and holds"
    if unplug_s is not None:
        marks[unplug_s] = "unplugged"
    kept = {at for at in marks if marks[at]} | {whole}
    rows = []
    for at in sorted(marks):
        if at not in kept and any(abs(other - at) < 0.03 * whole for other in kept):
            continue
        i = min(int(np.searchsorted(traces.t_s, at - 1e-9)), len(traces.t_s) - 1)
        rows.append(Row(
            t_s=float(traces.t_s[i]), pace_tpm=float(traces.pace_tpm[i]),
            in_v=float(traces.in_v[i]), in_a=float(traces.in_a[i]),
            out_v=float(traces.out_v[i]), out_a=float(traces.out_a[i]),
            crank_nm=float(traces.crank_nm[i]), converter_on=bool(traces.converter_on[i]),
            what=marks[at]))
    return tuple(rows)
