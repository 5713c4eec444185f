"""The documents beside the firmware say what the code does.

Tables and pages in them are made from the code: after a change there,
`python tests/firmware/test_specifications.py` writes them anew.
"""

from __future__ import annotations

import json
import re
import zlib
from functools import cache
from pathlib import Path
from typing import Any

import pytest

from firmware_interpreters import FIRMWARE, SCRIPTS, run

MADE = (
    ("settings.md", "table", "whole"), ("settings.md", "table", "may_miss"),
    ("settings.md", "table", "choice"), ("settings.md", "table", "text"),
    ("settings.md", "table", "order"),
    ("states.md", "table", "lamp"), ("states.md", "table", "parade"),
    ("pages.md", "hex", "full"), ("pages.md", "hex", "early"),
)


@cache
def made() -> dict[str, Any]:
    output = run("unix", SCRIPTS / "print_tables.py")
    assert output.startswith("{"), output
    tables: dict[str, Any] = json.loads(output)
    return tables


def block(file: str, kind: str, name: str) -> re.Match[str]:
    text = (FIRMWARE / file).read_text()
    found = re.search(rf"<!-- {kind}: {name} -->\n(.*?)<!-- end -->", text, re.DOTALL)
    assert found, f"{file} has no block {kind}: {name}"
    return found


def rows(file: str, name: str) -> list[list[str]]:
    lines = block(file, "rows", name).group(1).strip().splitlines()[2:]
    return [[cell.strip() for cell in line.strip("|").split("|")] for line in lines]


def framed(kind: str, name: str) -> str:
    lines = made()[name]
    return "\n".join([*lines, ""]) if kind == "table" else "\n".join(["", *lines, "", ""])


@pytest.mark.parametrize(("file", "kind", "name"), MADE)
def test_made_from_the_code(file: str, kind: str, name: str) -> None:
    assert block(file, kind, name).group(1) == framed(kind, name), f"run {Path(__file__).name}"


@pytest.mark.parametrize("kind", ["switch", "cue"])
def test_examples_of_states(kind: str) -> None:
    table = rows("states.md", kind)
    assert len(table) >= 12
    output = run("unix", SCRIPTS / "table_rows.py", KIND=kind, ROWS=json.dumps(table))
    found = json.loads(output)
    wrong = [f"{row}: {what}" for row, what in zip(table, found, strict=True) if what]
    assert not wrong, "\n".join(wrong)


def test_faults_reasons_and_events() -> None:
    table = rows("states.md", "faults")
    assert [(int(r[0]), r[1]) for r in table] == list(enumerate(made()["faults"]))[1:]
    states = (FIRMWARE / "states.md").read_text()
    for reason in made()["reasons"][1:]:
        assert f"| {reason} |" in states or f"`{reason}`" in states, reason
    pages = (FIRMWARE / "pages.md").read_text()
    for code, name in enumerate(made()["events"]):
        assert code == 0 or f"| {code} | {name} |" in pages, name


def page_bytes(name: str) -> bytes:
    lines = block("pages.md", "hex", name).group(1).strip().splitlines()
    return bytes.fromhex("".join(line.strip().split("  ", 1)[1] for line in lines))


def test_worked_pages_are_what_their_text_says() -> None:
    full, early = page_bytes("full"), page_bytes("early")
    for page in (full, early):
        assert len(page) == 220
        assert zlib.crc32(page[:216]) == int.from_bytes(page[216:], "little")
    text = (FIRMWARE / "pages.md").read_text()
    sample = re.search(r"Sample 0, `([0-9a-f ]+)`", text)
    assert sample is not None
    assert full[15:21] == bytes.fromhex(sample.group(1))
    assert (full[4], full[8], int.from_bytes(full[11:15], "little")) == (2, 1, 4600)
    assert [full[15 + 6 * i + 5] for i in range(23)] == [0x08] * 5 + [0x28] * 18
    assert full[153:158] == bytes.fromhex("0264006419")
    assert (early[168], early[169], early[170]) == (3, 1, 2)
    assert early[15 + 18 : 153] == bytes(153 - 33)
    # what goes on is the same number, later: 6.5 V * 0.5 A for 9.2 and 9.8 s
    assert int.from_bytes(full[175:181], "little") == pytest.approx(3.25 * 9.22e6, rel=1e-6)
    assert int.from_bytes(early[175:181], "little") == pytest.approx(3.25 * 9.8e6, rel=1e-6)


def spells(levels: list[int]) -> list[tuple[int, int]]:
    """(level, ticks) of each spell between the first change and the last."""
    found: list[tuple[int, int]] = []
    for level in levels:
        if found and found[-1][0] == level:
            found[-1] = level, found[-1][1] + 1
        else:
            found.append((level, 1))
    return found[1:-1]


def test_the_strip_chart_is_what_the_firmware_plays() -> None:
    from steadyturn.drawings.lamp_traces import count, cycles, fault
    from steadyturn_fw.patterns import COLUMN

    played = json.loads(run("unix", SCRIPTS / "print_lamp.py"))
    for kind, signals in played.items():
        for signal, levels in signals.items():
            column = COLUMN[kind]
            drawn = {"fault": lambda c: fault(2, c), "count": lambda c: count(12, c)}.get(
                signal, lambda c, s=signal: cycles(s, c)[0])(column).tolist()
            if signal in ("percent", "count"):  # once, out of hold
                hold = cycles("hold", column)[0].tolist()
                whole = hold * 2 + drawn + hold
                found, right = spells(hold[:1] * 9 + levels), spells(whole)
                right = right[: len(right) if signal == "count" else 1]
                found = found[: len(right)]
            else:
                found, right = spells(levels), spells((drawn * 20)[: len(levels)])
            assert len(found) >= len(right) - 1, (kind, signal)
            for (level, ticks), (is_right, for_) in zip(found, right, strict=False):
                assert level == is_right, (kind, signal, found, right)
                assert abs(ticks - for_) <= 1, (kind, signal, found, right)


def write() -> None:
    for file, kind, name in MADE:
        path = FIRMWARE / file
        text = path.read_text()
        start, end = block(file, kind, name).span(1)
        path.write_text(text[:start] + framed(kind, name) + text[end:])


if __name__ == "__main__":
    write()
