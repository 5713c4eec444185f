"""From an outing's pages, settings and rig to all that a review tells of them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from steadyturn.rig.types import Rig
from steadyturn.sessions import arm, benches, in_force
from steadyturn.sessions.accuracy import UNKNOWN, Accuracy, accuracy
from steadyturn.sessions.decode import Pages
from steadyturn.sessions.estimates import Estimate
from steadyturn.sessions.expected import Comparison, expected
from steadyturn.sessions.figures import Figures
from steadyturn.sessions.findings import Case, Finding, rank
from steadyturn.sessions.findings_learned import learned_findings
from steadyturn.sessions.findings_load import load_findings
from steadyturn.sessions.findings_machine import Ohms, machine_findings, seen_ohms
from steadyturn.sessions.findings_pace import pace_findings
from steadyturn.sessions.flow import SAMPLE_S, drawing, flow
from steadyturn.sessions.gaps import Gaps, gaps
from steadyturn.sessions.hand import Pace, pace, turns
from steadyturn.sessions.history import Past, history
from steadyturn.sessions.learned import Learned
from steadyturn.sessions.measures import energies, times
from steadyturn.sessions.rows import OutingRow
from steadyturn.sessions.trend import power_trend


@dataclass(frozen=True, slots=True)
class Reckoned:
    """All that follows from pages, settings and rig; fields as in jobs.review.Review."""

    accuracy: Accuracy
    out_accuracy: Accuracy | None
    estimates: tuple[Estimate, ...]
    pace: Pace
    gaps: Gaps
    arm_keeps_w: tuple[float, float, float] | None
    expected: tuple[Comparison, ...]
    history: tuple[Past, ...]
    findings: tuple[Finding, ...]


def reckon(
    pages: Pages, figures: Figures, settings: Mapping[str, Any],
    of_boots: Mapping[int, Mapping[str, Any]], rig: Rig | None,
    earlier: Sequence[OutingRow] | None, learned: Sequence[Learned] = (),
) -> Reckoned:
    """settings: those that are shown; of_boots: of single boots; earlier: outings before, of
    which those of the same rig are this machine's history (None: it is not asked for); learned:
    what they and these have taught."""
    pages = benches.without(pages)
    flows = flow(pages, settings)
    sensor = accuracy(settings, rig, of_boots=of_boots)
    out_sensor = None
    if settings.get("out_shunt_uohm", 0) >= 500:
        out_sensor = accuracy(settings, rig, out=True, of_boots=of_boots)
    estimates = energies(figures, flows, settings, sensor, rig, out_sensor or UNKNOWN)
    compared = () if rig is None else expected(
        rig, flows, sensor, pace_measured=figures.pace_kind == "measured", out=estimates[1])
    estimates += turns(figures, flows, settings, sensor, rig)
    estimates += times(figures)
    if (trend := power_trend(flows.watts[drawing(flows)], SAMPLE_S)) is not None:
        estimates.append(trend)
    effort = None if rig is None else arm.effort(rig, flows, figures.turning_s)
    if effort is not None:
        estimates += effort.estimates
    same = [row for row in earlier or () if row.rig == settings.get("rig")]
    held = pace(flows)
    low, target, high = (
        in_force.column(flows.boot, of_boots, settings, f"{name}_dtpm") / 10
        for name in ("low", "target", "high"))
    case = Case(figures=figures, pages=pages, flow=flows, pace=held, settings=settings,
                low_tpm=low, target_tpm=target, high_tpm=high, rig=rig, expected=compared)
    if (seen := seen_ohms(case)) is not None:
        estimates.append(Estimate("source_ohm", seen.ohm, seen.low, seen.high, "ohm", "inferred",
                                  seen.how.replace(" ", "_")))
    return Reckoned(
        accuracy=sensor, out_accuracy=out_sensor, estimates=tuple(estimates), pace=held,
        gaps=gaps(pages, figures.no_data_s, figures.missing_pages),
        arm_keeps_w=None if effort is None else effort.keeps_w,
        expected=compared, history=() if earlier is None else history(figures, same),
        findings=rank([*_machine(case, seen, learned), *pace_findings(case),
                       *load_findings(case)]))


def _machine(case: Case, seen: Ohms | None,
             learned: Sequence[Learned]) -> list[Finding | None]:
    """Where many outings tell that the resistance rises, one outing need not say it is up."""
    worn = learned_findings(case, learned)
    if any(one is not None and one.code == "resistance_rising" for one in worn):
        seen = None
    return [*machine_findings(case, seen), *worn]

