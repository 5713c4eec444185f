"""Power cuts at flash operations of three workloads; see on_board/power_cuts.py.

The default run takes a sample; `pytest -m soak tests/firmware/test_power_cuts.py` cuts at
every operation: more than 2,000 prefixes of recorded logs, each also torn in every way.
"""

from __future__ import annotations

import json

import pytest

from firmware_interpreters import SCRIPTS, run

# rounds of each workload, and each how many operations a cut, in the default run
SAMPLE = {"steady": (1, 2), "cues": (2, 3), "full": (2, 12)}
ROUNDS = {"steady": 19, "cues": 28, "full": 7}
LEAST_CUTS = {"steady": 850, "cues": 800, "full": 800}


def cut(workload: str, rounds: int, **more: int) -> dict[str, int]:
    output = run(
        "unix", SCRIPTS / "power_cuts.py", heap="64M", timeout_s=3000, WORKLOAD=workload,
        ROUNDS=str(rounds), **{name: str(value) for name, value in more.items()},
    )
    *wrong, last = output.strip().splitlines()
    assert not wrong, "each line can be had alone, as\n" + "\n".join(wrong[:10])
    assert last.startswith("{"), output
    found: dict[str, int] = json.loads(last)
    print(found)
    return found


def judge(found: dict[str, int]) -> None:
    assert found["failures"] == 0, found
    assert found["whole"] == found["cuts"] > 0
    assert found["torn"] >= 2 * found["cuts"]
    assert 0 < found["most_samples_lost"] <= 25, "at most 5 s of samples"


@pytest.mark.parametrize("workload", SAMPLE)
def test_sample_of_operations_whole_torn_and_half_erased(workload: str) -> None:
    rounds, every = SAMPLE[workload]
    found = cut(workload, rounds, EVERY=every, SEED=2026)
    judge(found)
    assert found["cuts"] >= 15
    if workload == "full":
        assert found["summaries"] > 2, "logs were thinned"


@pytest.mark.soak
@pytest.mark.parametrize("workload", ROUNDS)
def test_every_operation(workload: str) -> None:
    """2,000 cuts or more in all; each fortieth recovery is cut again at its every operation."""
    found = cut(workload, ROUNDS[workload], SEED=7, AGAIN=40)
    judge(found)
    assert found["cuts"] == found["operations"] >= LEAST_CUTS[workload]
    assert found["again"] > 50
    assert sum(LEAST_CUTS.values()) >= 2000


@pytest.mark.soak
@pytest.mark.parametrize("seed", range(1, 6))
@pytest.mark.parametrize("workload", ROUNDS)
def test_torn_in_many_ways(workload: str, seed: int) -> None:
    judge(cut(workload, SAMPLE[workload][0] + 1, TORN=8, EVERY=3, SEED=seed))


def test_a_failure_would_be_told() -> None:
    """The judge sees a journal that acknowledges before it has written."""
    output = run("unix", SCRIPTS / "power_cuts.py", heap="64M", timeout_s=300, WORKLOAD="steady",
                 ROUNDS="1", EVERY="5", FAULT="early")
    lines = output.strip().splitlines()
    assert json.loads(lines[-1])["failures"] > 0
    assert "CUT=" in lines[0]
    assert "WAY=" in lines[0]


def test_beginning_the_count_anew_is_done_or_not_done() -> None:
    output = run("unix", SCRIPTS / "count_cuts.py", heap="24M", timeout_s=600)
    assert output.startswith("{"), output
    found: dict[str, int] = json.loads(output)
    print(found)
    assert found["operations"] > 60
    assert found["cuts"] == 4 * found["operations"]
    assert found["neither"] == 0, found
    assert found["old"] > 20
    assert found["new"] > 60
