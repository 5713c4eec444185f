"""What the model of the rig expects of an outing, beside what was measured."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Comparison:
    """One figure of the outing against the model's, both in `unit`, with their 95 % ranges.

    verdict: "as expected" (the ranges overlap), "more" or "less" than expected. note: a code
    whose words are in the report.
    """

    name: str
    measured: float
    measured_low: float
    measured_high: float
    expected: float
    low: float
    high: float
    unit: str
    verdict: str
    note: str = ""
