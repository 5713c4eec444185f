"""This outing against the same machine's earlier ones."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Past:
    """One figure against the earlier outings of the machine.

    value: this time; median, low, high: of `count` earlier outings, the usual range; all in
    `unit`. verdict: "better", "worse", "usual" or "too few" (to say). trend: "rising",
    "falling" or "none" over all outings, this one the last.
    """

    name: str
    value: float
    median: float
    low: float
    high: float
    count: int
    unit: str
    verdict: str
    trend: str
