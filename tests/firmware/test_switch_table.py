"""The firmware's load switch does what the one table of its states says, on MicroPython."""

from __future__ import annotations

import json

import pytest
from steadyturn.drawings.switch_table import ALL, CONDITIONS, STATES, TABLE

from firmware_interpreters import SCRIPTS, run


def tried(kind: str, **variables: str) -> tuple[list[str], int, list[int]]:
    output = run(kind, SCRIPTS / "switch_grid.py", TABLE=json.dumps(TABLE), timeout_s=900,
                 heap="64M", **variables)
    assert output.startswith("["), output[-3000:]
    found, count, taken = json.loads(output)
    return found, count, taken


def test_every_combination_of_causes_and_of_the_rest() -> None:
    found, count, taken = tried("unix")
    assert not found, "\n".join(found)
    assert count > 40_000
    reached = {row: times for row, times in zip(TABLE, taken, strict=True)}
    assert all(reached.values()), [row for row, times in reached.items() if not times]


@pytest.mark.soak
def test_the_whole_product() -> None:
    found, count, taken = tried("unix", WHOLE="1")
    assert not found, "\n".join(found)
    assert count > 1_000_000
    assert all(taken)


def test_the_table_is_whole() -> None:
    """Every state is reached and left, every condition used."""
    assert {row.to for row in TABLE} == set(STATES) == set(ALL)
    assert {source for row in TABLE for source in row.sources} == set(ALL)
    assert {row.when for row in TABLE} == set(CONDITIONS)
