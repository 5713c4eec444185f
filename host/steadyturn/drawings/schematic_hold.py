"""Schematic: the hold (charge pump, comparator, let-go, alert), bus cut, switch, converter."""

from __future__ import annotations

from collections.abc import Sequence

from steadyturn.circuit.table import Part
from steadyturn.drawings.drawer import Drawer, drawer
from steadyturn.drawings.sheet import Box, Sheet


def hold_sheet(parts: Sequence[Part], rig: str) -> Sheet:
    """Pulses fill C7; the comparator connects the load while it is full."""
    d = drawer("hold", f"{rig}: hold, let-go and alert", (32.0, 12.0), parts)
    s, y = d.sheet, 8.2
    s.net("board_switch", (2.9, y), "left")
    s.wire((2.9, y), (3.0, y))
    d.two("R9", (3.0, y), (5.0, y))
    d.two("C5", (5.0, y), (6.6, y))
    d.two("C6", (6.6, y), (8.2, y))
    s.wire((8.2, y), (10.7, y))
    d.to_ground("D2", (8.2, y), 5.7, ground_first=True)
    d.to_ground("R10", (10.7, y), 5.7)
    d.two("D3", (10.7, y), (12.6, y))
    s.wire((12.6, y), (25.9, y))
    d.to_ground("C7", (13.3, y), 5.7)
    d.to_ground("R11", (15.1, y), 5.7)
    d.to_ground("R12", (17.8, y), 5.7)
    if d.has("R40"):
        d.two("R40", (20.5, y), (20.5, 5.7))
        d.two("D12", (20.5, 5.7), (20.5, 3.6), "left")
        s.net("board_alert", (20.5, 3.6), "down")
    _let_go(d, y)
    _comparator(d, y)
    s.note(0, 0.1, "Only edges fill C7. Without them R11 and R12 empty it in 100 to 150 ms and "
           "the load is released: a dead, hung or halted board cannot hold it.")
    return s


def _let_go(d: Drawer, y: float) -> None:
    s = d.sheet
    if not d.has("Q2"):
        return
    gate, x = 3.0, 22.9
    d.two("R15", (x, y), (x, gate + 1.5))
    d.transistor("Q2", (x, gate - 0.5), "up", "left")
    s.net("gnd", (x, gate - 0.5))
    s.net("board_let_go", (12.3, gate), "left")
    s.wire((12.3, gate), (12.4, gate))
    d.two("R16", (12.4, gate), (14.8, gate))
    s.wire((14.8, gate), (18.0, gate), (18.0, 2.0), (21.6, 2.0), (21.6, gate), (x - 1, gate))
    d.to_ground("R17", (16.0, gate), 1.2, "left")


def _comparator(d: Drawer, y: float) -> None:
    s, x = d.sheet, 25.4
    d.block("U3", Box(x + 1.0, y - 2.4, x + 3.8, y + 0.6), {
        "minus": ("left", y), "plus": ("left", y - 1.7), "output": ("right", y - 0.9),
        "supply": ("up", x + 2.4), "ground": ("down", x + 3.0)},
        {"minus": "-", "plus": "+", "output": "", "supply": "", "ground": ""}, "inside")
    s.net("board_3v3", (x + 2.4, y + 1.1), "up")
    s.net("gnd", (x + 3.0, y - 2.9))
    s.net("switch_drive", (x + 4.3, y - 0.9))
    s.net("hold", (23.9, y), "up")
    s.net("board_3v3", (x, 11.2), "left")
    d.two("R13", (x, 11.2), (x, 9.0))
    s.wire((x, 9.0), (x, y - 1.7), (x + 0.5, y - 1.7))
    d.to_ground("R14", (x, y - 1.7), 4.4)
    s.net("board_3v3", (x + 5.5, 11.2), "up")
    d.to_ground("C8", (x + 5.5, 11.2), 9.2, "left")


def bus_cut_sheet(parts: Sequence[Part], rig: str) -> Sheet | None:
    """Empties C7 when a boost passes too much; only where the table has it."""
    d = drawer("bus_cut", f"{rig}: bus cut, the second way of hardware", (20.0, 11.8), parts)
    if not d.has("U4"):
        return None
    s, y = d.sheet, 9.8
    s.net(d.net("R18", "1"), (1.6, y), "left")
    s.wire((1.6, y), (10.9, y))
    d.two("R18", (2.2, y), (2.2, 6.8))
    d.to_ground("R19", (2.2, 6.8), 4.3)
    s.wire((2.2, 6.8), (3.8, 6.8))
    d.reference("U4", 5.0, 6.8)
    s.net("gnd", (5.0, 5.8))
    s.wire((5.0, 7.8), (5.2, 7.8))
    d.two("R21", (7.2, 7.8), (5.2, 7.8))
    d.two("R20", (7.7, y), (7.7, 7.8))
    s.wire((7.2, 7.8), (9.9, 7.8), (9.9, 8.8))
    d.transistor("Q3", (10.9, y), "down", "left")
    d.two("R22", (10.9, 7.8), (10.9, 5.4))
    s.wire((10.9, 5.4), (15.6, 5.4))
    d.to_ground("R23", (10.9, 5.4), 3.0)
    d.to_ground("D4", (13.5, 5.4), 3.0, ground_first=True)
    d.transistor("Q4", (16.6, 4.9), "up", "left")
    s.net("gnd", (16.6, 4.9))
    d.two("R24", (16.6, 9.4), (16.6, 6.9))
    s.net("hold", (16.6, 9.4), "up")
    s.note(0, 0.9, "Acts without board and pulses; its transistor is its own, so that one that "
           "fails in the hold does not take it along.")
    return s


def switch_sheet(parts: Sequence[Part], rig: str, place: str) -> Sheet:
    """Load switch and converter in their order."""
    wide = 22.5 if place != "enable" else 25.5
    d = drawer("switch", f"{rig}: load switch ({place}) and converter", (wide, 11.4), parts)
    s, y = d.sheet, 7.0
    if place == "output_switch":
        s.net("sense", (1.2, y), "left")
        s.wire((1.2, y), (2.0, y))
        _converter(d, 2.0, y)
        s.wire((1.6, y), (1.6, y - 1.2), (2.0, y - 1.2))
        s.wire((6.0, y), (9.6, y))
        _switch(d, 9.6, y)
        s.wire((18.2, y), (19.0, y))
        s.net(d.net("Q5", "drain"), (19.0, y))
    elif place == "bus_switch":
        s.net("sense", (1.2, y), "left")
        s.wire((1.2, y), (1.6, y))
        _switch(d, 1.6, y)
        s.wire((10.2, y), (13.0, y))
        s.net(d.net("Q5", "drain"), (11.8, y), "up")
        _converter(d, 13.0, y)
        s.wire((12.6, y), (12.6, y - 1.2), (13.0, y - 1.2))
        s.wire((17.0, y), (19.4, y))
    else:
        s.net("sense", (1.2, y), "left")
        s.wire((1.2, y), (1.6, y))
        _switch(d, 1.6, y)
        _enable(d, y)
        s.wire((20.5, y), (22.9, y))
    return s


def _switch(d: Drawer, x: float, y: float) -> None:
    """The MOSFET, its gate and the bypass, 8.6 wide, from (x, y)."""
    s = d.sheet
    s.wire((x, y), (x + 5.6, y))
    d.transistor("Q5", (x + 5.6, y), "right", "down", "above")
    gate = y - 2.6
    d.two("R25", (x + 1.2, y), (x + 1.2, gate))
    d.two("D5", (x + 3.7, gate), (x + 3.7, y))
    s.wire((x + 1.2, gate), (x + 6.1, gate), (x + 6.1, y - 1.0))
    d.two("R26", (x + 6.1, gate), (x + 6.1, gate - 2.4))
    s.net("switch_drive", (x + 6.1, gate - 2.4), "down")
    if d.has("C9"):
        d.two("C9", (x + 6.1, gate), (x + 8.6, gate))
        s.wire((x + 8.6, gate), (x + 8.6, y))
    s.wire((x + 7.6, y), (x + 8.6, y))
    s.wire((x + 4.6, y), (x + 4.6, y + 2.5), (x + 5.4, y + 2.5))
    d.two("J1", (x + 5.4, y + 2.5), (x + 7.8, y + 2.5))
    s.wire((x + 7.8, y + 2.5), (x + 8.6, y + 2.5), (x + 8.6, y))


def _converter(d: Drawer, x: float, y: float) -> None:
    """Its input pin at (x, y), its output at (x + 4, y)."""
    d.block("U5", Box(x + 0.5, y - 1.8, x + 3.5, y + 0.6), {
        "input": ("left", y), "enable": ("left", y - 1.2), "ground": ("down", x + 2.0),
        "output": ("right", y)},
        {"input": "IN", "enable": "EN", "ground": "GND", "output": "OUT"})
    d.sheet.net("gnd", (x + 2.0, y - 2.3))
    d.to_ground("C10", (x + 5.0, y), y - 2.6)
    d.sheet.net("out", (x + 6.4, y), "up")


def _enable(d: Drawer, y: float) -> None:
    s = d.sheet
    s.wire((2.0, y), (2.0, y + 3.7), (16.0, y + 3.7), (16.0, y), (16.5, y))
    d.two("R27", (10.2, y), (12.4, y))
    s.wire((12.4, y), (15.2, y), (15.2, y - 1.2), (16.5, y - 1.2))
    d.to_ground("R28", (12.4, y), y - 2.6, "left")
    d.to_ground("D6", (13.6, y), y - 2.6, ground_first=True)
    _converter(d, 16.5, y)
