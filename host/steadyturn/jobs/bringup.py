"""A sheet for bringing up a rig: from meter and resistor to a phone, a reading at each step."""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from pathlib import Path

from steadyturn.circuit import values as circuit
from steadyturn.errors import Failed
from steadyturn.jobs import bringup_trials as trials
from steadyturn.jobs import with_page
from steadyturn.jobs.bringup_readings import Asked, Reading, readings
from steadyturn.jobs.bringup_steps import Stage, stages
from steadyturn.jobs.hazards import Hazard, hazards_of
from steadyturn.model import hazards as model
from steadyturn.model.band import Band, find_band
from steadyturn.model.point import operate
from steadyturn.report import bringup_page
from steadyturn.report.bringup_words import Sheet, sheet
from steadyturn.report.pace_empty import clash_line
from steadyturn.rig.types import Rig
from steadyturn.settings.thresholds import Thresholds, thresholds

AWAY = {"json": False}
OPEN_TPM = (30.0, 60.0)  # a turn in two seconds, and one a second: easy to count by a watch
ALIKE_TPM = 5.0  # nearer to the target: read once
TRIAL_TPM = 30.0
CLAMP_TPM = 80.0  # a brisk hand, for the clamp's trial
USB = ("phone", "power_bank", "lantern")
# what of the ratings only the device sees; all others limit how fast anything may be turned
DEVICE = "open_circuit_device"


@dataclass(frozen=True)
class Protected:
    """The circuit's own guards. clamp_v, cut_v: between which volts they act; hold_s: how
    long after the last pulse the load is let go, shortest and longest; bleed_s: until the
    bus has fallen to a tenth."""

    clamp_v: tuple[float, float]
    cut_v: tuple[float, float]
    hold_s: tuple[float, float]
    bleed_s: float
    fuse_a: float
    clamp_trial: trials.Trial | None
    cut_trial: trials.Trial | None
    bus_cut_trial: trials.Trial | None


@dataclass(frozen=True)
class Connects:
    """Where the board connects and releases the load: volts at the converter's input, turns/min;
    over_v: the bus above which it releases."""

    connect_v: float
    connect_tpm: float
    release_v: float
    over_v: float


@dataclass(frozen=True)
class Bringup:
    """feasible: there is a band; safe: no hazard that makes `check` refuse the rig. stages: in
    order, each with its steps; a stage that must not be begun says why. most_tpm: the pace at
    which a rating on the bus would be reached, device_tpm: at which the device's would; None
    where no hand gets there. fastest_tpm: of a
    hand whose load has gone; fastest_v: the bus then, without a clamp. no_pace: why there is no
    band, no_circuit: why there is no circuit for this rig, "" where there is one; unset: why a
    board cannot be set.
    sheet: the words, None only while they are found.
    """

    file: str
    rig: str
    feasible: bool
    safe: bool
    low_tpm: float | None
    target_tpm: float | None
    high_tpm: float | None
    clash: tuple[str, str] | None
    no_pace: str
    hazards: tuple[Hazard, ...]
    stages: tuple[Stage, ...]
    minutes: int
    resistors: tuple[trials.Resistor, ...]
    readings: tuple[Reading, ...]
    protected: Protected | None
    connects: Connects | None
    no_circuit: str
    unset: str
    most_tpm: float | None
    device_tpm: float | None
    fastest_tpm: float
    fastest_v: float
    sheet: Sheet | None
    page: Path | None
    described: Rig = field(metadata=AWAY)


def bringup(path: str | Path, *, page: Path | None = None) -> Bringup:
    """The sheet of a rig file; page: also write it there as HTML.

    Raises WrongInput for the file's problems, and where no page can be written there.
    """
    return with_page.made(path, page, bringup_page,
                          lambda rig: bringup_of(rig, path, page=page))


def bringup_of(rig: Rig, path: str | Path, *, page: Path | None = None) -> Bringup:
    """Like `bringup`, of a rig that was read from `path`; writes nothing."""
    band = find_band(rig, deep=False)
    hazards = hazards_of(rig, band)
    most_tpm = _least_rated_tpm(rig, band, of_device=False)
    device_tpm = _least_rated_tpm(rig, band, of_device=True)
    loaded_tpm = min((p for p in (most_tpm, device_tpm) if p is not None), default=math.inf)
    winding, dummy = trials.winding(rig, TRIAL_TPM), trials.dummy(rig)
    fastest = float(model.let_go_tpm(band.high_tpm or 0.0))
    protected, no_circuit = _protected(
        rig, band, min(CLAMP_TPM, most_tpm or CLAMP_TPM), dummy.ohm)
    connects, unset = _connects(rig, band)
    asked = Asked(_open_tpm(band, most_tpm), _loaded_tpm(rig, band, loaded_tpm), TRIAL_TPM,
                  winding.ohm, dummy.ohm,
                  band.target_tpm if rig.load.kind in USB else None)
    read = readings(rig, asked)
    resistors = [winding, dummy]
    if protected is not None:
        low = (protected.clamp_trial, protected.cut_trial, protected.bus_cut_trial)
        resistors += [trial.resistor for trial in low if trial]
    found = stages(rig, band, hazards, protected=protected is not None,
                   trials={r.name for r in resistors}, unset=unset, most_tpm=loaded_tpm)
    result = Bringup(
        file=str(path), rig=rig.name, feasible=band.feasible,
        safe=not any(h.refuses for h in hazards), low_tpm=band.low_tpm,
        target_tpm=band.target_tpm, high_tpm=band.high_tpm, clash=band.clash,
        no_pace=clash_line(band), hazards=hazards,
        stages=found, minutes=sum(s.minutes for s in found if not s.barred),
        resistors=tuple(resistors), readings=tuple(read.values()), protected=protected,
        connects=connects, no_circuit=no_circuit, unset=unset,
        most_tpm=most_tpm, device_tpm=device_tpm,
        fastest_tpm=fastest, fastest_v=float(model.open_circuit_v(rig, fastest)), sheet=None,
        page=page, described=rig)
    return replace(result, sheet=sheet(result))


def _protected(rig: Rig, band: Band, clamp_tpm: float,
               dummy_ohm: float) -> tuple[Protected | None, str]:
    try:
        made = circuit.design(rig, band.low_tpm, band.high_tpm)
    except ValueError as none:
        return None, str(none)
    return Protected(
        clamp_v=(made.clamp.trip.low_v, made.clamp.trip.high_v),
        cut_v=(made.cut.low_v, made.cut.high_v),
        hold_s=(made.hold.shortest_s, made.hold.longest_s), bleed_s=made.source.bleed_s,
        fuse_a=made.source.fuse_a, clamp_trial=trials.clamp(rig, made, clamp_tpm, dummy_ohm),
        cut_trial=trials.cut(rig, made), bus_cut_trial=_bus_cut(rig, band, made)), ""


def _bus_cut(rig: Rig, band: Band, made: circuit.Design) -> trials.Trial | None:
    if band.target_tpm is None:
        return None
    return trials.bus_cut(rig, made, float(operate(rig, band.target_tpm).bus_v))


def _connects(rig: Rig, band: Band) -> tuple[Connects | None, str]:
    try:
        found: Thresholds = thresholds(rig, band)
    except Failed as failed:
        return None, failed.what
    return Connects(found.connect_v, found.connect_tpm, found.release_v, found.over_v), ""


def _least_rated_tpm(rig: Rig, band: Band, *, of_device: bool) -> float | None:
    """The largest pace [turns/min] at which the open circuit breaks no rating on the bus, or of
    the device with nothing failed; None where even a hand whose load has gone breaks none."""
    rated = [r for r in model.ratings(rig) if r.name not in model.AFTER_A_FAULT
             and (r.name == DEVICE) == of_device]
    fastest = math.ceil(float(model.let_go_tpm(band.high_tpm or 0.0)))

    def holds(pace: float) -> bool:
        volts = model.open_circuit_v(rig, pace)
        return all(float(r.seen(volts)) <= r.rating_v for r in rated)

    if holds(fastest):
        return None
    return float(next(pace for pace in range(fastest, -1, -1) if holds(pace)))


def _open_tpm(band: Band, most_tpm: float | None) -> tuple[float, ...]:
    target = [float(round(band.target_tpm))] if band.target_tpm else []
    found = {*target, *(p for p in OPEN_TPM if all(abs(p - t) > ALIKE_TPM for t in target))}
    return tuple(sorted(p for p in found if most_tpm is None or p <= most_tpm))


def _loaded_tpm(rig: Rig, band: Band, most_tpm: float) -> tuple[float, ...]:
    """The band's ends and its target, as whole turns inside it, not above most_tpm; none where
    that is below the band."""
    if rig.load.kind == "none" or band.low_tpm is None or band.high_tpm is None:
        return ()
    assert band.target_tpm is not None
    high = min(band.high_tpm, most_tpm)
    ends = {math.ceil(band.low_tpm), round(band.target_tpm), math.floor(high)}
    inside = sorted(p for p in ends if band.low_tpm <= p <= high)
    if not inside and band.target_tpm <= most_tpm:  # narrower than a turn
        return (band.target_tpm,)
    return tuple(map(float, inside))
