"""What a rig file may say for one field, and where a value came from.

The helpers make dataclass fields that carry a `Spec`; rig.types uses them.
"""

from __future__ import annotations

import dataclasses
import math
from dataclasses import dataclass, field
from typing import Any, Literal

RPM = 2 * math.pi / 60  # rad/s in one turn per minute
Kind = Literal["given", "measured", "assumed"]
PRACTICE = "common practice, no source"
MEMORY = "from memory"


@dataclass(frozen=True, kw_only=True, slots=True)
class Spec:
    """What a rig file may say for one field; numbers are in the file's unit.

    type: "number", "whole", "text", "flag" or "choice".
    key, unit: name in the file (unit-suffixed) and the unit it is read in.
    scale: SI value = file value * scale.
    low, high: accepted range, both ends included (for text: most characters).
    typical: (low, value, high) of the class when the key is left out; `value`
        is then used and the field counts as assumed. None with optional=False
        means the key is required (or that the part's own rule asks for it).
    optional: left out means not fitted or not limited; the field is None.
    """

    type: str = "number"
    key: str
    unit: str = ""
    scale: float = 1.0
    low: float = -math.inf
    high: float = math.inf
    typical: tuple[float, float, float] | None = None
    default: Any = None
    choices: tuple[str, ...] = ()
    optional: bool = False
    source: str = ""
    how: str = ""


def number(key: str, unit: str, low: float, high: float, **more: Any) -> Any:
    spec = Spec(key=key, unit=unit, low=low, high=high, **more)
    if spec.typical is None and not spec.optional:
        return field(metadata={"spec": spec})
    value = None if spec.typical is None else spec.typical[1] * spec.scale
    return field(default=value, metadata={"spec": spec})


def whole(key: str, low: int, high: int, *, default: int | None = None, **more: Any) -> Any:
    spec = Spec(type="whole", key=key, low=low, high=high, default=default, **more)
    if default is None and not spec.optional:
        return field(metadata={"spec": spec})
    return field(default=default, metadata={"spec": spec})


def color(key: str, default: int) -> Any:
    """Of a pixel, whose parts are linear in light. Defaults are blue, bluish green, orange and
    vermilion of the palette of Okabe and Ito (Color Universal Design, 2008), which colour-blind
    people tell apart, from sRGB into linear light; and a grey white."""
    return whole(key, 1, 0xFFFFFF, default=default, unit="RGB",
                 source="Okabe & Ito 2008, a palette for colour-blind people",
                 how="Two hexadecimal digits each for red, green and blue, as in 0xCA5800.")


def choice(key: str, choices: tuple[str, ...], *, default: str | None = None, **more: Any) -> Any:
    spec = Spec(type="choice", key=key, choices=choices, default=default, **more)
    if default is None:
        return field(metadata={"spec": spec})
    return field(default=default, metadata={"spec": spec})


def text(key: str, high: int, *, default: str = "", **more: Any) -> Any:
    spec = Spec(type="text", key=key, high=high, default=default, **more)
    return field(default=default, metadata={"spec": spec})


def flag(key: str, *, default: bool, **more: Any) -> Any:
    spec = Spec(type="flag", key=key, default=default, **more)
    return field(default=default, metadata={"spec": spec})


def specs(part: type[Any] | Any) -> dict[str, Spec]:
    """Field name -> Spec of a part's class or instance, in file order."""
    return {f.name: f.metadata["spec"] for f in dataclasses.fields(part) if "spec" in f.metadata}


@dataclass(frozen=True, slots=True)
class Origin:
    """Where one value of a rig comes from; low and high in SI, like the value. tolerance: of
    a given value, as a share; None where that of its kind holds (rig.tolerances)."""

    kind: Kind
    value: float
    low: float
    high: float
    note: str = ""
    tolerance: float | None = None
