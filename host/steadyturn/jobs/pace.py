"""The paces that work for a rig, and what limits them."""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from steadyturn.errors import Problem, WrongInput
from steadyturn.jobs.hazards import Hazard, hazards_of
from steadyturn.jobs.pace_map import Map, pace_map
from steadyturn.model import arm, endurance
from steadyturn.model.band import Band, cheapest_tpm, find_band
from steadyturn.model.change import field_of
from steadyturn.model.clash import Source, source
from steadyturn.model.edges import Limit
from steadyturn.model.effort import effort
from steadyturn.model.guesses import Guess, first_to_measure
from steadyturn.model.point import Points, operate
from steadyturn.model.remedies import Remedy
from steadyturn.model.states import PASS_THROUGH, REGIMES
from steadyturn.model.tolerance import Sure, sure_band
from steadyturn.report import plot_files, plots_map
from steadyturn.rig.file import read_rig
from steadyturn.rig.remarks import gearbox
from steadyturn.rig.types import Rig

COLUMNS = 61  # of the picture
LEAST_SURE, MOST_SURE = 50.0, 99.9  # percent
LEAST_SHARE = 0.01  # of the variance, and
LEAST_MOVE_TPM = 0.5  # of an edge: what matters less is not worth measuring
BESIDE_TPM = (-10.0, -5.0, 5.0, 10.0)


@dataclass(frozen=True)
class Curve:
    """Volts over handle speed, winding at 20 degC; one value a pace.

    loaded_v: at the converter's input with it running, NaN where it cannot; open_v: the
    bus with nothing but the board on it; too_heavy: where the arm's limit of force or
    power is passed; passing: where the converter no longer limits the voltage.
    """

    pace_tpm: tuple[float, ...]
    loaded_v: tuple[float, ...]
    open_v: tuple[float, ...]
    arm_w: tuple[float, ...]
    too_heavy: tuple[bool, ...]
    passing: tuple[bool, ...]


@dataclass(frozen=True)
class Off:
    """off_tpm beside the target; more: the share by which a joule at the device then costs
    the arm more (NaN where it gets nothing); inside: that pace is in the band."""

    off_tpm: float
    more: float
    inside: bool


@dataclass(frozen=True)
class Effort:
    """Joules of the arm for each joule at the device over pace (NaN where it gets nothing),
    winding at 20 degC; where that is least, band or not, and what a few turns/min beside the
    target cost (none without a band)."""

    pace_tpm: tuple[float, ...]
    arm_j_per_j: tuple[float, ...]
    least_tpm: float | None
    least_j_per_j: float | None
    beside: tuple[Off, ...]


@dataclass(frozen=True)
class Measure:
    """The one value to measure first: key and how. may_vanish: within the ranges of the
    guesses the band can go; opens: there is none, but within them there can be one."""

    key: str
    how: str
    may_vanish: bool
    opens: bool


@dataclass(frozen=True)
class Pace:
    """What `pace` found; see model.band.Band for the fields they share.

    start_v: volts at which the converter starts from rest.
    edges_v: volts at the converter's input at the band's low and high edge, 20 degC.
    arm_keeps_min: minutes that this arm keeps the target's power, (low, middle, high), 480 is
    eight hours or more; a rough guide, not medical advice.
    source: what the motors can give, None where there is a band. measure: None where no guess
    matters. notes: what else to mind of the machine.
    sure: the paces that work for a share of builds, None where that was not asked.
    plot: the picture that was drawn, and map: what it shows; both None without one.
    """

    file: str
    rig: str
    feasible: bool
    low_tpm: float | None
    target_tpm: float | None
    high_tpm: float | None
    hold_tpm: float | None
    window_v: tuple[float, float]
    start_v: float
    edges_v: tuple[float, float] | None
    limits: tuple[Limit, ...]
    at_target: Points | None
    open_circuit_v: float
    assumed: tuple[Guess, ...]
    clash: tuple[str, str] | None
    remedies: tuple[Remedy, ...]
    hazards: tuple[Hazard, ...]
    other_bands_tpm: tuple[tuple[float, float], ...]
    curve: Curve
    effort: Effort
    arm_keeps_min: tuple[float, float, float] | None
    source: Source | None
    measure: Measure | None
    notes: tuple[str, ...]
    sure: Sure | None = None
    plot: Path | None = None
    map: Map | None = None


def pace(path: str | Path, *, plot: Path | None = None, sure: float | None = None) -> Pace:
    """Read a rig file and find its band; plot: also draw its map there (.png or .svg); sure:
    also the paces that work for so many percent of builds.

    Raises WrongInput when the file cannot be used or the picture not be drawn there,
    Failed where matplotlib is missing.
    """
    if plot is not None:
        plot_files.check(plot)
    if sure is not None and not LEAST_SURE <= sure <= MOST_SURE:
        raise WrongInput(Problem(
            "--sure", "", f"{sure:g}", f"{LEAST_SURE:g} to {MOST_SURE:g} percent of the builds.",
            "95 is usual."))
    return pace_of(read_rig(path), path, plot=plot, sure=sure)


def pace_of(rig: Rig, path: str | Path, *, plot: Path | None = None,
            sure: float | None = None) -> Pace:
    """Like `pace`, of a rig that was read from `path` or stands nowhere yet."""
    band = find_band(rig)
    best = (band.low_tpm, band.high_tpm)
    edges_v = None
    if band.low_tpm is not None and band.high_tpm is not None:
        low_v, high_v = operate(rig, [band.low_tpm, band.high_tpm]).bus_v.tolist()
        edges_v = (low_v, high_v)
    sure_of = None if sure is None else sure_band(rig, share=round(sure / 100, 9))
    result = Pace(
        file=str(path), rig=rig.name, feasible=band.feasible, low_tpm=band.low_tpm,
        target_tpm=band.target_tpm, high_tpm=band.high_tpm, hold_tpm=band.hold_tpm,
        window_v=band.window_v, start_v=rig.converter.start_v, edges_v=edges_v, limits=band.limits,
        at_target=band.at_target, open_circuit_v=band.open_circuit_v, assumed=band.assumed,
        clash=band.clash, remedies=band.remedies, hazards=hazards_of(rig, band),
        other_bands_tpm=tuple(pair for pair in band.intervals if pair != best),
        curve=_curve(rig, band), effort=_effort(rig, band), arm_keeps_min=_keeps(rig, band),
        source=None if band.feasible else source(rig), measure=_measure(rig, band, sure_of),
        notes=(*(remark.text for remark in gearbox(rig)), *_wish(rig, band)), sure=sure_of,
        plot=plot,
        map=None if plot is None else pace_map(rig, band),
    )
    if plot is not None:
        plots_map.write(result, plot)
    return result


def _wish(rig: Rig, band: Band) -> list[str]:
    """That the target is not the cheapest pace, where the rig asks for another."""
    if rig.band.target_tpm is None or band.low_tpm is None or band.high_tpm is None:
        return []
    least = cheapest_tpm(rig, band.low_tpm, band.high_tpm)
    return [f"the target is what [band] of the rig file asks for; the cheapest pace would be "
            f"{least:.0f} turns/min."]


def _measure(rig: Rig, band: Band, sure: Sure | None) -> Measure | None:
    """By what the builds tell where they were drawn, else by how far the guesses move the
    band."""
    lost = [None in guess.low_tpm for guess in band.assumed]
    if sure is not None and sure.best_tpm is None:  # no measuring mends that
        return None
    if sure is not None:
        works = sure.low_tpm is None
        effects = [(one.key, one.works_share if works else one.width_share)
                   for one in sure.ranking]
        effects = [pair for pair in effects if pair[1] >= LEAST_SHARE]
    else:
        effects = [(guess.key, math.inf if guess.moves_tpm is None else guess.moves_tpm)
                   for guess in band.assumed]
        effects = [pair for pair in effects if pair[1] >= LEAST_MOVE_TPM]
    key = first_to_measure(effects)
    if key is None:
        return None
    known = field_of(key)
    how = known[3].how if known is not None else ""
    some = any(end is not None for guess in band.assumed for end in guess.low_tpm)
    return Measure(key, how, band.feasible and any(lost), not band.feasible and some)


def _shown_tpm(rig: Rig, band: Band) -> Any:
    furthest = max(rig.arm.comfort_high_tpm, band.high_tpm or 0.0) * 1.2
    return np.linspace(0.0, 10 * np.ceil(furthest / 10), COLUMNS)


def _effort(rig: Rig, band: Band) -> Effort:
    paces = _shown_tpm(rig, band)
    cost = effort(rig, paces)
    least = None if np.isnan(cost).all() else int(np.nanargmin(cost))
    beside: tuple[Off, ...] = ()
    if band.target_tpm is not None and band.low_tpm is not None and band.high_tpm is not None:
        near = np.maximum(band.target_tpm + np.array(BESIDE_TPM), 0.0)
        there, *others = effort(rig, [band.target_tpm, *near]).tolist()
        beside = tuple(Off(off, other / there - 1, bool(band.low_tpm <= at <= band.high_tpm))
                       for off, other, at in zip(BESIDE_TPM, others, near, strict=True))
    return Effort(tuple(paces.tolist()), tuple(cost.tolist()),
                  None if least is None else float(paces[least]),
                  None if least is None else float(cost[least]), beside)


def _keeps(rig: Rig, band: Band) -> tuple[float, float, float] | None:
    if band.at_target is None:
        return None
    spread = endurance.spread_of(rig)
    low, middle, high = endurance.minutes(rig.arm, band.at_target.arm_w, spread)
    return float(low), float(middle), float(high)


def _curve(rig: Rig, band: Band) -> Curve:
    paces = _shown_tpm(rig, band)
    on = operate(rig, paces)
    runs = on.out_a > 0 if rig.load.kind != "none" else on.bus_a > 0
    heavy = (arm.force_n(rig, on.crank_nm) > rig.arm.force_n) | (on.arm_w > rig.arm.power_w)

    def listed(values: Any) -> tuple[Any, ...]:
        return tuple(np.asarray(values).tolist())

    return Curve(
        pace_tpm=listed(paces), loaded_v=listed(np.where(runs, on.bus_v, np.nan)),
        open_v=listed(on.idle_v), arm_w=listed(np.where(runs, on.arm_w, np.nan)),
        too_heavy=listed(heavy & runs), passing=listed(on.regime == REGIMES[PASS_THROUGH]))
