"""hardware/hazards.md: every row has barriers and a test that runs, or says why it has none."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[3]
TEXT = (ROOT / "hardware" / "hazards.md").read_text()
ROWS = [[cell.strip() for cell in line.strip("|").split("|")]
        for line in TEXT.splitlines() if re.match(r"\| \d+ \|", line)]
NAMED = re.compile(r"`([\w/]+\.py)::(\w+)`")
# what has to be in it, by a word of its cause
NEEDED = ("runs through", "load dump", "stuck on", "stuck off", "upper wire", "lower wire",
          "chip dead", "frozen", "alert's wire", "let-go wire open", "let-go wire stuck",
          "keep-alive pin stuck", "capacitor shorted", "capacitor open", "clamp open",
          "backwards", "3.3 V", "supply fails high", "reservoir", "gears", "cell",
          "flash corrupted", "two converters", "USB host and crank", "watchdog")


def test_the_table_is_whole() -> None:
    assert [int(row[0]) for row in ROWS] == list(range(1, len(ROWS) + 1))
    assert all(len(row) == 6 and all(row) for row in ROWS)
    causes = " ".join(row[1] for row in ROWS)
    assert [word for word in NEEDED if word not in causes] == []


@pytest.mark.parametrize("row", ROWS, ids=[row[0] for row in ROWS])
def test_every_row_names_what_shows_it(row: list[str]) -> None:
    named = NAMED.findall(row[5])
    assert named or "needs a board" in row[5] or "by inspection" in row[5]
    assert row[5].count("::") == len(named), "each is written as `file::name`"
    for file, name in named:
        path = ROOT / "tests" / file
        assert path.exists(), file
        source = path.read_text()
        found = re.search(rf"((?:^@.*\n(?:^[ )\]].*\n)*)*)^def {name}\(", source, re.MULTILINE)
        assert found, f"{file} has no {name}"
        assert not re.search(r"^@pytest\.mark\.(skip|xfail|soak)", found[1],
                             re.MULTILINE), f"{name} does not run"


def test_a_row_whose_test_has_gone_is_noticed() -> None:
    """So the tests above can fail."""
    row = ["1", "a", "b", "c", "d", "`firmware/on_board/check_switch.py::test_never_was`"]
    with pytest.raises(AssertionError, match="has no"):
        test_every_row_names_what_shows_it(row)
    soaked = [*row[:5], "`host/twin/test_twin_let_go.py::test_at_twenty_phases_of_the_tick`"]
    with pytest.raises(AssertionError, match="does not run"):
        test_every_row_names_what_shows_it(soaked)
