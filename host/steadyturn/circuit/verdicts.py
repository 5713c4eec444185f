"""The stored runs of ngspice (protection.json), each held against its limits."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache

from steadyturn.circuit.mishaps import MISHAPS, Mishap
from steadyturn.circuit.results import STORED

# figure -> in words, unit, digits after the point
FIGURES = {
    "phone_v": ("phone's pins", "V", 2), "released_ms": ("let go after", "ms", 0),
    "cut_us": ("cut acts after", "us", 1), "clamp_us": ("clamp acts after", "us", 1),
    "bus_v": ("bus", "V", 1), "converter_v": ("converter's input", "V", 1),
    "diode_v": ("D1 backwards", "V", 1), "switch_v": ("Q5", "V", 1), "cut_v": ("Q7", "V", 1),
    "transistor_c": ("Q1", "degC", 0), "resistor_c": ("R5", "degC", 0),
    "diode_c": ("D1", "degC", 0), "adc_v": ("ADC pin", "V", 2), "adc_ma": ("ADC pin", "mA", 2),
    "resistor_share": ("resistor's watts", "of rated", 2),
    "reference_ma": ("431's cathode", "mA", 0), "small_w": ("Q3 or Q6", "W", 2),
    "q5_w": ("Q5", "W", 2), "q7_c": ("Q7", "degC", 0), "below_v": ("bus below ground", "V", 1),
    "reservoir_v": ("reservoir", "V", 2), "backfeed_ma": ("back-feed", "mA", 2),
}


@dataclass(frozen=True)
class Run:
    """One rig, one mishap, one state of the firmware; figures and limits by the names of
    FIGURES, a figure being None where there was nothing to act on."""

    rig: str
    mishap: Mishap
    firmware: str
    figures: Mapping[str, float | None]
    limits: Mapping[str, float]
    trace: Mapping[str, list[int]] | None

    def held(self) -> dict[str, tuple[float, float]]:
        """Figure -> value and limit, but for those that the failure itself breaks."""
        return {name: (value, self.limits[name]) for name, value in self.figures.items()
                if name in self.limits and value is not None
                and name not in self.mishap.excused
                and (name != "released_ms" or self.mishap.lets_go)}

    def broken(self) -> dict[str, tuple[float, float]]:
        return {name: one for name, one in self.held().items() if one[0] > one[1]}


@cache
def runs() -> tuple[Run, ...]:
    """All of them, rig by rig in the order of mishaps."""
    stored = json.loads(STORED.read_text(encoding="utf-8"))
    return tuple(
        Run(rig, mishap, firmware,
            {name: value for name, value in row.items() if name != "trace"}, kept["limits"],
            row.get("trace"))
        for rig, kept in stored.items() for mishap in MISHAPS for firmware in mishap.firmware
        if (row := kept["rows"].get(f"{mishap.name}/{firmware}")) is not None)


def rigs() -> list[str]:
    return list(dict.fromkeys(run.rig for run in runs()))


def protected() -> list[str]:
    """The rigs of which no run breaks a limit."""
    bad = {run.rig for run in runs() if run.broken()}
    return [rig for rig in rigs() if rig not in bad]


def worst(some: list[Run], figure: str) -> Run | None:
    """Of those runs, the one in which the figure is largest."""
    have = [run for run in some if figure in run.held()]
    return max(have, key=lambda run: run.figures[figure] or 0.0, default=None)


def said(figure: str, value: float) -> str:
    """With its unit.

    >>> said("phone_v", 5.4321), said("cut_us", 0.04)
    ('5.43 V', '0.0 us')
    """
    _, unit, digits = FIGURES[figure]
    return f"{value:.{digits}f} {unit}"
