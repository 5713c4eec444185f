"""Findings about hand and band: too slow for it, too fast for it, in and out of it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from steadyturn_fw import pages as layout

from steadyturn.model import gears
from steadyturn.model.point import operate
from steadyturn.rig.types import Rig
from steadyturn.sessions.findings import Case, Finding, weigh
from steadyturn.sessions.flow import SAMPLE_S, Flags, Floats

# A hand that follows the lamp is out of the band for some 5 % of the time once under way, and a
# clumsy one for 15 (virtual people, firmware/cue.md): a third is no slip of the hand.
OUT_PERCENT = 33.0
LEAST_S = 30.0  # of it: a shorter one may be chance, and is not worth other gears
# but nearly all of so much is no chance, nor is a hand by which nothing was delivered at all
NEARLY_ALL_PERCENT, SHORT_S, IN_VAIN_S = 90.0, 10.0, 5.0
# paces to gear for: that percent of the time was slower
MEANT = (15, 30, 50, 70, 85)
ONE_SIDED = 3.0  # so many times as long on one side as on the other: the band, not the hand


def pace_findings(case: Case) -> list[Finding | None]:
    edges = (case.low_tpm, case.target_tpm, case.high_tpm)
    if not all(np.isfinite(edge).all() for edge in edges):
        return []
    flow, judged = case.flow, case.judged
    below = judged & (flow.pace_tpm < case.low_tpm)
    # a bound is at most so fast; where the phone is released it is often all there is
    above = judged & (flow.known & (flow.pace_tpm > case.high_tpm) | (flow.cue == layout.STOP))
    below &= ~above
    out = below | above
    share = case.percent(out, judged)
    least_s = IN_VAIN_S if case.delivered_j <= 0 else (
        SHORT_S if share >= NEARLY_ALL_PERCENT else LEAST_S)
    if flow.seconds(out) < least_s or share < OUT_PERCENT:
        return []
    slow_s, fast_s = flow.seconds(below), flow.seconds(above)
    middle = float(np.median(flow.pace_tpm[judged]))
    low, high = float(np.median(case.low_tpm[judged])), float(np.median(case.high_tpm[judged]))
    if flow.seconds(out) < LEAST_S:
        return [_swings(case, out, below, above, low, high)]
    if slow_s > ONE_SIDED * fast_s:
        return [_beside(case, "band_too_high", below, float(np.median(flow.pace_tpm[below])),
                        middle, low)]
    if fast_s > ONE_SIDED * slow_s:
        return [_beside(case, "band_too_low", above, float(np.median(flow.pace_tpm[above])),
                        middle, high)]
    return [_swings(case, out, below, above, low, high)]


def _beside(case: Case, code: str, out: Flags, held: float, middle: float,
            edge: float) -> Finding | None:
    """The hand keeps to one side of the band: gears that bring the band to it."""
    judged = case.judged
    share = case.percent(out, judged)
    evidence: dict[str, float | str] = {
        "out_percent": share, "pace_tpm": middle, "held_tpm": held, "edge_tpm": edge}
    gain = None
    if case.rig is not None:
        needs_w = case.runs_w(case.rig, edge)[1]
        keeps_w = case.rig.arm.power_w
        if np.isfinite(needs_w):
            evidence |= {"needs_w": needs_w, "keeps_w": keeps_w}
        gains = [_geared(case, pace, max(keeps_w, needs_w)) for pace in
                 np.percentile(case.flow.pace_tpm[judged], MEANT).tolist()]
        gain = max((one for one in gains if one is not None), default=None,
                   key=lambda one: one["worth_percent"])
        if gain is None:  # the arm would not turn that: less load is what helps
            evidence["too_heavy"] = "yes"
    weight = weigh(gain, share)
    return None if weight is None else Finding(code, evidence, gain, weight)


def _geared(case: Case, pace: float, most_w: float) -> dict[str, float] | None:
    """What gears are worth whose target is this pace; None where the arm would not turn them."""
    assert case.rig is not None
    if not pace > 0:
        return None
    factor = float(np.median(case.target_tpm[case.judged])) / pace
    ratio = gears.ratio(case.rig.stages)
    changed = regeared(case.rig, factor)
    arm_w = case.runs_w(changed, pace)[1]
    if not arm_w <= most_w:
        return None
    return _gain(case, changed, case.low_tpm / factor, case.high_tpm / factor,
                 ratio=ratio * factor, ratio_now=ratio)


def _gain(case: Case, changed: Rig, low: Floats, high: Floats,
          **more: float) -> dict[str, float] | None:
    """Of the changed machine at the paces that were held: it delivers where they are in its
    band and nothing elsewhere, where the arm's work stays as it was."""
    flow, judged = case.flow, case.judged
    inside = judged & (flow.pace_tpm >= low) & (flow.pace_tpm <= high)
    if not inside.any():
        return None
    paces = flow.pace_tpm[inside]
    grid = np.linspace(float(paces.min()), float(paces.max()) + 1e-6, 60)
    at = operate(changed, grid, winding_c=case.winding_c)
    out_w = np.interp(paces, grid, np.nan_to_num(at.out_w))
    arm_w = np.interp(paces, grid, np.nan_to_num(at.arm_w))
    arm_now = _now_j(case, inside)[1]
    return case.gain(float(out_w.sum()) * SAMPLE_S - case.delivered_j,
                     float(arm_w.sum()) * SAMPLE_S - arm_now, **more)


def _now_j(case: Case, which: Flags) -> tuple[float, float]:
    """Delivered and worked [J] in these samples, as it was: the outing's output shared out by
    what went in while connected."""
    from steadyturn.sessions import arm

    assert case.rig is not None
    flow = case.flow
    in_j = float(flow.watts[flow.connected].sum())
    share = float(flow.watts[flow.connected & which].sum()) / in_j if in_j > 0 else 0.0
    worked = float(arm.power_w(case.rig, flow)[which].sum()) * SAMPLE_S
    return share * case.delivered_j, worked


def _swings(case: Case, out: Flags, below: Flags, above: Flags, low: float,
            high: float) -> Finding | None:
    """Now too slow, now too fast: the same time at the target."""
    judged = case.judged
    p5, p95 = np.percentile(case.flow.pace_tpm[judged], (5, 95)).tolist()
    evidence: dict[str, float | str] = {
        "out_percent": case.percent(out, judged),
        "below_percent": case.percent(below, judged), "above_percent": case.percent(above, judged),
        "low_tpm": low, "high_tpm": high,
        "p5_tpm": p5, "p95_tpm": p95}
    gain = None
    if case.rig is not None:
        target = float(np.median(case.target_tpm[judged]))
        out_w, arm_w = case.runs_w(case.rig, target)
        out_now, arm_now = _now_j(case, out)
        seconds = case.flow.seconds(out)
        if out_w > 0:
            gain = case.gain(out_w * seconds - out_now, arm_w * seconds - arm_now,
                             target_tpm=target)
    weight = weigh(gain, case.percent(out, judged))
    return None if weight is None else Finding("off_band", evidence, gain, weight)


def regeared(rig: Rig, factor: float) -> Rig:
    """The rig with so many times its gear ratio, on its first stage.

    >>> from steadyturn.rig.examples import example_path
    >>> from steadyturn.rig.file import read_rig
    >>> hut = read_rig(example_path("lakeside-hut"))
    >>> round(gears.ratio(hut.stages), 3), round(gears.ratio(regeared(hut, 1.2).stages), 3)
    (25.0, 30.0)
    """
    first, *others = rig.stages
    ratio = gears.stage_ratio(first) * factor
    first = replace(first, driver_teeth=None, driven_teeth=None, ratio=ratio)
    return replace(rig, stages=(first, *others))
