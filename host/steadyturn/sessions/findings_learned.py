"""Findings by what the outings together have taught: resistance, EMF and losses that move."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from steadyturn.model.band import find_band
from steadyturn.model.motor import emf_constant
from steadyturn.rig.types import Rig
from steadyturn.sessions.findings import Case, Finding, weigh
from steadyturn.sessions.findings_machine import LEAST_SHOWN
from steadyturn.sessions.learned import Learned

CODES = {"source_ohm": "resistance_rising", "emf_v_per_tpm": "emf_falling",
         "losses": "losses_rising", "slope": "gear_loss_rising"}


def learned_findings(case: Case, learned: Sequence[Learned]) -> list[Finding | None]:
    """One for each constant that is worn: its change is real by the odds, beyond its own range,
    and in the direction in which machines wear."""
    return [_one(case, one) for one in learned if one.worn]


def _one(case: Case, one: Learned) -> Finding | None:
    assert one.change_percent is not None
    assert one.began is not None
    evidence: dict[str, float | str] = {
        "value": one.value, "low": one.low, "high": one.high, "outings": one.outings,
        "change_percent": one.change_percent, "change_low_percent": one.change_low_percent or 0.0,
        "change_high_percent": one.change_high_percent or 0.0,
        "rate_percent": one.rate_percent or 0.0, "odds": one.odds, "began": one.began,
        "warmth": one.warmth}
    gain = None
    if case.rig is not None and one.share is not None:
        grown = 1 + one.change_percent / 100
        # an inertia is hardly known: only the slope's change says something of the gears
        share = grown if one.name == "slope" else one.share
        now = as_learned(case.rig, one, share)
        before = as_learned(case.rig, one, share / grown)
        evidence |= _edges(before, now) | _value(now, one)
        pace = case.pace.p50_tpm
        was, today = case.runs_w(before, pace), case.runs_w(now, pace)
        seconds = case.figures.connected_s
        if was[0] > 0 and today[0] > 0:
            gain = case.gain((was[0] - today[0]) * seconds, (was[1] - today[1]) * seconds)
    weight = weigh(gain, abs(one.change_percent) / 2)
    # what wears goes on: shown even where little is lost yet
    return Finding(CODES[one.name], evidence, gain, LEAST_SHOWN if weight is None else weight)


def as_learned(rig: Rig, one: Learned, share: float) -> Rig:
    """The rig with that constant `share` times what its file says."""
    emf_v_s = emf_constant(rig.motor)
    own = replace(rig.motor, emf_v_s=emf_v_s)
    if one.name == "source_ohm":
        return replace(rig, motor=replace(own, terminal_ohm=own.terminal_ohm * share))
    if one.name == "emf_v_per_tpm":
        return replace(rig, motor=replace(own, emf_v_s=emf_v_s * share))
    if one.name == "slope":
        return replace(rig, stages=tuple(replace(
            stage, efficiency=stage.efficiency * share ** (-1 / len(rig.stages)))
            for stage in rig.stages))
    part = rig.converter
    return replace(rig, converter=replace(
        part, loss_w=part.loss_w * share, loss_v=part.loss_v * share,
        loss_ohm=part.loss_ohm * share))


def _edges(before: Rig, now: Rig) -> dict[str, float | str]:
    """What the change does to the band's edges; nothing where there is none."""
    was, today = find_band(before, deep=False), find_band(now, deep=False)
    if not was.feasible or not today.feasible:
        return {} if was.feasible == today.feasible else {"band_gone": "yes"}
    return {"low_tpm_was": was.low_tpm or 0.0, "low_tpm": today.low_tpm or 0.0,
            "high_tpm_was": was.high_tpm or 0.0, "high_tpm": today.high_tpm or 0.0}


def _value(now: Rig, one: Learned) -> dict[str, float | str]:
    """The value that the rig file's key would have."""
    if one.name == "source_ohm":
        return {"key": one.rig_key, "key_value": now.motor.terminal_ohm}
    return {}
