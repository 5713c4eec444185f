"""The settings file: bytes in, bytes out, and what is wrong with them.

The layout and every range stand once, in the firmware's fields.py; the board reads
by the same rules and refuses what is refused here.
"""

from __future__ import annotations

import difflib
import json
import zlib
from collections.abc import Mapping
from typing import Any, TypeGuard

from steadyturn_fw import fields

from steadyturn.errors import Problem, WrongInput

Settings = dict[str, int | str]

MOST_BYTES = 4096  # the board reads no more
_AGAIN = "'steadyturn flash' writes the file anew from the rig file."


MAY_MISS = frozenset(row[0] for row in fields.MAY_MISS)


def names() -> tuple[str, ...]:
    """All fields, in the order of the file."""
    return tuple(row[0] for row in (*fields.WHOLE, *fields.MAY_MISS, *fields.CHOICE,
                                    *fields.TEXT))


def encode(settings: Mapping[str, int | str], where: str = "settings") -> bytes:
    """The file's bytes. Raises WrongInput with every problem; what it writes, `decode` reads."""
    found = problems(settings, where)
    if found:
        raise WrongInput(*found)
    body = json.dumps({name: settings[name] for name in names() if name in settings})
    return b'{"crc": "%08x", "settings":\n%s\n}\n' % (zlib.crc32(body.encode()), body.encode())


def decode(raw: bytes, where: str = fields.FILE) -> Settings:
    """The settings in a file's bytes. Raises WrongInput with every problem found.

    A file whose lines, CRC or JSON are broken has that one problem: nothing in it counts.
    """
    read = _object(raw, where)
    found = problems(read, where)
    if found:
        raise WrongInput(*found)
    return {name: read[name] for name in names() if name in read}


def read_any(raw: bytes) -> Settings:
    """What a file of any version says of fields that are still known, each within today's
    range; {} where it is broken. For reading what was in force, never for a board."""
    try:
        read = _object(raw, "")
    except WrongInput:
        return {}
    wrong = {problem.key for problem in problems(read)}
    return {name: read[name] for name in names()
            if name in read and (name not in wrong or _fits(name, read[name]))}


def _fits(name: str, value: Any) -> bool:
    """Fields that stand in the wrong order, or of another version, are right by themselves."""
    if name == "version":
        return _is_whole(value)
    return any(row[0] == name and _is_whole(value) and row[1] <= value <= row[2]
               for row in (*fields.WHOLE, *fields.MAY_MISS))


def _object(raw: bytes, where: str) -> dict[str, Any]:
    """The one object in a file whose lines and CRC are right. Raises WrongInput."""
    if len(raw) > MOST_BYTES:
        raise _broken(where, f"{len(raw)} bytes", f"at most {MOST_BYTES} bytes.")
    lines = raw.split(b"\n")
    if len(lines) != 4 or lines[2] != b"}" or lines[3]:
        raise _broken(where, "", "three lines, the CRC in the first, the settings in the second.")
    head, body = lines[0], lines[1]
    right = b'{"crc": "%08x", "settings":' % zlib.crc32(body)
    if head != right:
        raise _broken(where, _shown(head), f"the first line must be {right.decode()}: the "
                      "settings were changed or damaged after they were written.")
    try:
        read = json.loads(body)
    except (ValueError, RecursionError):
        raise _broken(where, _shown(body), "the second line must be one JSON object.") from None
    if not isinstance(read, dict):
        raise _broken(where, _shown(body), "the second line must be one JSON object.")
    return read


def problems(settings: Mapping[str, Any], where: str = "settings") -> list[Problem]:
    """Everything that is wrong: kinds, ranges, order, missing and unknown fields."""
    found: list[Problem] = []

    def wrong(name: str, right: str) -> None:
        value = _shown(settings[name]) if name in settings else ""
        found.append(Problem(where, name, value, right, _AGAIN))

    for name, low, high, meaning in (*fields.WHOLE, *fields.MAY_MISS):
        if name in MAY_MISS and name not in settings:
            continue
        if not _is_whole(settings.get(name)) or not low <= settings[name] <= high:
            wrong(name, f"a whole number from {low} to {high} ({meaning}).")
    for name, choices, meaning in fields.CHOICE:
        value = settings.get(name)
        if not isinstance(value, str) or value not in choices:
            wrong(name, f"one of {', '.join(choices)} ({meaning}).")
    for name, most, meaning in fields.TEXT:
        value = settings.get(name)
        plain = isinstance(value, str) and len(value) <= most
        if not plain or not all(" " <= c <= "~" for c in settings[name]):
            wrong(name, f"at most {most} plain characters ({meaning}).")
    known = names()
    for key in settings:
        if key not in known:
            near = difflib.get_close_matches(str(key), known, n=1)
            wrong(key, f"did you mean '{near[0]}'?" if near else "there is no such field.")
    for lower, higher in fields.ORDER:
        below, above = settings.get(lower), settings.get(higher)
        if _is_whole(below) and _is_whole(above) and below > above:
            wrong(lower, f"at most {higher} ({above}).")
    return found


def _is_whole(value: Any) -> TypeGuard[int]:
    return isinstance(value, int) and not isinstance(value, bool)


def _shown(value: Any) -> str:
    text = value.decode("ascii", "replace") if isinstance(value, bytes) else repr(value)
    return text if len(text) <= 60 else text[:57] + "..."


def _broken(where: str, value: str, right: str) -> WrongInput:
    return WrongInput(Problem(where, "", value, right, _AGAIN))
