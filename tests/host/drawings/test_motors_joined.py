"""Tables, schematic, parts list and bring-up say how several motors are joined, as [bank] does."""

from __future__ import annotations

import re
from dataclasses import replace
from types import SimpleNamespace

import pytest
from sheet_room import overlaps
from steadyturn.circuit import joining
from steadyturn.circuit.table import fitted
from steadyturn.circuit.values import design, values
from steadyturn.drawings import breadboard, place_tables, placer, schematic_source
from steadyturn.drawings.board_side import board_parts
from steadyturn.report import bringup_source
from test_schematic import rig_of

BANKS = [(s, p, own) for s in (1, 2, 3, 4, 12) for p in (1, 2, 12) for own in (False, True)
         if own <= (p > 1)]
LEG = re.compile(r"(?:(\d+)(?:st|nd|rd|th) )?M1 (plus|minus)( of each row| of row 1)?")


def in_series(table: str) -> int:
    """Motors passed from the terminal `motor` to where the row ends, by the table's words."""
    at = {}
    for line in table.splitlines()[2:]:
        place, _, legs = (cell.strip() for cell in line.strip("|").split("|"))
        for number, pin, _ in LEG.findall(legs):
            at[int(number or 1), pin] = place + legs * (place == "no terminal")
    front = next(line.split("|")[1].strip() for line in table.splitlines() if "| motor |" in line)
    assert at[1, "plus"] == front
    motor = 1
    while at.get((motor + 1, "plus"), "") == at[motor, "minus"]:
        motor += 1
    assert motor == max(number for number, _ in at)  # the last one reaches the row's other end
    return motor


@pytest.mark.parametrize("example", ["lakeside-hut", "night-ferry"])
def test_words_are_the_banks(example):
    plain = rig_of(example, "bus_switch")
    made = design(plain, 50.0, 90.0)
    for series, parallel, own in BANKS:
        rig = replace(plain, bank=replace(plain.bank, series=series, parallel=parallel,
                                          diode_each=own))
        parts = fitted(rig, values(rig, made)) + board_parts(rig)
        table = place_tables.terminals(breadboard.build(rig, parts, placer.stored()))
        assert in_series(table) == series
        rows = {match[2] for match in LEG.findall(table)}
        assert (" of row 1" in rows) == own
        assert (" of each row" in rows) == (parallel > 1 and (
            not own or example == "lakeside-hut"))
        once_more = re.search(r"once more for (?:each of rows 2 to (\d+)|row (2)) ", table)
        assert (int(once_more[1] or once_more[2]) if once_more else 1) == (
            parallel if own else 1)
        said = joining.rig_words(rig)
        counted = [int(n) for n in re.findall(r"(\d+) (?:in series|rows|side by side)", said)]
        assert sorted(counted) == sorted(n for n in (series, parallel) if n > 1)
        motor = next(part for part in parts if part.ref == "M1")
        assert motor.role == "turned as a generator" + (f"; {said}" if said else "")
        sheet = schematic_source.source_sheet(parts, rig)
        words = " ".join(each.text for each in sheet.words)
        assert said in words
        assert [pair for pair in overlaps(sheet) if "wire-wound" not in pair[0]] == []
        motors = sum(type(symbol).__name__ == "Motor" for symbol in sheet.symbols)
        assert motors == min(series, 3 if series == 3 else 2)
        assert ("of these, side by side" in words) == (parallel > 1)
        joined = bringup_source._joined(SimpleNamespace(bank=rig.bank, rectifier=rig.rectifier))
        assert said in " ".join(joined)
        assert bool(joined) == (series * parallel > 1)
