"""Mutated journals: decode never raises, loses no intact page, invents none, and says of every
byte what became of it."""

from __future__ import annotations

import random
import warnings

import numpy as np
import pytest
import struct_decoder as second
from steadyturn.sessions import whole
from steadyturn.sessions.decode import decode, fault, find
from test_decode_independent import compare, random_page, sealed

SIZE = 220
ROUNDS = 1000
SOAK = 1_000_000
LONGEST = 7
# pages to draw from: journals are made of them by number, so that a round costs no making
POOL = [[random_page(random.Random(100 * seq + n), seq) for n in range(20)]
        for seq in range(1, LONGEST + 1)]


def journal(rng: random.Random) -> list[bytes]:
    return [rng.choice(pages) for pages in POOL[: rng.choice((1, 1, 2, 3, 4, LONGEST))]]


# ---- mutations of whole pages: what comes back has a right CRC


def hostile(page: bytes, rng: random.Random) -> bytes:
    """Says anything; its CRC is right."""
    out = bytearray(page)
    kind = rng.randrange(4)
    if kind == 0:  # what it says of itself
        for at in rng.sample((2, 3, 168, 169, 170), rng.randint(1, 3)):
            out[at] = rng.choice((0, 1, 2, 3, 4, 23, 24, 32, 64, 96, 255, rng.randrange(256)))
    elif kind == 1:  # what a summary stands for
        out[2], out[168], out[170] = 2, 0, 64
        for at in rng.sample((4, 8, 15, 19, 23), 3):
            any_three = rng.randbytes(3)
            out[at : at + 3] = rng.choice((b"\0\0\0", b"\xff\xff\xff", b"\1\0\0", any_three))
    elif kind == 2:  # another number or boot
        at = rng.choice((4, 8, 11))
        out[at : at + 3] = rng.choice((b"\0\0\0", b"\xff\xff\xff", rng.randbytes(3)))
    else:
        for _ in range(rng.randint(1, 12)):
            out[rng.randrange(2, 216)] = rng.randrange(256)
    return sealed(out)


def shuffled(pages: list[bytes], rng: random.Random) -> list[bytes]:
    out = list(pages)
    kind, at, other = rng.randrange(6), rng.randrange(len(out)), rng.randrange(len(out))
    if kind == 0:
        out[at], out[other] = out[other], out[at]
    elif kind == 1:
        out.insert(other, out[at])
    elif kind == 2:
        del out[at]
    elif kind == 3:  # of a version to come
        page = bytearray(out[at])
        page[2] = rng.choice((0, 3, 4, 255))
        out[at] = sealed(page)
    else:
        out[at] = hostile(out[at], rng)
    return out


# ---- mutations of bytes


def bent(raw: bytes, rng: random.Random) -> bytes:
    out = bytearray(raw)
    at = rng.randrange(len(out) + 1)
    length = rng.choice((1, 1, 2, 7, 50, SIZE, 300))
    kind = rng.randrange(9)
    if kind == 0:
        for _ in range(rng.randint(1, 3)):
            if out:
                out[rng.randrange(len(out))] ^= 1 << rng.randrange(8)
    elif kind == 1:
        out[at : at + length] = rng.randbytes(length)
    elif kind == 2:
        del out[at : at + length]
    elif kind == 3:
        out[at:at] = rng.randbytes(length)
    elif kind == 4:
        out[at:at] = out[at : at + length]
    elif kind == 5:
        out[at:at] = rng.choice((b"S", b"St", b"St\1", b"St" * 40, b"\xff" * length,
                                 bytes(length), POOL[0][0][: rng.randrange(SIZE)]))
    elif kind == 6:  # two parts change places
        to = rng.randrange(at, len(out) + 1)
        out = out[:at] + out[to:] + out[at:to]
    elif kind == 7:
        del out[at:]
    else:
        del out[:at]
    return bytes(out)


# ---- what must hold of any bytes


def check(raw: bytes, candidates: set[bytes], deeply: bool) -> tuple[int, int]:
    """candidates: all pages that may be in there; found are those that are."""
    got = decode(raw)
    starts, damage = find(raw)
    assert got.damage == tuple(damage)
    # every byte is either in a page that is used or in a damage, in order, none in both
    at = 0
    for position, length in sorted(
            [(int(at), SIZE) for at in starts] + [(d.position, d.length) for d in damage]):
        shared = at - position  # two pages may share bytes: what is lost of one begins the next
        assert shared == 0 or (0 < shared < SIZE and length == SIZE)
        assert length > 0
        at = position + length
    assert at == len(raw)
    used = [raw[i : i + SIZE] for i in starts.tolist()]
    here = {page for page in candidates if page in raw}
    assert set(used) == {page for page in here if not second.refused(page)}
    assert len(used) == len(got.pages) + got.duplicates
    assert sorted({int.from_bytes(p[4:8], "little") for p in used}) == got.pages["seq"].tolist()
    assert len(got.samples) == got.pages["samples"].sum()
    for lost in damage:
        page = raw[lost.position : lost.position + SIZE]
        cut = page[:2] == b"St" and len(page) < SIZE
        assert lost.reason == ("length" if cut else second.refused(page.ljust(SIZE, b"\0")))
        assert lost.reason == fault(raw, lost.position)
    if deeply:
        kept = got.pages["position"].tolist()
        compare(raw, [raw[i : i + SIZE] for i in kept])
        others = [page for page in used if page not in {raw[i : i + SIZE] for i in kept}]
        assert got.conflicts == len(others)
    return len(used), len(damage)


def one_round(seed: int, *, deeply: bool) -> tuple[int, int]:
    rng = random.Random(seed)
    pages = journal(rng)
    candidates = set(pages)
    for _ in range(rng.choice((0, 0, 1, 2))):
        pages = shuffled(pages, rng) if pages else pages
        candidates.update(pages)
    raw = b"".join(pages)
    for _ in range(rng.choice((0, 1, 1, 2, 4))):
        raw = bent(raw, rng)
    try:
        return check(raw, candidates, deeply)
    except Exception as error:
        raise AssertionError(f"seed {seed}: {raw.hex()}") from error


def rounds(begin: int, count: int, *, deeply_each: int) -> tuple[int, int]:
    """How many pages were used, and how many damages told. Every other seed has two pages under
    one CRC, so that short journals try that too."""
    used = damage = 0
    for together, first in ((whole.RUN, begin), (2, begin + 1)):
        with pytest.MonkeyPatch.context() as patch, warnings.catch_warnings():
            patch.setattr(whole, "RUN", together)
            patch.setattr(whole, "_RUN_VALUE", whole._run_value())
            warnings.simplefilter("error")
            for seed in range(first, begin + count, 2):
                one = one_round(seed, deeply=seed % deeply_each == 0)
                used, damage = used + one[0], damage + one[1]
    return used, damage


def test_mutated_journals() -> None:
    used, damage = rounds(0, ROUNDS, deeply_each=9)
    assert used > ROUNDS
    assert damage > ROUNDS // 2


@pytest.mark.soak
@pytest.mark.timeout(7200)
def test_a_million_mutated_journals() -> None:
    used, damage = rounds(ROUNDS, SOAK, deeply_each=49)
    assert used > SOAK
    assert damage > SOAK // 2


def test_a_bit_anywhere_in_a_long_log_costs_its_page_and_no_other() -> None:
    rng = random.Random(2)
    pages = [random_page(rng, n + 1) for n in range(3 * whole.RUN + 20)]
    raw = b"".join(pages)
    assert len(decode(raw).pages) == len(pages)
    for at in rng.sample(range(len(raw)), 60):
        bad = bytearray(raw)
        bad[at] ^= 1 << rng.randrange(8)
        got = decode(bytes(bad))
        place = at // SIZE * SIZE
        assert [(d.position, d.length) for d in got.damage] == [(place, SIZE)]
        assert set(range(1, len(pages) + 1)) - set(got.pages["seq"].tolist()) == {
            at // SIZE + 1}


# ---- a tenth of it at random


def spoilt(kind: str, pages: list[bytes], rng: np.random.Generator) -> bytes:
    """A tenth of what comes back is random bytes, in runs of this length or as single bytes."""
    raw = b"".join(pages)
    length = {"bytes": 1, "runs": 1000, "inserted": 1000, "inserted bytes": 1}[kind]
    out = bytearray(raw)
    count = len(raw) // 10 // length
    at = np.sort(rng.choice(len(raw) // length, count, replace=False))[::-1] * length
    for begin in at.tolist():
        junk = rng.bytes(length)
        out[begin : begin + (0 if "inserted" in kind else length)] = junk
    return bytes(out)


@pytest.mark.parametrize("kind", ["bytes", "runs", "inserted", "inserted bytes"])
def test_a_log_with_a_tenth_random_bytes_keeps_every_intact_page(kind: str) -> None:
    rng, of_pages = np.random.default_rng(4), random.Random(4)
    pages = [random_page(of_pages, n + 1) for n in range(500)]
    raw = spoilt(kind, pages, rng)
    got = decode(raw)
    intact = {n + 1 for n, page in enumerate(pages) if page in raw}
    assert set(got.pages["seq"].tolist()) == intact
    assert len(intact) > 150 if kind in {"runs", "inserted"} else len(intact) < 5
    assert SIZE * len(intact) + sum(d.length for d in got.damage) == len(raw)
    for n in (-1, len(got.pages) // 2):  # its place, after all that was lost or added before
        if intact:
            row = got.pages[n]
            assert raw[row["position"] :][:SIZE] == pages[int(row["seq"]) - 1]
