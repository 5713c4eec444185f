"""Mutated bytes for all that the host reads from a board: only its own errors ever come out."""

from __future__ import annotations

import random
import struct
import zlib
from collections.abc import Iterator

import pytest
from fake_board import FakeBoard
from steadyturn.board import link
from steadyturn.board.framing import Frames, frame
from steadyturn.board.link import NotUnderstood, settings_line
from steadyturn_fw import frames

ROUNDS = 2_000
SOAK = 200_000


def mutated(data: bytes, rng: random.Random) -> bytes:
    for _ in range(rng.randint(1, 4)):
        at = rng.randint(0, len(data))
        to = min(len(data), at + rng.randint(1, 9))
        data = rng.choice((
            data[:at] + data[to:], data[:to] + data[at:], data[:at],
            data[:at] + rng.randbytes(rng.randint(1, 6)) + data[to:],
            data[:at] + b"St" + data[at:], data[:at] + frame(frames.END, b"")[:5] + data[at:],
            bytes(b ^ (1 << rng.randrange(8) if i == at else 0) for i, b in enumerate(data)),
        ))
    return data


def answers() -> list[bytes]:
    board = FakeBoard()
    board.settings = b'{"crc": "00000000", "settings":\n{"version": 3}\n}\n'
    lines = (b":who", b":state", b":page 0", b":page 9", b":settings 0", b":nonsense", b":flush")
    return [board.answer(line) for line in lines]


def pieces(data: bytes, rng: random.Random) -> Iterator[bytes]:
    while data:
        size = rng.randint(1, 64)
        yield data[:size]
        data = data[size:]


def one_round(seed: int, whole: list[bytes]) -> int:
    rng = random.Random(seed)
    parser = Frames()
    stream = b"".join(mutated(rng.choice(whole), rng) for _ in range(3)) + rng.choice(whole)
    found: list[tuple[int, bytes]] = []
    for piece in pieces(stream, rng):
        found += parser.feed(piece)
    # whatever a false start has claimed, 250 bytes of silence and a good frame end it
    found += parser.feed(b"\n" * 260)
    last = parser.feed(whole[0])
    assert last[-1:] == [(frames.WHO, whole[0][4:-4])]
    assert len(parser._held) <= 2
    for kind, payload in [*found, (rng.randrange(256), rng.randbytes(rng.randrange(245)))]:
        for accept in (
            link._who, link._state, lambda k, p: link._page(k, p, 3),
            lambda k, p: link._piece(k, p, 0),
        ):
            try:
                value = accept(kind, payload)
            except NotUnderstood:
                continue
            assert value is None or isinstance(value, tuple)
    settings_line(stream)
    return len(found)


def test_answers() -> None:
    whole = answers()
    assert sum(one_round(seed, whole) for seed in range(ROUNDS)) > ROUNDS


def test_frames_that_say_anything_with_a_right_crc() -> None:
    rng = random.Random(7)
    for _ in range(ROUNDS // 4):
        kind, payload = rng.choice(b"WSPRNUX"), rng.randbytes(rng.choice((0, 3, 4, 29, 72, 220)))
        ((got, bytes_),) = Frames().feed(frame(kind, payload))
        assert (got, bytes_) == (kind, payload)
        body = bytes((kind, len(payload))) + payload
        assert zlib.crc32(body) == struct.unpack("<I", frame(kind, payload)[-4:])[0]
        for accept in (link._who, link._state):
            try:
                accept(kind, payload)
            except NotUnderstood as error:
                assert "version" in str(error)  # noqa: PT017 - only then


@pytest.mark.soak
@pytest.mark.timeout(3600)
def test_answers_at_length() -> None:
    whole = answers()
    for seed in range(ROUNDS, ROUNDS + SOAK):
        one_round(seed, whole)
