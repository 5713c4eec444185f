"""The settings file: read once at start, checked to the last field.

fields.py has the names and ranges. A file that breaks any of them is refused
whole: half of a rig's numbers are worse than none, and without them the load
stays released.
"""

import json

from steadyturn_fw import fields, pages

MOST_BYTES = 4096  # a damaged directory must not make the board read a megabyte


class Settings:
    """One attribute a field; choices and texts as str, the rest as int."""


class Loaded:
    """What was found: `settings` (None when refused, then `problems` says why), the file's
    bytes and their CRC (empty and zero when refused)."""

    def __init__(self):
        self.settings = None
        self.file = b""
        self.crc = pages.Crc()
        self.problems = []


def load(path=fields.FILE):
    """Read and check; never raises for anything the file can hold."""
    loaded = Loaded()
    try:
        with open(path, "rb") as file:
            data = file.read(MOST_BYTES + 1)
    except OSError:
        loaded.problems.append("missing")
        return loaded
    parse(data, loaded)
    return loaded


def parse(data, loaded):
    if len(data) > MOST_BYTES:
        loaded.problems.append("too long")
        return
    lines = data.split(b"\n")
    if len(lines) != 4 or lines[2] != b"}" or lines[3] != b"":
        loaded.problems.append("not three lines")
        return
    head, body = lines[0], lines[1]
    crc = pages.Crc()
    crc.feed(body, 0, len(body))
    text = '{"crc": "%04x%04x", "settings":' % (crc.high, crc.low)
    if head != text.encode():
        loaded.problems.append("crc")
        return
    try:
        values = json.loads(body)
    except (ValueError, RuntimeError, MemoryError):
        loaded.problems.append("not JSON")
        return
    if not isinstance(values, dict):
        loaded.problems.append("not an object")
        return
    check(values, loaded.problems)
    if loaded.problems:
        return
    settings = Settings()
    for name in values:
        setattr(settings, name, values[name])
    loaded.settings = settings
    loaded.file = data
    loaded.crc.low = crc.low
    loaded.crc.high = crc.high


def check(values, problems):
    """Append the name of every field that is missing, unknown, of a wrong kind or out of range."""
    known = set()
    for row in fields.WHOLE:
        name = row[0]
        known.add(name)
        value = values.get(name)
        # bool is an int here too; 1.0 and "1" are not what the host writes
        if type(value) is not int or not row[1] <= value <= row[2]:
            problems.append(name)
    for choice in fields.CHOICE:
        name = choice[0]
        known.add(name)
        value = values.get(name)
        if type(value) is not str or value not in choice[1]:
            problems.append(name)
    for text in fields.TEXT:
        name = text[0]
        known.add(name)
        if not _printable(values.get(name), text[1]):
            problems.append(name)
    for name in values:
        if name not in known:
            problems.append(str(name))
    if not problems:
        for lower, higher in fields.ORDER:
            if values[lower] > values[higher]:
                problems.append(lower)


def _printable(value, most):
    if type(value) is not str or len(value) > most:
        return False
    for character in value:
        if not " " <= character <= "~":
            return False
    return True
