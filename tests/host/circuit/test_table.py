"""The parts table: complete, its nets meet, and it fits every rig, place and kind."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace

import pytest
from steadyturn.circuit import table
from steadyturn.circuit.values import design, values
from steadyturn.rig.examples import FOLDER, example_names
from steadyturn.rig.file import read_rig
from steadyturn.rig.types import Rig

# what only the board, the cable or nobody is on
ALONE = {"board_switch", "board_let_go", "board_sda", "board_scl", "board_alert", "board_amps",
         "board_vbus", "cc1", "cc2", "data_plus", "data_minus"}
KEYS = {"ref", "block", "kind", "nets", "amount", "value", "rating", "count", "when", "role",
        "why", "substitute", "changes", "price"}


def variants() -> list[tuple[str, Rig]]:
    found = []
    for name in example_names():
        rig = read_rig(FOLDER / f"{name}.toml")
        for place in table.PLACES:
            found.append((f"{name}-{place}", replace(rig, switch=replace(rig.switch,
                                                                         place=place))))
    return found


def parts_of(rig: Rig, socket: str = "a") -> tuple[table.Part, ...]:
    return table.fitted(rig, values(rig, design(rig, None, None)), socket)


def test_rows_are_well_formed() -> None:
    used = set()
    for row in table.rows():
        assert set(row) <= KEYS, row
        assert {"ref", "block", "kind", "nets", "role", "why", "substitute", "changes",
                "price"} <= set(row), row
        assert len(row["nets"]) == len(table.PINS[row["kind"]]), row
        assert row["block"] in table.BLOCKS
        assert "amount" in row or "value" in row
        assert ("amount" in row) == (row["kind"] in table.UNIT), row
        if "when" in row:
            assert row["when"] in table.CONDITIONS, row
            used.add(row["when"])
    assert used == set(table.CONDITIONS)


@pytest.mark.parametrize(("name", "rig"), variants(), ids=[n for n, _ in variants()])
@pytest.mark.parametrize("socket", ["a", "c"])
def test_every_rig_gets_a_whole_circuit(name, rig, socket) -> None:
    parts = parts_of(rig, socket)
    assert max(Counter(part.ref for part in parts).values()) == 1
    meets = Counter(net for part in parts for net in set(part.nets))
    board = set(table.BOARD_NETS)
    lonely = {net for net, n in meets.items() if n < 2} - ALONE - board
    if rig.switch.place == "enable":
        lonely -= {"enable_up"}
    assert not lonely
    by_ref = {part.ref: part for part in parts}
    switch, cut, converter = by_ref["Q5"], by_ref["Q7"], by_ref["U5"]
    assert switch.pin("source") != cut.pin("source") or rig.switch.place != "output_switch"
    assert cut.pin("drain") == by_ref["L1"].pin("1")
    if rig.switch.place == "bus_switch":
        assert switch.pin("drain") == converter.pin("input")
    if rig.switch.place == "output_switch":
        assert (switch.pin("source"), switch.pin("drain")) == (converter.pin("output"),
                                                               cut.pin("source"))
    assert ("U4" in by_ref) == (rig.converter.kind == "boost" and rig.switch.place != "enable")


def test_words_are_plain_and_filled_in() -> None:
    for _, rig in variants():
        for part in parts_of(rig, "c"):
            words = " ".join((part.value, part.rating, part.role, part.why, part.substitute,
                              part.changes))
            assert "{" not in words
            assert words.isascii()
            assert part.value


def test_an_adc_alone_has_an_amplifier_and_no_chip() -> None:
    rig = read_rig(FOLDER / "radio-tent.toml")
    rig = replace(rig, sensor=replace(rig.sensor, chip="adc", amplifier=20.0))
    kinds = {part.ref: part.kind for part in parts_of(rig)}
    assert kinds["U2"] == "amplifier"
    assert "C3" not in kinds


def test_what_is_told_at_the_socket() -> None:
    """USB Type-C: 56, 22, 10 kohm to VBUS; BC 1.2: D+ and D- joined from 1.5 A on."""
    rig = read_rig(FOLDER / "radio-tent.toml")
    for told, ohm, joined in ((None, 56e3, False), (0.9, 56e3, False), (1.5, 22e3, True),
                              (3.0, 10e3, True)):
        parts = parts_of(replace(rig, load=replace(rig.load, advertised_a=told)), "c")
        by_ref = {part.ref: part for part in parts}
        assert by_ref["R35"].amount == by_ref["R36"].amount == ohm
        assert by_ref["R35"].nets != by_ref["R36"].nets
        assert ("J3" in by_ref) == joined
        assert ("R37" in by_ref) != joined
