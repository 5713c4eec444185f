"""How long a charge takes, what it asks of the arm, and how sure that is."""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import exp, hypot, inf, isfinite, log
from pathlib import Path

from steadyturn.jobs.charge_values import (
    STATES,
    checked_pace,
    checked_states,
    device,
    with_state,
)
from steadyturn.jobs.hazards import Hazard, hazards_at, hazards_of
from steadyturn.jobs.predict import Broken, broken_limits
from steadyturn.model import endurance, load
from steadyturn.model.band import Band, find_band
from steadyturn.model.charging import Charge, Feed, charge, course, feed
from steadyturn.model.charging_reach import Reach, reach
from steadyturn.model.charging_sure import Mover, Span, Sure, sure
from steadyturn.report import charge_plot
from steadyturn.rig.file import read_rig
from steadyturn.rig.types import Rig

CELL_C = (0.0, 45.0)  # charging a lithium cell: cell sheets, from memory


@dataclass(frozen=True)
class Choice:
    """The same charge with the phone in another state: "off", "flight" or "lit". crank_min for
    the same gain (None: it never arrives), gained_percent in the same time."""

    phone: str
    self_use_w: float
    crank_min: float | None
    gained_percent: float | None


@dataclass(frozen=True)
class Course:
    """The charge over the time of turning, breaks left out."""

    minutes: tuple[float, ...]
    percent: tuple[float, ...]
    device_w: tuple[float, ...]
    arm_w: tuple[float, ...]


@dataclass(frozen=True)
class Work:
    """What it takes, each with its range. elapsed_min: with breaks, inf (null) where it is more
    than a day's work; each round is work_min of turning and rest_min of rest (0: no break)."""

    crank_min: Span
    turns: Span
    gained_percent: Span
    arm_kj: Span
    food_kcal: Span
    elapsed_min: Span
    work_min: float
    rest_min: float
    day_min: tuple[float, float, float]


@dataclass(frozen=True)
class Device:
    """What is charged. phone: the state asked for, None for the rig's own self_use_w.
    capacity_range_wh: what the capacity is known to; capacity_given: it stands in the rig file.
    taper_percent: where the draw begins to fall, None where nothing arrives."""

    kind: str
    phone: str | None
    capacity_wh: float
    capacity_range_wh: tuple[float, float]
    capacity_given: bool
    self_use_w: float
    taper_percent: float | None


@dataclass(frozen=True)
class Machine:
    """The machine at this pace and the full draw, winding at 20 degC. asked_a: what the device
    would draw from a stiff port; cell_w: what the battery
    gains; top_v: at the device at any draw up to the full one, borne_v: what it or the output's
    cut bears; cable_v: lost in the cable; keeps_min: how long this arm keeps arm_w, (low, middle,
    high), 480 is eight hours or more; reach: how much a device could draw. in_v, in_borne_v: at
    the converter's input, and what that bears."""

    device_w: float
    device_v: float
    device_a: float
    asked_a: float
    top_v: float
    borne_v: float
    cable_v: float
    cell_w: float
    arm_w: float
    keeps_min: tuple[float, float, float] | None
    output_limit_a: float
    advertised_a: float | None
    reach: Reach
    in_v: float
    in_borne_v: float


@dataclass(frozen=True)
class ChargeAnswer:
    """What `charge` found. possible: False where the answer is no, and `why` says which of
    "no_band", "nothing_arrives", "too_many_volts_in", "too_many_volts", "self_use".

    pace_tpm: None without one; at_target: it is the band's target. from_percent, to_percent:
    state of charge at both ends, the latter net. minutes: as asked for, None where to_percent
    was. cell_c, air_c: temperatures allowed for charging, and of the rig's air. hazards: ratings
    that break if the load goes at this pace, or anywhere in the band. broken: the band's limits
    that do not hold at this pace.
    """

    file: str
    rig: str
    possible: bool
    why: str
    pace_tpm: float | None
    at_target: bool
    band_tpm: tuple[float, float] | None
    from_percent: float
    to_percent: float
    minutes: float | None
    device: Device
    machine: Machine | None
    work: Work | None
    choices: tuple[Choice, ...]
    movers: tuple[Mover, ...]
    cell_c: tuple[float, float]
    air_c: tuple[float, float]
    hazards: tuple[Hazard, ...]
    broken: tuple[Broken, ...]
    course: Course | None
    plot: Path | None = None


def charge_answer(
    path: str | Path, *, from_percent: float = 20.0, to_percent: float | None = None,
    minutes: float | None = None, pace_tpm: float | None = None, phone: str | None = None,
    plot: Path | None = None,
) -> ChargeAnswer:
    """Charge the device of a rig file from from_percent to to_percent (80 where neither it nor
    `minutes` is given), or for so many minutes of turning, at pace_tpm (None: the target).

    phone: "off", "flight" or "lit", None for the rig's self_use_w. plot: also draw it there.
    Raises WrongInput for the file's problems, a load that has no battery, percentages out of
    order, minutes, pace and phone out of range; Failed where matplotlib is missing for `plot`.
    """
    start, end = checked_states(from_percent, to_percent, minutes)
    checked_pace(pace_tpm)
    if plot is not None:
        charge_plot.check(plot)
    told = read_rig(path)
    rig = device(told, str(path), phone)
    band = find_band(rig, deep=False)
    pace = band.target_tpm if pace_tpm is None else pace_tpm
    given = None if pace is None else feed(rig, pace)
    seconds = None if minutes is None else minutes * 60
    done = None
    if given is not None:
        done = charge(rig.load, given, start, end=end, seconds=seconds)
    why = _why(rig, given)
    answer = ChargeAnswer(
        file=str(path), rig=rig.name, possible=why == "", why=why,
        pace_tpm=pace, at_target=pace_tpm is None,
        band_tpm=None if band.low_tpm is None or band.high_tpm is None
        else (band.low_tpm, band.high_tpm),
        from_percent=100 * start, to_percent=_end_percent(start, end, done), minutes=minutes,
        device=_device(rig, told, phone, done),
        machine=None if given is None else _machine(rig, given), work=None,
        choices=() if given is None or done is None else _choices(rig, given, done, end, seconds),
        movers=(), cell_c=CELL_C, air_c=(rig.air.cold_c, rig.air.hot_c),
        hazards=_hazards(rig, band, pace),
        broken=() if pace is None else broken_limits(rig, pace), course=None)
    if not answer.possible or given is None or done is None:
        return answer
    found = sure(rig, given, done, seconds=seconds)
    answer = replace(answer, work=_work(rig, given, done, found), movers=found.movers,
                     course=_course(rig, given, done), plot=plot)
    if plot is not None:
        charge_plot.write(answer, plot)
    return answer


def _why(rig: Rig, given: Feed | None) -> str:
    if given is None:
        return "no_band"
    if not given.out_w[-1] > 0:
        return "nothing_arrives"
    if float(given.full.bus_v) > rig.converter.max_in_v:
        return "too_many_volts_in"
    if given.top_v > _borne_v(rig):
        return "too_many_volts"
    net_w = rig.load.charge_efficiency * float(given.out_w[-1]) - rig.load.self_use_w
    return "" if net_w > 0 else "self_use"


def _hazards(rig: Rig, band: Band, pace_tpm: float | None) -> tuple[Hazard, ...]:
    if pace_tpm is not None and pace_tpm > (band.high_tpm or 0.0):
        return hazards_at(rig, pace_tpm)
    return hazards_of(rig, band)


def _borne_v(rig: Rig) -> float:
    return min(rig.load.max_v, rig.protection.output_cut_v or inf)


def _end_percent(start: float, end: float | None, done: Charge | None) -> float:
    if end is not None:
        return 100 * end
    return 100 * (start if done is None else done.end)


def _device(rig: Rig, told: Rig, phone: str | None, done: Charge | None) -> Device:
    wh = (rig.load.capacity_j or 0.0) / 3600
    origin = rig.origins.get("load.capacity_wh")
    ends = (wh, wh) if origin is None else (origin.low / 3600, origin.high / 3600)
    return Device(
        kind=rig.load.kind, phone=phone, capacity_wh=wh, capacity_range_wh=ends,
        capacity_given=told.load.capacity_j is not None, self_use_w=rig.load.self_use_w,
        taper_percent=None if done is None else 100 * done.taper_from)


def _machine(rig: Rig, given: Feed) -> Machine:
    full, out_w = given.full, float(given.out_w[-1])
    keeps = None
    if out_w > 0:
        low, middle, high = endurance.minutes(rig.arm, full.arm_w, endurance.spread_of(rig))
        keeps = (float(low), float(middle), float(high))
    return Machine(
        device_w=out_w, device_v=float(full.out_v), device_a=float(full.out_a),
        asked_a=rig.load.draw_a, top_v=given.top_v, borne_v=_borne_v(rig),
        cable_v=float(full.out_a) * load.cable_ohm(rig.load),
        cell_w=rig.load.charge_efficiency * out_w - rig.load.self_use_w,
        arm_w=float(full.arm_w), keeps_min=keeps, output_limit_a=rig.converter.out_limit_a,
        advertised_a=rig.load.advertised_a, reach=reach(rig, given.pace_tpm),
        in_v=float(full.bus_v), in_borne_v=rig.converter.max_in_v)


def _choices(rig: Rig, given: Feed, done: Charge, end: float | None,
             seconds: float | None) -> tuple[Choice, ...]:
    """The phone's states, each over the same gain and over the same time."""
    if rig.load.kind != "phone":
        return ()
    found = []
    for name in STATES:
        other = with_state(rig, name)
        same = charge(other.load, given, done.start, end=end, seconds=seconds)
        lasts = same.seconds / 60 if end is not None and isfinite(same.seconds) else None
        gained = None if end is not None else 100 * (same.end - same.start)
        found.append(Choice(name, other.load.self_use_w, lasts, gained))
    return tuple(found)


def _work(rig: Rig, given: Feed, done: Charge, found: Sure) -> Work:
    crank = _scaled(found.seconds, 1 / 60)
    spread = endurance.spread_of(rig)
    mean_w = done.arm_j / done.seconds
    plans = [endurance.breaks(rig.arm, mean_w, min(time, 1e9), spread)
             for time in (crank.low, crank.value, crank.high)]
    plan = plans[1]
    worst, usual, best = endurance.MUSCLE
    food = usual * endurance.KCAL_J
    return Work(
        crank_min=crank, turns=_scaled(crank, given.pace_tpm),
        gained_percent=_scaled(found.gained, 100.0), arm_kj=_scaled(found.arm_j, 1e-3),
        food_kcal=_scaled(_widened(found.arm_j, usual / best, usual / worst), 1 / food),
        elapsed_min=Span(plan.elapsed_min[1], plans[0].elapsed_min[0], plans[2].elapsed_min[2]),
        work_min=plan.work_min, rest_min=plan.rest_min, day_min=plan.day_min)


def _scaled(span: Span, by: float) -> Span:
    return Span(span.value * by, span.low * by, span.high * by)


def _widened(span: Span, down: float, up: float) -> Span:
    """A range times a factor that itself lies between `down` and `up`: root of the squares of
    the logarithms."""
    low = hypot(log(span.value / span.low), log(down))
    high = hypot(log(span.high / span.value), log(up)) if isfinite(span.high) else inf
    return Span(span.value, span.value * exp(-low),
                span.value * exp(high) if high < 700 else inf)


def _course(rig: Rig, given: Feed, done: Charge) -> Course:
    times, states, device_w, arm_w = course(rig.load, given, done)
    return Course(tuple((times / 60).tolist()), tuple((100 * states).tolist()),
                  tuple(device_w.tolist()), tuple(arm_w.tolist()))
