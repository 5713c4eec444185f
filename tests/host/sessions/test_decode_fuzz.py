"""Mutated journals: decode never raises, and gives nothing that a page did not say."""

from __future__ import annotations

import random
import zlib

import numpy as np
import pytest
from page_maker import STEADY, make_page
from steadyturn.sessions.decode import decode
from steadyturn_fw import pages as layout

ROUNDS = 300
SOAK = 20_000


def journal(rng: random.Random) -> list[bytes]:
    return [
        make_page(
            seq, boot=1 + seq // 4, t0_ms=4600 * seq, samples=[STEADY] * rng.randint(0, 23),
            events=[(rng.randrange(16), rng.randrange(400), 5)] * rng.randint(0, 3),
            totals={"energy_in": 1000 * seq, "turns": seq},
        )
        for seq in range(1, rng.randint(2, 7))
    ]


def sealed(page: bytearray) -> bytes:
    page[layout.AT_CRC :] = zlib.crc32(page[: layout.AT_CRC]).to_bytes(4, "little")
    return bytes(page)


def mutated(raw: bytes, rng: random.Random) -> bytes:
    at = rng.randrange(len(raw) + 1)
    to = min(len(raw), at + rng.randint(1, 300))
    return rng.choice((
        raw[:at] + raw[to:], raw[:to] + raw[at:], raw[:at], raw[:at] + rng.randbytes(9) + raw[to:],
        raw[:at] + b"St\x01" + raw[at:], raw[:at] + bytes(to - at) + raw[to:],
        raw[:at] + b"\xff" * (to - at) + raw[to:],
    ))


def one_round(seed: int) -> tuple[int, int]:
    rng = random.Random(seed)
    whole = journal(rng)
    if rng.random() < 0.5:  # a page that says anything, with a right CRC
        page = bytearray(rng.choice(whole))
        for _ in range(rng.randint(1, 12)):
            page[rng.randrange(2, layout.AT_CRC)] = rng.randrange(256)
        whole[rng.randrange(len(whole))] = sealed(page)
    raw = b"".join(whole)
    for _ in range(rng.randint(0, 3)):
        raw = mutated(raw, rng)
    found = decode(raw)
    assert len(found.pages) <= len(raw) // layout.PAGE_BYTES
    for page in found.pages:
        at = int(page["position"]) if "position" in (page.dtype.names or ()) else None
        if at is not None:
            assert zlib.crc32(raw[at : at + layout.PAGE_BYTES - 4]) == int.from_bytes(
                raw[at + layout.AT_CRC : at + layout.PAGE_BYTES], "little")
    for name in found.samples.dtype.names or ():
        column = found.samples[name]
        if np.issubdtype(column.dtype, np.floating):
            assert not np.isinf(column).any(), name
    return len(found.pages), len(found.damage)


def test_journals() -> None:
    found = [one_round(seed) for seed in range(ROUNDS)]
    assert sum(pages for pages, _ in found) > ROUNDS
    assert sum(damage for _, damage in found) > ROUNDS // 2


@pytest.mark.soak
@pytest.mark.timeout(3600)
def test_journals_at_length() -> None:
    for seed in range(ROUNDS, ROUNDS + SOAK):
        one_round(seed)
