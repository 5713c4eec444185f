"""A library whose file was damaged anywhere: an answer or a refusal with its remedy, never a
traceback, and no page that was still whole is lost by trying."""

from __future__ import annotations

import random

import pytest
from commands import CHANGES, LOOKS, Bench, told
from test_library_failures import filled  # noqa: F401 (a fixture)

BLOCK = 4096  # SQLite's own page
ROUNDS = 8
SOAK = 400


def spoil(raw: bytes, rng: random.Random) -> bytes:
    """Bits, runs of bytes, whole blocks, what a block says of itself, the end."""
    out = bytearray(raw)
    blocks = len(out) // BLOCK
    kind = rng.randrange(6)
    if kind == 0:
        for _ in range(rng.choice((1, 3, 10, 100, 1000))):
            out[rng.randrange(len(out))] ^= 1 << rng.randrange(8)
    elif kind == 1:
        for _ in range(rng.choice((1, 3, 30))):
            at = rng.randrange(len(out))
            length = min(len(out) - at, rng.choice((1, 4, 100, BLOCK)))
            out[at : at + length] = rng.randbytes(length)
    elif kind == 2:
        one, two = (BLOCK * rng.randrange(blocks) for _ in range(2))
        out[one : one + BLOCK], out[two : two + BLOCK] = (
            out[two : two + BLOCK], out[one : one + BLOCK])
    elif kind == 3:
        for _ in range(rng.choice((1, 5, 20))):
            out[BLOCK * rng.randrange(blocks) + rng.randrange(100)] = rng.randrange(256)
    elif kind == 4:
        at = BLOCK * rng.randrange(blocks)
        out[at : at + BLOCK] = rng.choice((bytes(BLOCK), b"\xff" * BLOCK))
    else:
        del out[rng.randrange(len(out)) :]
    return bytes(out)


def try_all(bench: Bench, raw: bytes, lines: list[list[str]]) -> list[int]:
    """How each command ended on a library of these bytes."""
    every, seq = list(bench.shelf.every), bench.shelf.recorder.seq
    ended = []
    for line in lines:
        bench.folder.mkdir(exist_ok=True)
        for path in bench.folder.iterdir():
            path.unlink()
        bench.file.write_bytes(raw)
        before = bench.kept()
        said = bench.run(line)
        bench.shelf.every, bench.shelf.recorder.seq = list(every), seq
        bench.shelf.waiting.clear()
        if line[-1] == "cold hands" and said.status == 2:
            assert "no outing of that number" in " ".join(said.err.split())
        elif said.status:
            told(said)
            if line in LOOKS:
                assert bench.file.read_bytes() == raw
        assert before <= bench.kept()
        ended.append(said.status)
    return ended


def one_round(bench: Bench, raw: bytes, seed: int, lines: list[list[str]]) -> list[int]:
    try:
        return try_all(bench, spoil(raw, random.Random(seed)), lines)
    except BaseException as error:
        raise AssertionError(f"seed {seed}") from error


@pytest.fixture
def bench(filled, tmp_path):  # noqa: F811
    bench = Bench(tmp_path)
    bench.shelf.every = list(filled[1])
    bench.shelf.recorder.seq = len(filled[1]) + 1
    return bench


def test_damage_anywhere(bench, filled):  # noqa: F811
    rng = random.Random(1)
    ended = [status for seed in range(ROUNDS) for status in
             one_round(bench, filled[0], seed, rng.sample([*LOOKS, *CHANGES], 3))]
    assert {0, 1} <= set(ended)


@pytest.mark.soak
@pytest.mark.timeout(7200)
def test_damage_anywhere_at_length(bench, filled):  # noqa: F811
    for seed in range(ROUNDS, ROUNDS + SOAK):
        one_round(bench, filled[0], seed, [*LOOKS, *CHANGES])


def test_pulling_again_beside_a_damaged_library(bench, filled, tmp_path):  # noqa: F811
    """The remedy that is named: moved aside, and what the board has comes back."""
    bench.folder.mkdir()
    bench.file.write_bytes(filled[0][: len(filled[0]) // 3])
    said = bench.run(["pull"])
    told(said)
    assert "Move it aside and pull again" in " ".join(said.err.split())
    bench.file.rename(tmp_path / "aside.sqlite")
    assert bench.run(["pull"]).status == 0
    assert bench.kept() == set(bench.shelf.every)
    assert bench.run(["review"]).status == 0
