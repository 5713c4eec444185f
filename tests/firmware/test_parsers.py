"""Mutated lines for the link and settings files, through the shipped parsers: 0 escapes."""

from __future__ import annotations

import pytest

from firmware_interpreters import SCRIPTS, run


def fuzz(kind: str, rounds: int, seed: int = 1, timeout_s: float = 120) -> None:
    output = run(kind, SCRIPTS / "fuzz_parsers.py", timeout_s=timeout_s,
                 ROUNDS=str(rounds), SEED=str(seed))
    assert f"fuzzed {rounds} " in output, output[-3000:]
    answers, taken = (int(output.split(word)[1].split()[0]) for word in ("answers", "taken"))
    assert answers > rounds // 10, "the lines reach the questions"
    assert taken or rounds < 20_000, "and some settings are whole"


def test_unix_port() -> None:
    fuzz("unix", 20_000)


def test_32_bit_build() -> None:
    fuzz("wasm", 1_500, seed=5_000_000)


@pytest.mark.soak
@pytest.mark.timeout(3600)
def test_a_million() -> None:
    fuzz("unix", 1_000_000, seed=100_000, timeout_s=3500)
