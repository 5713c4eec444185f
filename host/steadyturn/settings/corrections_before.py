"""The corrections that a board had before the one in force, in a file of its own on the board, so
that one can be taken back. Only the host reads it. Three lines like the settings file: the CRC of
the second, which is a list with the newest last."""

from __future__ import annotations

import json
import zlib
from collections.abc import Mapping
from typing import Any

from steadyturn.settings import corrections
from steadyturn.settings.corrections import QUANTITIES, SENSOR, keys
from steadyturn.settings.file import MOST_BYTES, Settings

FILE = "/corrections.json"
MOST = 4  # kept: each is some 400 bytes
_KEYS = (*(key for q in QUANTITIES for key in keys(q)), *SENSOR)


def snapshot(settings: Mapping[str, Any]) -> dict[str, Any]:
    """What of the settings says which correction of which sensor they have."""
    return {key: settings[key] for key in _KEYS if key in settings}


def encode(before: list[dict[str, Any]]) -> bytes:
    body = json.dumps(before[-MOST:]).encode()
    return b'{"crc": "%08x", "before":\n%s\n}\n' % (zlib.crc32(body), body)


def decode(raw: bytes | None) -> list[dict[str, Any]]:
    """Those in the file's bytes; [] where it is damaged or not there: then none is known."""
    lines = (raw or b"").split(b"\n")
    if len(raw or b"") > MOST_BYTES or len(lines) != 4:
        return []
    if lines[0] != b'{"crc": "%08x", "before":' % zlib.crc32(lines[1]):
        return []
    try:
        found = json.loads(lines[1])
    except (ValueError, RecursionError):
        return []
    good = isinstance(found, list) and all(
        isinstance(one, dict) and all(
            name in _KEYS and (isinstance(value, str) if name == "chip" else type(value) is int)
            for name, value in one.items()) for one in found)
    return found[-MOST:] if good else []


def back(settings: Mapping[str, int | str],
         before: list[dict[str, Any]]) -> tuple[Settings, list[dict[str, Any]]]:
    """(settings with the correction before, what is left before that). One of another sensor,
    or the same as in force (a power cut left it there), is passed over; with none left, no
    correction at all."""
    cleared: Settings = dict(settings)
    for quantity in QUANTITIES:
        cleared = corrections.put(cleared, quantity, corrections.NONE)
    others: list[dict[str, Any]] = []
    for at in reversed(range(len(before))):
        made, seen = corrections.carry(cleared, before[at])
        if any(taken.why for taken in seen):
            others.insert(0, before[at])
        elif made != settings:
            return made, [*before[:at], *others]
    return cleared, others
