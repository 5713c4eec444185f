"""The settings file: read once at start, checked to the last field.

fields.py has the names and ranges. A file that breaks any of them is refused
whole: half of a rig's numbers are worse than none. Then those are taken that have
charged before (keeper.py keeps them), and where there are none either the load
stays released.
"""

import json

from steadyturn_fw import fields, pages

MOST_BYTES = 4096  # a damaged directory must not make the board read a megabyte


class Settings:
    """One attribute a field; choices and texts as str, the rest as int."""


class Loaded:
    """What was found: `settings` (None when refused, then `problems` says why), the file's
    bytes and their CRC (empty and zero when refused). previous: they are those from before,
    because of `problems` with the newer ones."""

    def __init__(self, path=fields.FILE):
        self.path = path
        self.settings = None
        self.file = b""
        self.crc = pages.Crc()
        self.problems = []
        self.previous = False


def previous_name(path):
    """Where the settings are kept that have charged before."""
    return path[:-5] + ".old.json"


def load(path=fields.FILE, doubted=False):
    """Read and check; never raises for anything the files can hold. doubted: the board has
    failed to start with the newest, so the previous ones are taken, where they differ."""
    loaded = Loaded(path)
    _read(path, loaded)
    if doubted and loaded.settings is not None:
        before = Loaded(previous_name(path))
        _read(before.path, before)
        if before.settings is not None and before.file != loaded.file:
            loaded.settings = None
            loaded.problems.append("starts failed")
    if loaded.settings is None:
        fall_back(loaded)
    return loaded


def fall_back(loaded):
    """The newest settings will not do: take the previous ones. True: there are some."""
    loaded.settings = None
    loaded.file = b""
    loaded.crc.reset()
    if loaded.previous:
        return False
    before = Loaded(previous_name(loaded.path))
    _read(before.path, before)
    if before.settings is None:
        return False
    loaded.settings = before.settings
    loaded.file = before.file
    loaded.crc = before.crc
    loaded.previous = True
    return True


def _read(path, loaded):
    try:
        with open(path, "rb") as file:
            data = file.read(MOST_BYTES + 1)
    except OSError:
        loaded.problems.append("missing")
        return
    parse(data, loaded)


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
    for row in fields.MAY_MISS:
        name = row[0]
        known.add(name)
        if name in values:
            value = values[name]
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
