"""journal.md's figures are those that the code gives: erases, years, cuts, the last page."""

from __future__ import annotations

import json
import re

import pytest

from firmware_interpreters import FIRMWARE, SCRIPTS, run

WEEKS = 365.25 / 7
CYCLES = 100_000
BLOCKS = 352
CODE_MS, PROGRAM_MS, ERASE_MS, LONGEST_MS = 10, 0.7, 45, 400
FLASH_MW = 25 * 3.3


def rows(name: str) -> list[list[str]]:
    text = (FIRMWARE / "journal.md").read_text()
    found = re.search(rf"<!-- rows: {name} -->\n(.*?)<!-- end -->", text, re.DOTALL)
    assert found, name
    return [[cell.strip() for cell in line.strip("|").split("|")]
            for line in found.group(1).strip().splitlines()]


def measured(variables: str) -> dict[str, int]:
    given = dict(pair.split("=") for pair in variables.split())
    output = run("unix", SCRIPTS / "wear.py", heap="64M", timeout_s=1200, **given)
    assert output.startswith("{"), output
    found: dict[str, int] = json.loads(output)
    return found


def as_counted(row: list[str]) -> None:
    found = measured(row[1])
    assert [int(row[2]), int(row[3])] == [found["pages"], found["erases"]]
    plain = found["plain_erases"] * found["pages"] / found["plain_pages"]
    assert int(row[4]) == round(plain)
    assert float(row[5]) == pytest.approx(found["erases"] / plain, abs=0.0015)
    assert int(row[6]) == found["worst_block"]


WEAR = rows("wear")[2:]
SHORT = [row for row in WEAR if re.fullmatch(r"PAGES=\d{1,3}( EVERY=\d+)?", row[1])]


def test_at_most_a_quarter_of_the_erases() -> None:
    assert len(SHORT) == 3
    assert len(WEAR) == 6
    assert all(float(row[5]) <= 0.25 for row in WEAR)


@pytest.mark.parametrize("row", SHORT, ids=[row[0] for row in SHORT])
def test_erases_counted(row: list[str]) -> None:
    as_counted(row)


@pytest.mark.soak
@pytest.mark.parametrize("row", [r for r in WEAR if r not in SHORT],
                         ids=[r[0] for r in WEAR if r not in SHORT])
def test_erases_counted_long(row: list[str]) -> None:
    as_counted(row)


@pytest.mark.soak
def test_erases_with_the_load_connected() -> None:
    text = (FIRMWARE / "journal.md").read_text()
    steady, rests = measured("MINUTES=60"), measured("MINUTES=60 EVERY=5")
    assert steady["connections"] == 1
    assert f"all {steady['erases_connected']} erases" in text
    assert f"{rests['erases_connected']} of {rests['erases']} do" in text


def test_years() -> None:
    day = WEAR[-1]
    ballast = 300 // 4 + 1
    worst = int(day[6]) / 24
    alike = int(day[3]) / 24 / (BLOCKS - ballast)
    for hours, by_worst, by_all in rows("life")[2:]:
        a_year = float(hours) * WEEKS
        assert int(by_worst) == pytest.approx(CYCLES / worst / a_year, rel=0.03)
        assert int(by_all) == pytest.approx(CYCLES / alike / a_year, rel=0.03)


def test_cuts_add_up() -> None:
    table = rows("cuts")[2:]
    assert [row[0] for row in table] == ["steady", "cues", "full"]
    assert all(row[4] == row[5] == "0" and int(row[6]) <= 25 for row in table)
    total = sum(int(row[1]) for row in table)
    assert total >= 2000
    assert f"Sum of cuts: {total}." in " ".join((FIRMWARE / "journal.md").read_text().split())


def test_the_last_page_against_the_reservoir() -> None:
    from steadyturn.rig.types import Supply

    text = (FIRMWARE / "journal.md").read_text()
    found = measured("FADES=300")
    told = (f"at most {found['most_programs']} programs and {found['most_erases']} erases; "
            f"{found['with_erase']} of the 300")
    assert told in " ".join(text.split())
    assert found["lost"] == 0
    typical = Supply()
    volts = typical.fade_v**2 - typical.off_v**2
    watts = typical.power_w + FLASH_MW / 1000
    ms = CODE_MS + found["most_programs"] * PROGRAM_MS
    times = [ms, ms + found["most_erases"] * ERASE_MS, ms + LONGEST_MS]
    head, _, *table = rows("fade")
    for title, t in zip(head[2:], times, strict=True):
        took, needs = re.findall(r"([\d.]+) m[sJ]", title)
        assert float(took) == pytest.approx(t, abs=0.6)
        assert float(needs) == pytest.approx(t * watts, rel=0.02)
    for row in table:
        gives = float(row[0]) / 2 * volts
        assert float(row[1]) == pytest.approx(gives, abs=0.6)
        assert row[2:] == ["yes" if t * watts < gives else "no" for t in times]
