"""Schematic: motors to shunt, and how the board is fed."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence

from steadyturn.circuit import joining
from steadyturn.circuit.table import Part
from steadyturn.drawings.board_side import ALL_PINS
from steadyturn.drawings.drawer import Drawer, drawer
from steadyturn.drawings.sheet import Box, Sheet
from steadyturn.rig.types import Rig

NOTE = 95  # letters in a line beside the clamp


def source_sheet(parts: Sequence[Part], rig: Rig) -> Sheet:
    """Motors, rectifier, fuse, bus capacitor, clamp."""
    more = 0.9 if rig.bank.series * rig.bank.parallel > 1 else 0.0  # room for how they are joined
    d = drawer("source", f"{rig.name}: motors, bus and clamp", (28.0, 9.6 + more), parts)
    s, y = d.sheet, 7.4 + more
    low = y - (3.0 if rig.bank.series == 1 else 4.0)
    _motors(d, rig, y, low)
    if d.parts["D1"].kind == "bridge":
        s.wire((3.0, y), (6.8, y))
        s.wire((3.0, low), (6.4, low), (6.4, y - 1.0), (6.8, y - 1.0))
        d.block("D1", Box(7.3, y - 1.7, 9.3, y + 0.5), {
            "ac_1": ("left", y), "ac_2": ("left", y - 1.0), "plus": ("right", y),
            "minus": ("down", 8.3)}, {"ac_1": "~", "ac_2": "~", "plus": "+", "minus": "-"})
        s.net("gnd", (8.3, y - 2.2))
    else:
        s.net("gnd", (3.0, low))
        s.net("gnd", (4.6, low))
        s.wire((3.0, y), (7.2, y))
        d.two("D1", (7.2, y), (9.8, y))
    s.wire((9.8, y), (10.2, y))
    d.two("F1", (10.2, y), (12.6, y))
    s.wire((12.6, y), (24.8, y))
    s.net("bus", (24.8, y))
    d.to_ground("C2", (13.2, y), low)
    d.to_ground("R1", (15.8, y), low)
    _clamp(d, y)
    s.note(0, 1.6, "Thick wire (0.75 mm2 or more) along motor, raw, bus, sense and out to the "
           "socket, and for their ground.",
           "The clamp acts with a dead board: U1 compares, Q1 connects R5. Both get hot.",
           "Ground signs are all joined; so are equal names, on all sheets.")
    return s


def _motors(d: Drawer, rig: Rig, y: float, low: float) -> None:
    """The motors of a row one below the other, each with its C1; a frame where there are more
    such rows."""
    bank, s = rig.bank, d.sheet
    shown = min(bank.series, 3)
    if bank.series * bank.parallel > 1:
        row = f"{bank.series} in series" if bank.series > 1 else f"{bank.parallel} side by side"
        s.words_of = {**s.words_of, "M1": ("M1", row, *s.words_of["M1"][1:]),
                      "C1": ("C1", *s.words_of["C1"][1:], "at each")}
    if shown == 1:
        d.two("M1", (3.0, y), (3.0, low), "left")
        d.two("C1", (4.6, y), (4.6, low))
    else:
        cut = (1,) if bank.series > 3 else ()
        s.column("M1", "motor", 3.0, (y, low), shown, ALL_PINS["motor"], "left", cut)
        s.column("C1", "capacitor", 4.6, (y, low), shown, ALL_PINS["capacitor"], "right", cut)
        s.rungs((3.0, 4.6), (y, low), shown)
    said = joining.rig_words(rig)
    if said:
        s.note(0, 2.7, *textwrap.wrap(f"M1: {said}.", NOTE))
    if bank.parallel > 1:
        right, top = (9.95, y + 1.75) if joining.own_diodes(bank) else (7.0, y + 0.95)
        s.frame(Box(0.1, low - 0.75, right, top), f"{bank.parallel} of these, side by side")


def _clamp(d: Drawer, y: float) -> None:
    s = d.sheet
    mid = y - 3.0
    d.two("R2", (18.4, y), (18.4, mid))
    s.wire((18.4, mid), (20.0, mid))
    d.reference("U1", 21.2, mid)
    d.to_ground("R3", (18.4, mid), mid - 2.4)
    s.net("gnd", (21.2, mid - 1.0))
    d.two("R4", (21.2, y), (21.2, mid + 1.0))
    s.wire((21.2, mid + 1.0), (23.2, mid + 1.0), (23.2, y - 1.0))
    d.transistor("Q1", (24.2, y), "down", "left")
    d.to_ground("R5", (24.2, y - 2.0), mid - 2.4)


def feed_sheet(parts: Sequence[Part], rig: str) -> Sheet:
    """Shunt, sensor, divider, and the board's supply from the handle."""
    d = drawer("sensor", f"{rig}: sensor and the board's supply", (24.0, 12.5), parts)
    s, y = d.sheet, 10.8
    s.net("bus", (1.2, y), "left")
    s.wire((1.2, y), (9.0, y))
    if d.has("R7"):
        d.two("R7", (2.2, y), (2.2, 8.0))
        d.to_ground("R8", (2.2, 8.0), 5.4)
        d.to_ground("C4", (4.8, 8.0), 5.4)
        s.wire((2.2, 8.0), (5.6, 8.0))
        s.net("divided", (5.6, 8.0))
    d.two("R6", (9.0, y), (11.5, y))
    s.wire((11.5, y), (14.0, y))
    s.net("sense", (14.0, y))
    _sensor(d, y)
    if d.has("D9"):
        _supply(d, 2.6)
    else:
        s.note(1.2, 2.6, "The board is fed by a cell or by USB: nothing of it hangs on the bus.",
               "A cell feeds the pin VSYS (Pico, 1.8-5.5 V) or 5V, through a Schottky diode.")
    return s


def _sensor(d: Drawer, y: float) -> None:
    s = d.sheet
    tops = {"in_plus": ("up", 9.0), "in_minus": ("up", 11.5), "ground": ("down", 10.25)}
    box = Box(8.2, 6.3, 12.3, 9.2)
    if d.parts["U2"].kind == "sensor":
        rows = {"supply": 8.3, "sda": 7.8, "scl": 7.3, "alert": 6.8}
        d.block("U2", box, tops | {pin: ("right", at) for pin, at in rows.items()},
                {"in_plus": "IN+", "in_minus": "IN-", "ground": "GND", "supply": "VCC",
                 "sda": "SDA", "scl": "SCL", "alert": "ALERT"}, "left")
    else:
        rows = {"supply": 8.3, "output": 7.3}
        d.block("U2", box, tops | {pin: ("right", at) for pin, at in rows.items()},
                {"in_plus": "IN+", "in_minus": "IN-", "ground": "GND", "supply": "VCC",
                 "output": "OUT"}, "left")
    for pin, at in rows.items():
        s.net(d.net("U2", pin), (12.8, at))
    s.wire((9.0, y), (9.0, 9.7))
    s.wire((11.5, y), (11.5, 9.7))
    s.net("gnd", (10.25, 5.8))
    if d.has("C3"):
        s.net("board_3v3", (17.0, 8.3), "up")
        d.to_ground("C3", (17.0, 8.3), 6.0)


def _supply(d: Drawer, y: float) -> None:
    s = d.sheet
    s.net("bus", (1.2, y), "left")
    s.wire((1.2, y), (1.6, y))
    d.two("D9", (1.6, y), (4.2, y))
    d.block("U7", Box(4.7, y - 0.6, 7.1, y + 0.6), {
        "input": ("left", y), "ground": ("down", 5.9), "output": ("right", y)},
        {"input": "IN", "ground": "GND", "output": "OUT"})
    s.net("gnd", (5.9, y - 1.1))
    d.two("R39", (7.6, y), (10.0, y))
    d.two("D10", (10.0, y), (12.4, y))
    s.wire((12.4, y), (16.8, y))
    d.to_ground("C12", (13.2, y), y - 2.0)
    s.net("reservoir", (15.4, y), "up")
    d.two("D11", (19.2, y), (16.8, y))
    s.net("board_vbus", (19.2, y))
