"""From several outings to a narrower band or another target, each step with its evidence.

A step needs LEAST_OUTINGS and LEAST_S of connected time; nothing goes beyond the band that the
model finds safe for the machine. What is worth saying but leaves the band as it is, is left to
`review`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import isfinite, sqrt

import numpy as np

from steadyturn.model.band import INSET, Band
from steadyturn.model.effort import effort
from steadyturn.model.point import operate
from steadyturn.model.remedies import ENOUGH_TPM
from steadyturn.rig.types import Rig
from steadyturn.sessions.use import OutingUse

LEAST_OUTINGS = 3  # as sessions.history: of two nobody knows which is usual
LEAST_EACH_S = 120.0  # connected, in an outing that counts: common practice, no source
LEAST_S = 900.0  # in all: a quarter of an hour, common practice, no source
# the board's pace from volts is good to 2-3 % (firmware/pace.md), at 70 turns/min 2
UNSURE_TPM = 2.0
LEAST_MOVE_TPM = 4.0
RELEASES, IN_OUTINGS = 3, 2  # so many, in so many outings, are no chance: engineering judgement
ROOM_TPM = 1.0  # beyond the paces at which the load was let go
MANY_PER_S = 1 / 600.0  # releases: more than one in ten minutes is no contented hand
# Student's t for 95 % at 2, 3, 4, 6, 8, 12, 20, 40 degrees of freedom (any table of it)
_T = ((2, 4.303), (3, 3.182), (4, 2.776), (6, 2.447), (8, 2.306), (12, 2.179), (20, 2.086),
      (40, 2.021))


@dataclass(frozen=True)
class Step:
    """One edge, or the target, that moves. edge: low_tpm, target_tpm or high_tpm; before, after
    [turns/min]. why: collapses, too_much or held; evidence: figures with their units; worth: what
    it changes by the model and in these outings, with units."""

    edge: str
    before: float
    after: float
    why: str
    evidence: dict[str, float]
    worth: dict[str, float]


@dataclass(frozen=True)
class Constant:
    """A constant of the motor that outings taught otherwise than the rig file has it. key: in
    [motor]; the rest in its unit, low and high the 95 % range; share: after over before;
    outings: how many taught it."""

    key: str
    unit: str
    before: float
    after: float
    low: float
    high: float
    share: float
    outings: int


@dataclass(frozen=True)
class UseFound:
    """board: its id; outings: the numbers of those that count; left_out: how many were of another
    machine or band, or too short. held_tpm: the middle pace with the phone connected, and its
    95 % interval over the outings; in_band_percent of the turning time. steps: what to change;
    short_of: what is missing for a judgement, "" where there is enough. remarks: codes of what
    was seen and changes nothing. constants: of the motor, to be taken over; then the paces are
    not judged yet, since they were reckoned with the old ones."""

    board: str
    outings: tuple[int, ...]
    left_out: int
    turning_s: float
    connected_s: float
    held_tpm: float
    held_low_tpm: float
    held_high_tpm: float
    in_band_percent: float
    steps: tuple[Step, ...]
    short_of: str
    remarks: tuple[str, ...]
    constants: tuple[Constant, ...] = ()


def judge(uses: Sequence[OutingUse], left_out: int, rig: Rig, band: Band,
          board: str = "") -> UseFound:
    """uses: of this machine with this band; band: of `rig`, feasible."""
    long = [u for u in uses if u.connected_s >= LEAST_EACH_S and isfinite(u.held_tpm)]
    left_out += len(uses) - len(long)
    turning, connected = (sum(getattr(u, name) for u in long)
                          for name in ("turning_s", "connected_s"))
    held, reach = _held(long)
    steps: list[Step] = []
    remarks: list[str] = []
    short = ""
    if len(long) < LEAST_OUTINGS:
        short = "outings"
    elif connected < LEAST_S:
        short = "minutes"
    else:
        steps, remarks = _steps(long, rig, band, held, reach)
    return UseFound(
        board, tuple(u.outing for u in long), left_out, turning, connected, held, held - reach,
        held + reach, 100 * sum(u.in_band_s for u in long) / turning if turning else float("nan"),
        tuple(steps), short, tuple(remarks))


def _held(uses: Sequence[OutingUse]) -> tuple[float, float]:
    """Mean of the outings' middle paces [turns/min], and half its 95 % interval."""
    paces = np.array([u.held_tpm for u in uses])
    if len(paces) < 2:
        return (float(paces[0]) if len(paces) else float("nan")), float("nan")
    t = float(np.interp(len(paces) - 1, [n for n, _ in _T], [v for _, v in _T]))
    if len(paces) == 2:
        t = 12.706
    return float(paces.mean()), t * float(paces.std(ddof=1)) / sqrt(len(paces))


def _steps(uses: Sequence[OutingUse], rig: Rig, band: Band, held: float,
           reach: float) -> tuple[list[Step], list[str]]:
    assert band.low_tpm is not None
    assert band.target_tpm is not None
    assert band.high_tpm is not None
    steps, remarks = [], []
    low, high = band.low_tpm, band.high_tpm
    for edge, found in (("low_tpm", _edge(uses, "low_tpm", low)),
                        ("high_tpm", _edge(uses, "high_tpm", high))):
        if found is None:
            continue
        if (high - found.after if edge == "low_tpm" else found.after - low) < ENOUGH_TPM:
            remarks.append(f"too_narrow_{edge}")
            continue
        steps.append(found)
        low, high = (found.after, high) if edge == "low_tpm" else (low, found.after)
    target = _target(uses, rig, band.target_tpm, low, high, held, reach)
    if isinstance(target, Step):
        steps.append(target)
    elif target:
        remarks.append(target)
    return steps, remarks


def _edge(uses: Sequence[OutingUse], edge: str, before: float) -> Step | None:
    """An edge moved to where the load was no longer let go, with room."""
    paces = [pace for u in uses for pace in getattr(u, edge)]
    outings = sum(bool(getattr(u, edge)) for u in uses)
    if len(paces) < RELEASES or outings < IN_OUTINGS:
        return None
    if edge == "low_tpm":
        after = round(float(np.percentile(paces, 90)) + ROOM_TPM, 1)
        kept = sum(pace < after for pace in paces)
    else:
        after = round(float(np.percentile(paces, 10)) - ROOM_TPM, 1)
        kept = sum(pace > after for pace in paces)
    return Step(edge, before, after, "collapses" if edge == "low_tpm" else "too_much",
                {"releases": float(len(paces)), "outings": float(outings),
                 "from_tpm": min(paces), "to_tpm": max(paces)},
                {"warned_of": float(kept)})


def _target(uses: Sequence[OutingUse], rig: Rig, before: float, low: float, high: float,
            held: float, reach: float) -> Step | str:
    """The target where the arm is content, inside the band; or a remark, or ""."""
    off = held - before
    if abs(off) < LEAST_MOVE_TPM or abs(off) - reach < UNSURE_TPM or not isfinite(reach):
        return ""
    inset = INSET * (high - low)
    after = round(min(max(held, low + inset), high - inset), 1)
    connected = sum(u.connected_s for u in uses)
    # those well beyond the pace that is held are the edge's matter
    slow, fast = min(after, held) - 2 * ROOM_TPM, max(after, held) + 2 * ROOM_TPM
    let_go = sum(pace > slow for u in uses for pace in u.low_tpm) + sum(
        pace < fast for u in uses for pace in u.high_tpm)
    if let_go > MANY_PER_S * connected:
        return "held_with_releases"
    if (after - before) * off <= 0 or abs(after - before) < UNSURE_TPM:
        return "held_outside"
    asked = sum(u.faster_s if off < 0 else u.slower_s for u in uses)
    at = operate(rig, np.array([before, after]))
    costs = effort(rig, np.array([before, after]))
    return Step(
        "target_tpm", before, after, "held",
        {"held_tpm": held, "held_low_tpm": held - reach, "held_high_tpm": held + reach,
         "outings": float(len(uses)), "minutes": connected / 60,
         "asked_percent": 100 * asked / connected if connected else 0.0},
        {"arm_w_before": float(at.arm_w[0]), "arm_w_after": float(at.arm_w[1]),
         "out_w_before": float(at.out_w[0]), "out_w_after": float(at.out_w[1]),
         "effort_percent": 100 * (float(costs[1] / costs[0]) - 1)})
