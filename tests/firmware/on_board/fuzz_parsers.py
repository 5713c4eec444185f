"""Mutated inputs for the board's own parsers: nothing escapes, and nothing wrong gets through.

ROUNDS inputs from SEED on; a failure names the round, and SEED with ROUNDS=1 has it alone.
"""

import json
import os
import sys
from binascii import crc32

import bench
import check

from asking import Sink, ask, board
from steadyturn_fw import fields, frames, settings



def given(name, otherwise):
    """A number from outside: the 32-bit build has no environment but what its runner sets."""
    if hasattr(os, "getenv"):
        return int(os.getenv(name) or otherwise)
    import js

    return int(getattr(js.process.env, name) or otherwise)


ROUNDS = given("ROUNDS", 20000)
SEED = given("SEED", 1)
LINES = [
    frames.ASK_WHO, frames.ASK_STATE, frames.ASK_PAGE + b" 3", frames.ASK_SETTINGS + b" 0",
    frames.ASK_PAGE + b" 4294967295", frames.ASK_SETTINGS + b" 65536", frames.ASK_RELEASE,
    frames.ASK_FLUSH, frames.ASK_BENCH + b" 650 20 1", frames.ASK_BENCH, frames.ASK_STEP,
    frames.ASK_SAMPLES + b" 0", frames.ASK_BENCH + b" end",
    b":", b"", b":who who", b">>> 1 + 1", b"\x03\x04\x01raw", b":page -1",
]
TOKENS = (
    b"1e400", b"-0", b"1.0", b"99999999999999999999", b"[" * 300, b"{" * 40, b"null", b"true",
    b"\xff\xfe", b"\x00", b'"', b"\\u0000", b"{}", b"[1]", b"{[1]:2}", b"{{}:1}", b"1:2", b"-",
    b"NaN", b"\n", b",", b": ", b"'", b"1" * 400, b":page ", b":settings ",
)


class Chance:
    """The same numbers everywhere for a seed."""

    def __init__(self, seed):
        self.state = seed * 2654435761 + 12345 & 0xFFFFFFFF
        self.below(2)

    def below(self, n):
        self.state = self.state * 1664525 + 1013904223 & 0xFFFFFFFF
        return (self.state >> 9) % n


def mutated(data, chance):
    """A few changes: bytes flipped, cut out, put in, doubled, exchanged, the end cut off."""
    for _ in range(1 + chance.below(4)):
        size = len(data)
        at = chance.below(size + 1)
        what = chance.below(7)
        to = min(size, at + 1 + chance.below(8))
        if what == 0 and size:
            at = chance.below(size)
            data = data[:at] + bytes([data[at] ^ 1 << chance.below(8)]) + data[at + 1 :]
        elif what == 1:
            data = data[:at] + data[to:]
        elif what == 2:
            data = data[:at] + bytes([chance.below(256)]) + data[at:]
        elif what == 3:
            data = data[:to] + data[at:]
        elif what == 4:
            data = data[:at] + TOKENS[chance.below(len(TOKENS))] + data[at:]
        elif what == 5:
            data = data[:at] + TOKENS[chance.below(len(TOKENS))] + data[to:]
        else:
            data = data[:at]
    return data


def sealed(body):
    return b'{"crc": "%08x", "settings":\n' % crc32(body) + body + b"\n}\n"


def bodies():
    """Whole settings, and short ones, which are tried more often."""
    whole = json.dumps(bench.VALUES).encode()
    few = json.dumps({name: bench.VALUES[name] for name in ("version", "chip", "low_dtpm")})
    return whole, (few.encode(), b"{}", b'{"version": 3}', b'{"rig": "a"}', b"[1, 2]")


def right(loaded):
    """Are accepted settings what the fields say?"""
    s = loaded.settings
    for name, low, high, _ in fields.WHOLE:
        value = getattr(s, name)
        if type(value) is not int or not low <= value <= high:
            return False
    for name, choices, _ in fields.CHOICE:
        if getattr(s, name) not in choices:
            return False
    return True


def one_settings(chance, whole, few):
    rare = chance.below(12) == 0
    body = mutated(whole if rare else few[chance.below(len(few))], chance)
    data = sealed(body)
    if chance.below(4) == 0:
        data = mutated(data, chance)
    loaded = settings.Loaded()
    settings.parse(data, loaded)
    if (loaded.settings is None) == (not loaded.problems):
        raise AssertionError("neither taken nor refused")
    if loaded.settings is not None and not right(loaded):
        raise AssertionError("taken, but wrong")
    return loaded.settings is not None


def one_line(chance, link):
    data = LINES[chance.below(len(LINES))]
    if chance.below(8):
        data = mutated(data, chance)
    for byte in data + b"\n":
        link._take(byte)


def main():
    b = board()
    b.run(5000)
    link = b.loop.link
    sink = link.writer = Sink()
    whole, few = bodies()
    taken = 0
    for n in range(SEED, SEED + ROUNDS):
        chance = Chance(n)
        try:
            if n & 1:
                one_line(chance, link)
            else:
                taken += one_settings(chance, whole, few)
            if n % 1000 == 0:
                check.true(ask(b, frames.ASK_STATE), "it still answers")
                link.writer = sink
        except Exception as error:
            print("ESCAPED: SEED=%d" % n)
            sys.print_exception(error)
            return
    check.equal(ask(b, frames.ASK_STATE)[0], frames.STATE, "it still answers")
    print("fuzzed", ROUNDS, "answers", sink.count, "taken", taken)


main()
