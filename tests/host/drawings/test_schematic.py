"""The schematic says what the parts table and the firmware's pins say, and can be read."""

from __future__ import annotations

import re
from dataclasses import replace
from functools import cache
from pathlib import Path
from xml.etree import ElementTree

import pytest
from sheet_room import overlaps
from steadyturn.circuit.table import PLACES, UNIT, fitted, spoken
from steadyturn.circuit.values import design, values
from steadyturn.drawings import schematic
from steadyturn.drawings.board_side import BOARD, SUPPLY, board_parts, pins_of
from steadyturn.drawings.schematic_board import pin_name
from steadyturn.drawings.sheet import Sheet
from steadyturn.drawings.sheet_nets import differ, loose
from steadyturn.drawings.sheet_svg import svg_text
from steadyturn.rig.examples import FOLDER, example_names
from steadyturn.rig.file import read_rig
from steadyturn_fw.boards import BOARDS, COLUMNS

ROOT = Path(__file__).parents[3]
LAMPS = ("led", "two_led", "rgb", "piezo", "vibration")


@cache
def rig_of(example: str, place: str, more: str = ""):
    rig = read_rig(FOLDER / f"{example}.toml")
    rig = replace(rig, switch=replace(rig.switch, place=place))
    if more == "all options":
        rig = replace(
            rig, board=replace(rig.board, kind="esp32_s3", lamp="two_led"),
            sensor=replace(rig.sensor, turn_pulses=18),
            protection=replace(rig.protection, ntc_at="mount"),
            bus=replace(rig.bus, second_load_ohm=33.0), supply=replace(rig.supply, feed="crank"))
    if more == "adc":
        rig = replace(rig, sensor=replace(rig.sensor, chip="adc", amplifier=20.0, alert=False))
    if more in LAMPS or more in BOARDS:
        key = "lamp" if more in LAMPS else "kind"
        rig = replace(rig, board=replace(rig.board, **{key: more}))
    return rig


def parts(rig, socket="a"):
    return fitted(rig, values(rig, design(rig, 50.0, 90.0)), socket) + board_parts(rig)


def built(example, place, socket="a", more=""):
    rig = rig_of(example, place, more)
    found = parts(rig, socket)
    return rig, found, schematic.sheets(rig, found)


CASES = [(name, place, socket, "") for name in example_names() for place in PLACES
         for socket in ("ac" if place == "bus_switch" else "a")]
CASES += [("lakeside-hut", "bus_switch", "a", more)
          for more in ("all options", "adc", *LAMPS, *BOARDS)]


@pytest.mark.parametrize(("example", "place", "socket", "more"), CASES)
def test_nets_are_the_tables_and_words_have_room(example, place, socket, more):
    _, found, sheets = built(example, place, socket, more)
    table = {(part.ref, pin): net for part in found for pin, net in pins_of(part).items()}
    # what stands alone by the table has no wire that could be drawn
    assert differ(sheets, table) == []
    for sheet in sheets:
        assert overlaps(sheet) == [], sheet.name
        assert loose(sheet) == [], sheet.name


@pytest.mark.parametrize("board", BOARDS)
def test_pins_are_the_firmwares(board):
    rig, found, sheets = built("lakeside-hut", "bus_switch", more=board)
    pins = dict(zip(COLUMNS, BOARDS[board], strict=True))
    sheet = sheets[-1]
    part = next(each for each in found if each.ref == BOARD)
    for pin in pins_of(part):
        at = sheet.pins[BOARD, pin]
        near = [w.text for w in sheet.words if abs(w.y + 0.11 - at[1]) < 0.01
                and 0 < abs(w.x - at[0]) < 0.7 and not w.bold]
        printed = f"{'IO' if board.startswith('esp') else 'GP'}{pins.get(pin)}"
        assert near == [pin_name(rig.board.kind, pin, 0) if pin in SUPPLY else printed]


def test_designators_and_values_stand_in_the_picture():
    _, found, sheets = built("lakeside-hut", "bus_switch")
    words = [text.text for sheet in sheets
             for text in ElementTree.fromstring(svg_text(sheet)).iter(
                 "{http://www.w3.org/2000/svg}text")]
    for part in found:
        head = next(at for at, word in enumerate(words) if word.split(" (")[0] == part.ref)
        if part.amount is not None and "wire-wound" not in part.value:
            assert words[head + 1] == spoken(part.amount, UNIT[part.kind])
    drawn = {word.split(" (")[0] for word in words
             if re.fullmatch(r"[A-Z]{1,2}\d+( \(\d+ alike\))?", word) and word not in {
                 "CC1", "CC2"} and not re.fullmatch(r"(GP|IO)\d+", word)}
    assert drawn == {part.ref for part in found}


def test_every_kind_of_place_and_socket_is_shown():
    shown = {(what[0], what[1] or read_rig(FOLDER / f"{what[0]}.toml").switch.place, what[3])
             for what in schematic.SHOWN.values()}
    assert {place for _, place, sheet in shown if sheet == "switch"} == set(PLACES)
    page = (ROOT / "hardware" / "schematic.md").read_text(encoding="utf-8")
    assert all(f"schematic/{name}" in page for name in schematic.SHOWN)


def test_a_wrong_drawing_is_noticed():
    """So the tests above can fail."""
    said = {"R1": ("R1", "1 kohm"), "R2": ("R2", "1 kohm")}
    sheet = Sheet("x", "X", (8.0, 6.0), said)
    sheet.two("R1", "resistor", (1, 4), (3, 4))
    sheet.two("R2", "resistor", (3, 4), (5, 4))
    sheet.net("a", (1, 4), "left")
    sheet.net("c", (5, 4))
    table = {("R1", "1"): "a", ("R1", "2"): "b", ("R2", "1"): "b", ("R2", "2"): "c"}
    assert differ([sheet], table) == []
    assert differ([sheet], table | {("R2", "1"): "d"})
    assert differ([sheet], table | {("R2", "2"): "a"})
    assert differ([sheet], table | {("R3", "1"): "a"}) == ["a: drawn [('R1', '1')], meant "
                                                         "[('R1', '1'), ('R3', '1')]",
                                                         "not drawn: ('R3', '1')"]
    sheet.wire((2, 2), (2, 5))
    assert loose(sheet) == [(2, 2), (2, 5)]
    assert ("1 kohm", "wire Box(left=1.98, bottom=1.98, right=2.02, top=5.02)") in overlaps(sheet)
    sheet.note(7.0, 5.0, "too far to the right")
    assert ("too far to the right", "the paper's edge") in overlaps(sheet)
    sheet.wire((1, 4), (5, 4))
    assert differ([sheet], table)
    with pytest.raises(ValueError, match="aslant"):
        sheet.wire((0, 0), (1, 1))
    with pytest.raises(ValueError, match="twice"):
        sheet.two("R1", "resistor", (1, 2), (3, 2))
