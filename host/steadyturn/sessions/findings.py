"""What to change: what an outing shows of machine, phone and hand that could be better.

What is dangerous or broken comes first, the rest by what the model predicts it is worth: how
much more is delivered in the same time of turning, and with less work of the arm where the
change saves some. (More work counts as nothing as long as the arm keeps it: the model of the
band sees to that.) Without a rig file the share of the time that it concerns stands for that.

Each finder has a threshold with its reason beside it; a steady outing has no finding.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from steadyturn.model.point import operate
from steadyturn.rig.types import Rig
from steadyturn.sessions import arm
from steadyturn.sessions.decode import Pages
from steadyturn.sessions.expected import Comparison
from steadyturn.sessions.figures import Figures
from steadyturn.sessions.flow import SAMPLE_S, Flags, Floats, Flow
from steadyturn.sessions.hand import Pace

MOST = 3
DANGER, BROKEN = 1e6, 1e3  # weights above any gain in percent
LEAST_WORTH = 3.0  # %: below that the sensor's own range (1-2 %) could be all of it


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing to change.

    code: which, words for it are in `report.review_findings`. evidence: what was seen, keys
    with their units. gain: what the model predicts if it is changed, None where no rig file
    tells or no model can: delivered_wh more in this outing's turning time, arm_kj of work more
    (negative: less), worth_percent (how much more is delivered for it). weight: by which they
    are ranked: worth_percent, or the share of turning time [%] that it concerns; what is broken
    stands above 1,000 and what is dangerous above 1,000,000.
    """

    code: str
    evidence: Mapping[str, float | str]
    gain: Mapping[str, float] | None
    weight: float


@dataclass(frozen=True, slots=True)
class Case:
    """All that finders look at. low_tpm, target_tpm, high_tpm: the band at each sample of the
    flow, by the settings of its boot; NaN where not known. rig: None where no rig file is
    known; expected: of `expected.expected`."""

    figures: Figures
    pages: Pages
    flow: Flow
    pace: Pace
    settings: Mapping[str, object]
    low_tpm: Floats
    target_tpm: Floats
    high_tpm: Floats
    rig: Rig | None
    expected: tuple[Comparison, ...]

    @property
    def judged(self) -> Flags:
        """Samples by which the hand is judged: turning, later than a boot's first seconds; where
        nothing was delivered, these too."""
        if self.delivered_j <= 0:
            return self.flow.turning
        return self.flow.turning & self.flow.started

    def gain(self, out_j: float, arm_j: float, **more: float) -> dict[str, float] | None:
        """What a change gives that delivers out_j [J] more and takes arm_j [J] more work (less
        where negative) over this outing's samples; None where nothing was delivered or turned.
        """
        if self.rig is None:
            return None
        out_now, arm_now = self.delivered_j, self.worked_j
        if out_now + out_j <= 0 or arm_now <= 0 or arm_now + arm_j <= 0:
            return None
        # nothing delivered so far: whatever is, is worth as much again
        more_out = (out_now + out_j) / out_now if out_now > 0 else 2.0
        saved = max(1.0, arm_now / (arm_now + arm_j))
        return {"delivered_wh": out_j / 3600, "arm_kj": arm_j / 1000,
                "worth_percent": 100 * (more_out * saved - 1), **more}

    @property
    def delivered_j(self) -> float:
        return self.figures.energy_out_j

    @property
    def worked_j(self) -> float:
        if self.rig is None:
            return 0.0
        return float(arm.power_w(self.rig, self.flow).sum()) * SAMPLE_S

    @property
    def winding_c(self) -> float:
        """Mean temperature of the windings while turning."""
        assert self.rig is not None
        return float(arm.winding_of(self.rig, self.flow)[self.flow.turning].mean())

    def runs_w(self, rig: Rig, pace_tpm: float) -> tuple[float, float]:
        """(at the socket, of the arm) [W] by the model at a pace, load connected; (0, NaN) where
        there is no steady state."""
        at = operate(rig, pace_tpm, winding_c=self.winding_c)
        out_w = float(at.out_w)
        return (out_w, float(at.arm_w)) if out_w > 0 else (0.0, float("nan"))

    def percent(self, which: Flags, of: Flags) -> float:
        """Share of the samples `of` that are `which` as well, %."""
        whole = self.flow.seconds(of)
        return 100 * self.flow.seconds(which & of) / whole if whole else 0.0


def rank(found: list[Finding | None]) -> tuple[Finding, ...]:
    """The MOST that weigh most."""
    real = [finding for finding in found if finding is not None]
    return tuple(sorted(real, key=lambda finding: -finding.weight)[:MOST])


def weigh(gain: Mapping[str, float] | None, share_percent: float) -> float | None:
    """A finding's weight; None where the model says that it is not worth the while."""
    if gain is None:
        return share_percent
    return gain["worth_percent"] if gain["worth_percent"] >= LEAST_WORTH else None
