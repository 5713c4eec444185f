"""Results as JSON: dataclasses to objects, NaN and infinities to null, paths to text."""

from __future__ import annotations

import dataclasses
import json
import math
from collections.abc import Mapping
from pathlib import Path
from typing import Any


def to_object(value: Any) -> Any:
    """A tree of dict, list, str, int, float, bool and None; a dataclass's fields whose
    metadata says `json=False` are left out."""
    if value is None or isinstance(value, str | bool | int):
        return value
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return {
            f.name: to_object(getattr(value, f.name))
            for f in dataclasses.fields(value)
            if f.metadata.get("json", True)
        }
    if isinstance(value, Mapping):
        return {str(k): to_object(v) for k, v in value.items()}
    if isinstance(value, Path):
        return str(value)
    if hasattr(value, "tolist"):  # numpy, without importing it
        return to_object(value.tolist())
    if isinstance(value, bytes):
        return value.hex()
    return [to_object(v) for v in value]


def to_json(value: Any, *, plain: bool = False) -> str:
    """plain: whatever is not ASCII escaped, for a terminal that cannot show it."""
    return json.dumps(to_object(value), indent=2, ensure_ascii=plain)


def to_line(value: Any) -> str:
    """The same in one line of ASCII, for JSON lines."""
    return json.dumps(to_object(value))
