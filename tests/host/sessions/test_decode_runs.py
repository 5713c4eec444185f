"""A journal decoded in parts gives what it gives whole, wherever it is cut."""

from __future__ import annotations

import random

import numpy as np
import pytest
from steadyturn.sessions.decode import Pages, decode
from steadyturn.sessions.runs import Run, decode_runs
from test_decode_fuzz import POOL, SIZE, bent, shuffled
from test_decode_independent import random_page

ROUNDS = 120
SOAK = 20_000


def in_parts(raw: bytes, rng: random.Random) -> list[bytes]:
    cuts = sorted(rng.randrange(len(raw) + 1) for _ in range(rng.choice((0, 1, 5, 40))))
    return [raw[a:b] for a, b in zip([0, *cuts], [*cuts, len(raw)], strict=True)]


def joined(runs: list[Run]) -> dict[str, np.ndarray]:
    return {name: np.concatenate([getattr(run.pages, name) for run in runs])
            for name in ("pages", "samples", "events", "bursts", "summaries")}


def by_number(table: np.ndarray) -> np.ndarray:
    return table[np.argsort(table["seq"], kind="stable")]


def compare(raw: bytes, parts: list[bytes], run_bytes: int) -> Pages:
    whole = decode(raw)
    runs = list(decode_runs(parts, run_bytes))
    for name, table in joined(runs).items():
        # bytes, because a pace that was not measured equals nothing
        assert by_number(table).tobytes() == getattr(whole, name).tobytes(), name
    assert tuple(d for run in runs for d in run.pages.damage) == whole.damage
    assert sum(run.pages.duplicates for run in runs) == whole.duplicates
    assert sum(run.pages.conflicts for run in runs) <= whole.conflicts
    assert b"".join(run.own for run in runs) == raw
    for run in runs:
        assert len(run.raw) <= 2 * max(SIZE, run_bytes) + SIZE  # what is held does not grow
        at = run.pages.pages["position"].tolist()
        assert run.rows(np.arange(len(at))) == b"".join(raw[i : i + SIZE] for i in at)
    return whole


def one_round(seed: int) -> None:
    rng = random.Random(seed)
    pages = [rng.choice(kinds) for kinds in POOL]
    for _ in range(rng.choice((0, 1, 3))):
        pages = shuffled(pages, rng)
    raw = b"".join(pages)
    for _ in range(rng.choice((0, 1, 2, 4))):
        raw = bent(raw, rng)
    try:
        compare(raw, in_parts(raw, rng), rng.choice((1, 221, 500, 10_000)))
    except Exception as error:
        raise AssertionError(f"seed {seed}: {raw.hex()}") from error


def test_cut_anywhere() -> None:
    for seed in range(ROUNDS):
        one_round(seed)


@pytest.mark.soak
@pytest.mark.timeout(3600)
def test_cut_anywhere_at_length() -> None:
    for seed in range(ROUNDS, ROUNDS + SOAK):
        one_round(seed)


def test_a_long_log_with_damage_over_many_runs() -> None:
    rng = random.Random(3)
    pages = [random_page(rng, n + 1) for n in range(900)]
    junk = rng.randbytes(50_000)
    raw = b"".join(pages[:300]) + junk + b"".join(pages[290:600]) + bytes(9000) + b"".join(
        pages[600:]) + b"St" + bytes(50)
    whole = compare(raw, [raw], 2000)
    assert [(d.position, d.length, d.reason) for d in whole.damage] == [
        (300 * SIZE, 50_000, "stray"), (610 * SIZE + 50_000, 9000, "stray"),
        (910 * SIZE + 59_000, 52, "length")]
    assert whole.duplicates == 10


def test_two_pages_that_share_a_byte_are_both_kept() -> None:
    """The last byte of one was lost, and was the same as the first of the next."""
    rng = random.Random(6)
    pages = [random_page(rng, n + 1) for n in range(2000)]
    first = next(n for n, page in enumerate(pages) if page[-1:] == b"S")
    raw = b"".join(pages[first - 2 : first]) + pages[first][:-1] + b"".join(
        pages[first + 1 : first + 3])
    for run_bytes in (1, 3 * SIZE - 1, 3 * SIZE, 10_000):
        assert len(compare(raw, [raw], run_bytes).pages) == 5


def test_nothing_in_nothing_out() -> None:
    for parts in ([], [b""], [b"", b""]):
        (only,) = decode_runs(parts)
        assert (len(only.pages.pages), only.pages.damage) == (0, ())
