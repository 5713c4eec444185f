"""The plastics of materials.toml, and what heat and repeated load leave of their strength."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

FILE = Path(__file__).with_name("materials.toml")

REPEATED = 6.0  # strength over what a tooth bears again and again: 5-6, common practice
WARM_C = 20.0  # strengths are those at this temperature


@dataclass(frozen=True)
class Span:
    """A value with the range it is believed to lie in."""

    low: float
    value: float
    high: float


@dataclass(frozen=True, kw_only=True)
class Material:
    """One plastic; see materials.toml."""

    name: str
    title: str
    tensile_mpa: Span
    modulus_gpa: Span
    layers_share: Span
    softens_c: Span
    friction: Span
    density_g_cm3: Span
    poisson: Span
    source: str
    note: str


@cache
def materials() -> dict[str, Material]:
    """All of them by name.

    >>> sorted(materials())
    ['nylon', 'petg', 'pla']
    """
    tables = tomllib.loads(FILE.read_text(encoding="utf-8"))
    found = {}
    for name, row in tables.items():
        fields: dict[str, Any] = {
            key: Span(*map(float, value)) if isinstance(value, list) else value
            for key, value in row.items()}
        found[name] = Material(name=name, **fields)
    return found


def heat_share(material: Material, at_c: float) -> float:
    """What is left of the strength at a temperature: all at 20 degC, nothing where it softens,
    evenly between (engineering judgement: plastics lose about half of it half way).

    >>> pla = materials()["pla"]
    >>> heat_share(pla, 20), heat_share(pla, 37.5), heat_share(pla, 60)
    (1.0, 0.5, 0.0)
    """
    soft = material.softens_c.value
    return min(1.0, max(0.0, (soft - at_c) / (soft - WARM_C)))
