"""The decoder against a second one that was written from firmware/pages.md alone."""

from __future__ import annotations

import random
import re
import zlib
from pathlib import Path

import struct_decoder as second
from steadyturn.sessions.decode import PAGE, SAMPLE, decode

SPECIFICATION = Path(__file__).parents[3] / "firmware" / "pages.md"
ROUNDS = 200


def sealed(page: bytearray) -> bytes:
    page[216:] = zlib.crc32(page[:216]).to_bytes(4, "little")
    return bytes(page)


def random_page(rng: random.Random, seq: int) -> bytes:
    """Any bytes at all that a reader may not refuse."""
    page = bytearray(rng.randbytes(220))
    page[:2] = b"St"
    page[4:8] = seq.to_bytes(4, "little")
    page[168], page[169] = rng.choice((0, 5, 22, 23)), rng.randint(0, 3)
    kind = rng.choice((0, 0, 32, 64))
    page[170] = page[170] & ~96 | kind
    page[2] = 2 if kind else 1
    if rng.random() < 0.3:  # some samples in which nothing was measured
        for _ in range(3):
            at = 15 + 6 * rng.randrange(23)
            page[at : at + 6] = b"\xff" * 6
    if kind == 64:
        first = rng.randint(max(0, seq - 9), seq)
        page[168] = 0
        page[15:19] = first.to_bytes(4, "little")
        page[19:23] = rng.randint(1, seq - first + 1).to_bytes(4, "little")
        page[23:26] = rng.randint(0, int.from_bytes(page[8:11], "little")).to_bytes(3, "little")
    return sealed(page)


def compare(raw: bytes, pages: list[bytes]) -> None:
    """Every field of every table, of pages that differ in their numbers, in their order."""
    got = decode(raw)
    want = [second.read(page) for page in pages]
    for name in PAGE.names or ():
        if name not in {"position", "samples"}:
            assert got.pages[name].tolist() == [page[name] for page in want], name
    # the samples of a burst are none of those of 0.2 s
    assert got.pages["samples"].tolist() == [
        0 if page["flags"] & 32 else page["samples"] for page in want]
    for table, burst in ((got.samples, 0), (got.bursts, 32)):
        rows = [(page["boot"], page["seq"], *row) for page in want
                if page["flags"] & 32 == burst for row in page["rows"]]
        for i, name in enumerate(SAMPLE.names or ()):
            column = [None if str(cell) == "nan" else cell for cell in table[name].tolist()]
            assert column == [row[i] for row in rows], name
    assert [tuple(e) for e in got.events.tolist()] == [
        (page["boot"], page["seq"], *event) for page in want for event in page["happened"]]
    counted = [page for page in want if "summary" in page]
    assert got.summaries["seq"].tolist() == [page["seq"] for page in counted]
    assert got.summaries["pages"].tolist() == [page["stands_for"] for page in counted]
    for name in ("first_seq", "first_boot", "boot"):
        assert got.summaries[name].tolist() == [page[name] for page in counted], name
    for name in counted[0]["summary"] if counted else ():
        assert got.summaries[name].tolist() == [page["summary"][name] for page in counted], name


def test_both_agree_field_by_field() -> None:
    for seed in range(ROUNDS):
        rng = random.Random(seed)
        begin = rng.choice((1, 5000, 2**32 - 20))
        pages = [random_page(rng, begin + n) for n in range(rng.choice((1, 1, 2, 9)))]
        assert not any(map(second.refused, pages))
        compare(b"".join(pages), pages)


def test_also_where_the_decoder_works_in_more_than_one_part() -> None:
    rng = random.Random(5)
    pages = [random_page(rng, n + 1) for n in range(1200)]
    compare(b"".join(pages), pages)


def test_the_worked_pages_of_the_specification() -> None:
    text = SPECIFICATION.read_text(encoding="utf-8")
    found = []
    for part in re.findall(r"<!-- hex: \w+ -->(.*?)<!-- end -->", text, re.S):
        lines = [line.split(maxsplit=1)[1] for line in part.splitlines() if line.strip()]
        found.append(bytes.fromhex("".join(lines)))
    assert len(found) == 2
    assert not any(map(second.refused, found))
    compare(b"".join(found), found)
    full = second.read(found[0])
    assert full["rows"][0] == (4600, 6500, 500, 65.0, 6500, 500, 2, 0, 0, False)
    assert full["happened"] == [(5600, 2, 6500)]
