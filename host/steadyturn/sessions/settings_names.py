"""What the library itself reads in a settings file: names to show, and energy a percent.

Any board may have written it, so nothing in it is taken for granted.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from steadyturn_fw import fields

_MOST = {name: most for name, most, _ in fields.TEXT}
_PERCENT = next(row for row in fields.WHOLE if row[0] == "percent_mj")


@dataclass(frozen=True, slots=True)
class Names:
    """rig, label: None where there is none. percent_mj: energy at the phone's socket for a
    percent of its battery, 0: not known. constants: the whole numbers and choices that are
    possible ones, what the machine's constants are learned with."""

    rig: str | None
    label: str | None
    percent_mj: int
    constants: Mapping[str, int | str] = field(default_factory=dict)


def names(raw: bytes) -> Names:
    """The names in a settings file's bytes (settings.file has the format, and checks it)."""
    lines = raw.split(b"\n")
    try:
        read = json.loads(lines[1])
    except (IndexError, ValueError, RecursionError):
        read = None
    if not isinstance(read, dict):
        return Names(None, None, 0)
    _, low, high, _ = _PERCENT
    percent = read.get("percent_mj", 0)
    if not isinstance(percent, int) or isinstance(percent, bool) or not low <= percent <= high:
        percent = 0
    return Names(_text(read, "rig"), _text(read, "label"), percent, _constants(read))


def _constants(read: dict[str, Any]) -> dict[str, int | str]:
    found: dict[str, int | str] = {
        name: read[name] for name, low, high, _ in fields.WHOLE
        if type(read.get(name)) is int and low <= read[name] <= high}
    found |= {name: read[name] for name, choices, _ in fields.CHOICE
              if isinstance(read.get(name), str) and read[name] in choices}
    return found


def _text(read: dict[str, Any], name: str) -> str | None:
    value = read.get(name)
    if not isinstance(value, str):
        return None
    return "".join(c if " " <= c <= "~" else "?" for c in value[: _MOST[name]]).strip() or None
