"""firmware/cue.json, as tests/host/twin/measure_cue.py wrote it: what people made of the cue."""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path
from statistics import median
from typing import Any

FILE = Path(__file__).parents[3] / "firmware" / "cue.json"
WORST = 0.1  # the share of people that "the worst tenth" names


@dataclass(frozen=True)
class Cell:
    """people: "tuning" or "test"; way: how they know ("lamp", "none", "meter"); shares of the
    steady time, one a person, from worst to best; changes of the cue, a minute."""

    people: str
    way: str
    band_percent: int
    lamp: str
    in_band: tuple[float, ...]
    in_band_now: tuple[float, ...]
    changes: tuple[float, ...]
    reached_s: tuple[float, ...]  # inf: never
    connected: tuple[float, ...]

    @property
    def count(self) -> int:
        return len(self.in_band)


@dataclass(frozen=True)
class Results:
    steady_from_s: float
    trial_s: float
    inertia_kg_m2: tuple[float, ...]
    cells: tuple[Cell, ...]
    strip: dict[str, Any]

    def cell(self, way: str, band_percent: int, people: str = "test", lamp: str = "led") -> Cell:
        return next(c for c in self.cells if (c.people, c.way, c.band_percent, c.lamp) == (
            people, way, band_percent, lamp))


def worst_tenth(best_first: bool, values: tuple[float, ...]) -> float:
    """The value that nine of ten are better than, or as good as.

    >>> worst_tenth(False, tuple(n / 100 for n in range(100)))
    0.09
    >>> worst_tenth(True, tuple(float(n) for n in range(100)))
    90.0
    """
    ranked = sorted(values, reverse=best_first)
    return ranked[max(0, round(WORST * len(ranked)) - 1)]


def middle(values: tuple[float, ...]) -> float:
    return float(median(values))


def read(path: Path = FILE) -> Results:
    data = json.loads(path.read_text(encoding="utf-8"))
    cells = tuple(
        Cell(people=c["people"], way=c["way"], band_percent=c["band_percent"], lamp=c["lamp"],
             in_band=tuple(sorted(c["in_band"])), in_band_now=tuple(sorted(c["in_band_now"])),
             changes=tuple(c["changes_per_min"]), connected=tuple(c["connected"]),
             reached_s=tuple(float("inf") if s is None else s for s in c["reached_s"]))
        for c in data["cells"])
    return Results(data["steady_from_s"], data["trial_s"], tuple(data["inertia_kg_m2"]), cells,
                   data["strip"])
