"""What to change: what an outing shows of machine, phone and hand that could be better."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

MOST = 3


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing to change.

    code: which, words for it are in `report.review_findings`. evidence: what was seen, keys
    with their units. gain: what the model predicts if it is changed, None where no rig file
    tells; worth_percent in it is how much more is delivered for the same work of the arm, by
    which findings are ranked.
    """

    code: str
    evidence: Mapping[str, float | str]
    gain: Mapping[str, float] | None
