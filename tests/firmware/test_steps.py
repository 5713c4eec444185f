"""What a tick costs, counted on the real interpreter, against the tables of budget.md.

After a change that makes a tick dearer or cheaper: `python tests/firmware/test_steps.py` writes
the tables anew.
"""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from firmware_interpreters import FIRMWARE
from firmware_steps import GLUE, PARTS, Part, Steps, Tick, measured

BUDGET = FIRMWARE / "budget.md"
MORE = 1.03  # a count above the table's by this much is a regression
LESS = 0.90  # and one so far below it a table that is out of date
# the goals, 1,500 and 5,000, and what is reached: two more registers of 132 us with an INA3221
STEADY_US = {"ina226": 1650, "ina219": 1650, "ina3221": 2000, "adc": 1500}
PAGE_US = {"ina226": 5000, "ina219": 5000, "ina3221": 5400, "adc": 5000}
CACHE = 42 / 25  # a call with ten operations, with and without a guessed cache
CACHE_I2C = 157 / 132
CHIPS = ("ina226", "ina219", "ina3221", "adc")
STATES = ("rest", "faster", "open", "hold", "slower", "stop")
KINDS = ("steady", "sample", "page")


def cached_us(found: Steps, part: Part) -> float:
    i2c = 132.0 * part.calls.get("i", 0)
    return (found.us(part) - i2c) * CACHE + i2c * CACHE_I2C


def worst(found: Steps, chip: str, state: str, kind: str) -> Tick:
    ticks = [t for t in found.ticks if (t.chip, t.state, t.kind) == (chip, state, kind)]
    return max(ticks, key=lambda t: found.us(t.whole))


def usual(found: Steps, chip: str, state: str) -> Tick:
    """The steady tick in the middle of all."""
    ticks = [t for t in found.ticks if (t.chip, t.state, t.kind) == (chip, state, "steady")]
    return sorted(ticks, key=lambda t: found.us(t.whole))[len(ticks) // 2]


def row(found: Steps, name: str, part: Part) -> str:
    calls = part.calls
    reads = ", ".join(f"{calls[k]} {what}" for k, what in (
        ("i", "I2C"), ("a", "ADC"), ("v", "pin"), ("w", "lamp")) if k in calls)
    return (f"| {name} | {part.codes:,} | {part.steps:,} | {reads} | {found.us(part):,.0f} "
            f"| {cached_us(found, part):,.0f} |")


def parts_table(found: Steps) -> str:
    tick = usual(found, "ina226", "hold")
    lines = ["The usual steady tick in `hold` with an INA226:", "",
             "| step | bytecodes | instructions | hardware | us | us with cache |",
             "|---|---|---|---|---|---|"]
    for name in [*PARTS.values(), GLUE]:
        if name in tick.parts:
            lines.append(row(found, name, tick.parts[name]))
    lines.append(row(found, "**sum**", tick.whole))
    return "\n".join(lines)


def ticks_table(found: Steps) -> str:
    lines = ["| chip | cue | dearest steady: bytecodes | instructions | us | us with cache "
             "| sample ends: instructions | us | page ends: instructions | us | us with cache "
             "| usual steady: us |",
             "|---|---|---|---|---|---|---|---|---|---|---|---|"]
    for chip in CHIPS:
        for state in STATES:
            steady, sample, page = (worst(found, chip, state, kind).whole for kind in KINDS)
            lines.append(
                f"| {chip} | {state} | {steady.codes:,} | {steady.steps:,} "
                f"| {found.us(steady):,.0f} | {cached_us(found, steady):,.0f} "
                f"| {sample.steps:,} | {found.us(sample):,.0f} "
                f"| {page.steps:,} | {found.us(page):,.0f} | {cached_us(found, page):,.0f} "
                f"| {found.us(usual(found, chip, state).whole):,.0f} |")
    return "\n".join(lines)


MADE = {"parts": parts_table, "ticks": ticks_table}


def block(name: str) -> re.Match[str]:
    found = re.search(rf"<!-- steps: {name} -->\n(.*?)<!-- end -->", BUDGET.read_text(), re.DOTALL)
    assert found, f"budget.md has no block {name}"
    return found


def limits() -> dict[tuple[str, str], list[int]]:
    """(chip, cue) -> bytecodes, instructions, ... as the table says."""
    found = {}
    for line in block("ticks").group(1).splitlines()[2:]:
        chip, state, *figures = (cell.strip() for cell in line.strip("|").split("|"))
        found[chip, state] = [int(f.replace(",", "")) for f in figures]
    return found


@pytest.mark.parametrize("state", STATES)
@pytest.mark.parametrize("chip", CHIPS)
def test_steps_of_a_tick(chip: str, state: str) -> None:
    found = measured()
    limit = limits()[chip, state]
    for kind, figures, column in (
        ("steady", "codes", 0), ("steady", "steps", 1), ("sample", "steps", 4),
        ("page", "steps", 6),
    ):
        tick = worst(found, chip, state, kind)
        count = getattr(tick.whole, figures)
        parts = {name: getattr(part, figures) for name, part in tick.parts.items()}
        assert limit[column] * LESS <= count <= limit[column] * MORE, (
            f"{kind}: {count} {figures}, budget.md has {limit[column]}; {parts}: "
            f"run {Path(__file__).name} when that is as it should be")


@pytest.mark.parametrize("chip", CHIPS)
def test_of_a_board(chip: str) -> None:
    found = measured()
    for state in STATES:
        assert found.us(usual(found, chip, state).whole) <= STEADY_US[chip], state
        assert found.us(worst(found, chip, state, "page").whole) <= PAGE_US[chip], state


def test_three_known_pieces_agree() -> None:
    """What an instruction takes on a board is the same for each of them, nearly."""
    found = measured()
    assert len(found.ns) == 3
    for name, ns in found.ns.items():
        assert ns == pytest.approx(found.ns_mean, rel=0.15), name


def test_the_link_keeps_to_the_time_that_is_left() -> None:
    """An answer ends before the tick that it was not put off for, and so do bytes taken in."""
    text = (FIRMWARE / "steadyturn_fw" / "link.py").read_text()
    link = {name: int(value) for name, value in re.findall(r"(?m)^(\w+) = (\d+)", text)}
    found = measured()
    us = {what: steps * found.ns_mean / 1000 for what, steps in found.link.items()}
    assert us["state"] > 1000
    # and pages are read from the flash: 2 ms
    for what in ("state", "page", "settings", "who", "now", "bench order", "bench", "samples"):
        assert us[what] * CACHE + 500 < link["ANSWER_MS"] * 1000, what
    for what in ("made ready", "next"):
        assert us[what] * CACHE + 500 < link["SEND_MS"] * 1000, what
    assert us["made ready"] * CACHE + 2000 < link["READ_MS"] * 1000
    assert us["garbage 12"] < 12 / link["BYTES_MS"] * 1000
    assert us["garbage 192"] < link["MOST_BYTES"] / link["BYTES_MS"] * 1000


def write() -> None:
    for name, table in MADE.items():
        text = BUDGET.read_text()
        start, end = block(name).span(1)
        BUDGET.write_text(text[:start] + table(measured()) + "\n" + text[end:])


if __name__ == "__main__":
    write()
