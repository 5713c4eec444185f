"""The settings file: what is taken, what is refused, and nothing that gets through."""

import bench
import check
import json

import sys

from steadyturn_fw import fields, settings

FAST = sys.maxsize > 1 << 40  # the 32-bit build is ten times slower: it runs a tenth


def read(data):
    loaded = settings.Loaded()
    settings.parse(data, loaded)
    return loaded


def changed(**some):
    values = dict(bench.VALUES)
    for name in some:
        if some[name] is None:
            del values[name]
        else:
            values[name] = some[name]
    return read(bench.encode(values))


def test_good():
    data = bench.encode(bench.VALUES)
    loaded = read(data)
    check.equal(loaded.problems, [], "problems")
    for name in bench.VALUES:
        check.equal(getattr(loaded.settings, name), bench.VALUES[name], name)
    check.equal(loaded.file, data, "kept as it is")
    text = '{"crc": "%04x%04x"' % (loaded.crc.high, loaded.crc.low)
    check.true(data.startswith(text.encode()), "and its CRC")


def test_fixture_has_every_field():
    names = [row[0] for row in fields.WHOLE + fields.CHOICE + fields.TEXT]
    check.equal(sorted(names), sorted(bench.VALUES), "fields")


def test_missing_file():
    loaded = settings.load("nowhere.json")
    check.equal((loaded.settings, loaded.problems), (None, ["missing"]), "missing")


def test_every_bit_is_covered():
    data = bench.encode(bench.VALUES)
    refused = 0
    step = 3 if FAST else 41
    for at in range(0, len(data), step):
        bad = bytearray(data)
        bad[at] ^= 1 << at % 8
        refused += read(bytes(bad)).settings is None
    check.equal(refused, len(range(0, len(data), step)), "one bit each")
    for cut in range(0, len(data), 37 if FAST else 301):
        check.equal(read(data[:cut]).settings, None, "cut at %d" % cut)
    check.equal(read(data + b"\n").settings, None, "longer")
    check.equal(read(b" " * 5000).settings, None, "far longer")


def problems(name, value):
    values = dict(bench.VALUES)
    values[name] = value
    found = []
    settings.check(values, found)
    return found


def test_edges_of_every_range():
    for name, low, high, _ in fields.WHOLE:
        for value in (low, high):
            check.true(name not in problems(name, value) or in_order(name), name + " at its edge")
        for value in (low - 1, high + 1, True, 1.0, "1", [1], 10 ** 12, None):
            check.equal(problems(name, value), [name], "%s %r" % (name, value))
    for name in ("version", "low_dtpm", "bus_shift"):
        check.equal(changed(**{name: None}).problems, [name], name + " missing")
    for name, choices, _ in fields.CHOICE:
        for choice in choices:
            check.equal(changed(**{name: choice}).problems, [], choice)
        check.equal(changed(**{name: "x"}).problems, [name], name)
        check.equal(changed(**{name: 0}).problems, [name], name)
    for name, most, _ in fields.TEXT:
        check.equal(changed(**{name: "x" * most}).problems, [], name)
        check.equal(changed(**{name: "x" * (most + 1)}).problems, [name], name)
        check.equal(changed(**{name: "\n"}).problems, [name], name)
    check.equal(changed(more=1).problems, ["more"], "unknown")


def test_a_correction_may_have_its_date_or_not():
    for name, low, high, _ in fields.MAY_MISS:
        for value in (low, high):
            check.equal(problems(name, value), [], name + " at its edge")
        for value in (low - 1, high + 1, True, 1.0, "1", [1], 10 ** 12, None):
            check.equal(problems(name, value), [name], "%s %r" % (name, value))
    some = {name: high for name, _, high, _ in fields.MAY_MISS}
    loaded = changed(**some)
    check.equal(loaded.problems, [], "all of them")
    check.true(len(loaded.file) < settings.MOST_BYTES, "and they have room")
    check.equal(loaded.settings.bus_corrected_day, 65535, "read")


def in_order(name):
    return any([name in pair for pair in fields.ORDER])


def test_order():
    for lower, higher in fields.ORDER:
        values = {lower: bench.VALUES[higher], higher: bench.VALUES[lower]}
        check.true(changed(**values).settings is None, lower + " above " + higher)


def test_not_an_object():
    for body in (b"[]", b"1", b"null", b'"x"', b"{", b"", b"{}", b"[" * 300):
        crc = settings.pages.Crc()
        crc.feed(body, 0, len(body))
        head = '{"crc": "%04x%04x", "settings":\n' % (crc.high, crc.low)
        loaded = read(head.encode() + body + b"\n}\n")
        check.equal(loaded.settings, None, body)
        check.equal(loaded.file, b"", "none in force")


def holds(s):
    """Everything that fields.py states, written out again."""
    for name, low, high, _ in fields.WHOLE:
        value = getattr(s, name)
        if type(value) is not int or not low <= value <= high:
            return False
    for name, low, high, _ in fields.MAY_MISS:
        value = getattr(s, name, low)
        if type(value) is not int or not low <= value <= high:
            return False
    for name, choices, _ in fields.CHOICE:
        if getattr(s, name) not in choices:
            return False
    for name, most, _ in fields.TEXT:
        value = getattr(s, name)
        if len(value) > most or any([not 32 <= ord(c) < 127 for c in value]):
            return False
    return all([getattr(s, a) <= getattr(s, b) for a, b in fields.ORDER])


class Chance:
    def __init__(self, seed):
        self.seed = seed

    def below(self, most):
        self.seed = (self.seed * 1103515245 + 12345) & 0x7FFFFFFF
        return (self.seed >> 8) % most

    def one(self, row):
        return row[self.below(len(row))]


ODD = (
    -1, 0, 1, 2, 65535, 65536, 1 << 30, -(1 << 31), 10 ** 15, 0.5, 5000.0, 1e400, True, False,
    None, "", "5000", "ina226", "in", "x" * 60, [], {}, [1], {"a": 1},
)


def mutate(chance):
    """A settings file with one to three things changed and, often, the CRC set right again."""
    values = dict(bench.VALUES)
    if chance.below(2):
        for name, low, high, _ in fields.MAY_MISS:
            values[name] = low + chance.below(high - low)
    names = sorted(values)
    for _ in range(1 + chance.below(3)):
        name = chance.one(names)
        kind = chance.below(6)
        if kind == 0:
            values.pop(name, None)
        elif kind == 1:
            values["x" + name] = 1
        elif kind == 2 and type(values.get(name)) is int:
            values[name] += chance.one((-1, 1, -1000, 1000, 1 << chance.below(40)))
        else:
            values[name] = chance.one(ODD)
    body = json.dumps(values).encode()
    kind = chance.below(8)
    if kind == 0:
        at = chance.below(len(body))
        body = body[:at] + bytes([chance.below(256)]) + body[at + 1 :]
    elif kind == 1:
        body = body[: chance.below(len(body))]
    elif kind == 2:
        at = chance.below(len(body))
        body = body[:at] + chance.one((b"\x00", b"\xff", b"[[[[", b'"', b"}", b",,", b"1e9"))
    crc = settings.pages.Crc()
    crc.feed(body, 0, len(body))
    head = '{"crc": "%04x%04x", "settings":\n' % (crc.high, crc.low)
    return head.encode() + body + b"\n}\n"


def test_a_thousand_mutations():
    chance = Chance(2026)
    taken = 0
    count = 1000 if FAST else 100
    for i in range(count):
        loaded = read(mutate(chance))
        if loaded.settings is not None:
            taken += 1
            check.true(holds(loaded.settings), "mutation %d breaks a range" % i)
        else:
            check.true(loaded.problems, "mutation %d: refused without a reason" % i)
    check.true(count // 100 < taken < count // 2, "some are still good: %d" % taken)


check.run(globals())
