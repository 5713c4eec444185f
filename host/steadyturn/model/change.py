"""A rig with one value changed, by the key it has in the rig file."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import Any

from steadyturn.rig.types import PARTS, Rig, Spec, Stage, specs

_STAGE = re.compile(r"stage\[(\d+)\]$")


def field_of(key: str) -> tuple[str, int | None, str, Spec] | None:
    """(part of the rig, stage index, field, spec) of "part.key"; None for another key.

    >>> field_of("motor.terminal_ohm")[:3], field_of("stage[2].ratio")[:3], field_of("no.key")
    (('motor', None, 'terminal_ohm'), ('stages', 1, 'ratio'), None)
    """
    part, _, name = key.rpartition(".")
    stage = _STAGE.match(part)
    kind: type[Any] | None = Stage if stage else PARTS.get(part)
    if kind is None:
        return None
    for field, spec in specs(kind).items():
        if spec.key == name:
            index = int(stage.group(1)) - 1 if stage else None
            return ("stages" if stage else part), index, field, spec
    return None


def with_value(rig: Rig, key: str, value: Any) -> Rig:
    """The rig with `key` set to `value` (SI). Raises KeyError for a key it has not.

    >>> from steadyturn.rig.examples import example_path
    >>> from steadyturn.rig.file import read_rig
    >>> hut = read_rig(example_path("lakeside-hut"))
    >>> with_value(hut, "motor.terminal_ohm", 2.5).motor.terminal_ohm
    2.5
    >>> with_value(hut, "stage[3].ratio", 2.0)  # it has two
    Traceback (most recent call last):
    KeyError: 'stage[3].ratio'
    """
    found = field_of(key)
    if found is None:
        raise KeyError(key)
    part, index, field, _ = found
    if index is None:
        return replace(rig, **{part: replace(getattr(rig, part), **{field: value})})
    stages = list(rig.stages)
    if not 0 <= index < len(stages):
        raise KeyError(key)
    stages[index] = replace(stages[index], **{field: value})
    return replace(rig, stages=tuple(stages))
