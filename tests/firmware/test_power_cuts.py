"""Power cut at every flash operation of a two-minute outing; see on_board/power_cuts.py."""

from __future__ import annotations

import json

import pytest

from firmware_interpreters import SCRIPTS, run


def cut(torn: int, seed: int) -> dict[str, int]:
    output = run("unix", SCRIPTS / "power_cuts.py", heap="24M", timeout_s=600,
                 TORN=str(torn), SEED=str(seed))
    assert output.startswith("{"), output
    found: dict[str, int] = json.loads(output)
    print(found)
    return found


def judge(found: dict[str, int]) -> None:
    assert found["operations"] > 40
    assert found["cuts_whole"] == found["operations"]
    for count in ("not_mounted", "pages_lost", "totals_lost", "not_writable"):
        assert found[count] == 0, found
    assert 0 < found["most_samples_lost"] <= 25, "at most 5 s of samples"


def test_every_operation_whole_and_torn() -> None:
    judge(cut(torn=3, seed=2026))


@pytest.mark.soak
@pytest.mark.parametrize("seed", range(1, 11))
def test_every_operation_torn_in_many_ways(seed: int) -> None:
    judge(cut(torn=40, seed=seed))


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
