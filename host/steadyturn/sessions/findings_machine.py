"""Findings about the machine itself: volts, heat, resistance, gears, sensor, reservoir."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from steadyturn_fw import pages as layout

from steadyturn.model import bank
from steadyturn.model.change import with_value
from steadyturn.model.motor import COPPER_PER_K, copper
from steadyturn.sessions import burst
from steadyturn.sessions.findings import BROKEN, DANGER, Case, Finding, weigh
from steadyturn.sessions.ranges import ends

WARM_K = 25.0  # 10 % more resistance; less is what any motor at work has
NEAR_K = 15.0  # to a limit: what the board's reckoning of the warmth may be off (pace.md)
MORE_OHM = 1.10  # beyond the range of what is expected: brushes differ from start to start
LEAST_BURSTS = 2
SENSOR_S = 5.0  # a moment without an answer is repaired by the board itself
LEAST_SLIPS = 2  # each is already three seconds of disagreement
LEAST_CUT = 3
LEAST_SHOWN = 1.0  # weight of what is worth little yet


@dataclass(frozen=True, slots=True)
class Ohms:
    """The source's resistance as it was seen, with its 95 % range; how: "second load" or
    "turn sensor"; times: from so many bursts (1 for a turn sensor's mean)."""

    ohm: float
    low: float
    high: float
    how: str
    times: int


def machine_findings(case: Case, seen: Ohms | None) -> list[Finding | None]:
    """seen: what `seen_ohms` found."""
    return [_volts(case), _sensor(case), _gears(case), _heat(case), _warm(case),
            None if seen is None else _ohms(case, seen), _cut(case)]


def _volts(case: Case) -> Finding | None:
    f = case.figures
    times = f.releases.get("over_voltage", 0)
    if not times:
        return None
    return Finding("too_many_volts", {"times": times, "peak_v": f.peak_v,
                                      "peak_pace_tpm": f.peak_pace_tpm}, None, DANGER)


def _heat(case: Case) -> Finding | None:
    times = case.figures.releases.get("over_temperature", 0)
    return Finding("too_hot", {"times": times}, None, DANGER / 10) if times else None


def _sensor(case: Case) -> Finding | None:
    f = case.figures
    times = f.faults_by_name.get("sensor", 0)
    if f.volts_only_s < SENSOR_S:
        return None
    share = 100 * f.volts_only_s / f.on_s if f.on_s else 0.0
    return Finding("sensor_lost", {"seconds": f.volts_only_s, "times": times,
                                   "share_percent": share}, None, BROKEN + share)


def _gears(case: Case) -> Finding | None:
    f = case.figures
    if f.slips < LEAST_SLIPS:
        return None
    return Finding("gears_slip", {"times": f.slips, "worst_permille": f.slip_permille}, None,
                   BROKEN + f.slips)


def _cut(case: Case) -> Finding | None:
    """Boots that ended without a last page, though the board watches its reservoir."""
    boots = [boot for boot in case.figures.boots if boot.turns > 1]
    cut = sum(boot.ended == "cut" for boot in boots)
    if cut < LEAST_CUT or cut < len(boots) / 2 or not case.settings.get("fade_mv"):
        return None
    share = 100 * 4.6 * cut / case.figures.turning_s if case.figures.turning_s else 0.0
    return Finding("not_saved", {"cut": cut, "boots": len(boots)}, None, min(share, 5.0))


def _warm(case: Case) -> Finding | None:
    """Windings by the board's own reckoning (none where the settings do not follow it)."""
    turning = case.flow.turning
    if not turning.any():
        return None
    rise = float(case.flow.rise_k[turning].max())
    if rise < WARM_K:
        return None
    evidence: dict[str, float | str] = {
        "rise_k": rise, "ohm_percent": 100 * COPPER_PER_K * rise,
        "warm_s": case.flow.seconds(turning & (case.flow.rise_k >= WARM_K))}
    gain, near = None, False
    if case.rig is not None:
        rig = case.rig
        rest_c = (rig.air.cold_c + rig.air.hot_c) / 2
        part = rig.motor
        case_rise = rise * part.case_air_k_w / (part.case_air_k_w + part.winding_case_k_w)
        evidence |= {"winding_c": rest_c + rise, "winding_limit_c": part.max_winding_c,
                     "mount_c": rest_c + case_rise, "mount_limit_c": rig.bank.mount_max_c}
        near = (rest_c + rise > part.max_winding_c - NEAR_K
                or rest_c + case_rise > rig.bank.mount_max_c - NEAR_K)
        gain = _ratio_gain(case, rest_c, rest_c + rise)
    weight = weigh(gain, 100 * COPPER_PER_K * rise / 2)
    if near:
        weight = BROKEN - NEAR_K + rise / 1000  # before any gain: it melts or burns
    return None if weight is None else Finding("motor_warm", evidence, gain, weight)


def _ratio_gain(case: Case, cool_c: float, warm_c: float) -> dict[str, float] | None:
    """With windings at cool_c in place of warm_c, over the whole time connected."""
    from steadyturn.model.point import operate

    assert case.rig is not None
    pace = np.array([case.pace.p50_tpm, case.pace.p50_tpm])
    if not np.isfinite(pace).all():
        return None
    at = operate(case.rig, pace, winding_c=np.array([cool_c, warm_c]))
    if not (at.out_w > 0).all():
        return None
    seconds = case.figures.connected_s
    return case.gain(float(at.out_w[0] - at.out_w[1]) * seconds,
                     float(at.arm_w[0] - at.arm_w[1]) * seconds)


def seen_ohms(case: Case) -> Ohms | None:
    """The source's resistance as the journal shows it; None where it does not.

    By bursts of the second load (sessions/burst.py), else by a turn sensor: the EMF of the
    measured pace, less volts and drops, over the current.
    """
    s = case.settings
    found = [r for one in burst.bursts(case.pages) if (r := burst.resistance(
        one, capacitor_f=_number(s, "capacitor_uf") * 1e-6, drop_v=_number(s, "drop_mv") / 1000,
        knee_a=max(_number(s, "drop_knee_ma"), 1) / 1000)) is not None]
    if len(found) >= LEAST_BURSTS:
        ohm, low, high = (float(np.median([getattr(r, name) for r in found]))
                          for name in ("ohm", "low_ohm", "high_ohm"))
        return Ohms(ohm, low, high, "second load", len(found))
    return _by_turns(case)


def _number(settings: object, name: str) -> float:
    value = settings.get(name, 0)  # type: ignore[attr-defined]
    return float(value) if isinstance(value, int) else 0.0


def _by_turns(case: Case) -> Ohms | None:
    table = case.pages.pages
    if not (table["flags"] & layout.FLAG_PACE_MEASURED).any() or case.rig is None:
        return None
    boots = np.unique(table["boot"][table["flags"] & layout.FLAG_PACE_MEASURED > 0])
    flow = case.flow
    which = flow.settled & np.isin(flow.boot, boots)
    if flow.seconds(which) < 60.0:
        return None
    s = case.settings
    unseen_a = _number(s, "supply_ma") / 1000
    amps = flow.amps[which] + unseen_a
    knee = max(_number(s, "drop_knee_ma"), 1) / 1000
    drop = _number(s, "drop_mv") / 1000 * amps / (amps + knee)
    emf = bank.emf_v_per_tpm(case.rig, case.winding_c) * flow.pace_tpm[which]
    left = float((emf - flow.volts[which] - drop).mean())
    mean_a = float(amps.mean())
    key = "motor.emf_v_per_krpm"
    low, high = ends(case.rig, key if key in case.rig.origins else "motor.no_load_rpm")
    mean_emf = float(emf.mean())
    return Ohms(left / mean_a, (left - (1 - low) * mean_emf) / mean_a,
                (left + (high - 1) * mean_emf) / mean_a, "turn sensor", 1)


def _ohms(case: Case, seen: Ohms) -> Finding | None:
    if case.rig is not None:
        shunt = case.rig.sensor.shunt_ohm
        plain = bank.source_ohm(case.rig, case.winding_c)
        expected, top = plain + shunt, plain * ends(case.rig, "motor.terminal_ohm")[1] + shunt
    else:
        rise = float(case.flow.rise_k[case.flow.turning].mean()) if case.flow.turning.any() else 0
        expected = _number(case.settings, "source_mohm") / 1000 * float(copper(20 + rise))
        top = 1.15 * expected  # the tolerance of a winding, rig/tolerances.py
    if not expected or seen.low <= MORE_OHM * top:
        return None
    gain = None
    if case.rig is not None:
        worse = with_value(case.rig, "motor.terminal_ohm",
                           case.rig.motor.terminal_ohm * (seen.ohm - shunt) / plain)
        pace = case.pace.p50_tpm
        now, then = case.runs_w(worse, pace), case.runs_w(case.rig, pace)
        seconds = case.figures.connected_s
        if then[0] > 0 and now[0] > 0:
            gain = case.gain((then[0] - now[0]) * seconds, (then[1] - now[1]) * seconds)
    weight = weigh(gain, 100 * (seen.ohm / expected - 1) / 2)
    # a contact that goes bad goes on: shown even where little is lost yet
    weight = LEAST_SHOWN if weight is None else weight
    return Finding("resistance_up", {
        "ohm": seen.ohm, "low_ohm": seen.low, "high_ohm": seen.high, "expected_ohm": expected,
        "how": seen.how, "times": seen.times}, gain, weight)
