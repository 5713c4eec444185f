"""Schematic: the output's cut, its filter and the socket."""

from __future__ import annotations

from collections.abc import Sequence

from steadyturn.circuit.table import Part
from steadyturn.drawings.drawer import Drawer, drawer
from steadyturn.drawings.sheet import Box, Sheet


def output_sheet(parts: Sequence[Part], rig: str) -> Sheet:
    """From the converter or the switch to the phone's cable."""
    d = drawer("output", f"{rig}: output cut and USB socket", (30.6, 12.0), parts)
    s, y = d.sheet, 9.6
    s.net(d.net("Q7", "source"), (1.8, y), "left")
    s.wire((1.8, y), (14.8, y))
    d.two("R29", (2.4, y), (2.4, 6.6))
    d.to_ground("R30", (2.4, 6.6), 4.1)
    s.wire((2.4, 6.6), (4.0, 6.6))
    d.reference("U6", 5.2, 6.6)
    s.net("gnd", (5.2, 5.6))
    s.wire((5.2, 7.6), (5.4, 7.6))
    d.two("R32", (7.4, 7.6), (5.4, 7.6))
    d.two("R31", (7.9, y), (7.9, 7.6))
    s.wire((7.4, 7.6), (10.1, 7.6), (10.1, 8.6))
    d.transistor("Q6", (11.1, y), "down", "left")
    s.wire((11.1, 7.6), (11.1, 7.0), (15.3, 7.0), (15.3, 8.6))
    d.two("D7", (13.2, 7.0), (13.2, y))
    d.transistor("Q7", (14.8, y), "right", "down", "above")
    d.to_ground("R33", (15.3, 7.0), 4.6)
    s.wire((16.8, y), (18.4, y))
    d.to_ground("D8", (17.4, y), 7.0, ground_first=True)
    s.net("safe", (17.5, y), "up")
    d.two("L1", (18.4, y), (21.0, y))
    s.wire((21.0, y), (28.2, y))
    d.to_ground("C11", (21.6, y), 7.0)
    d.to_ground("R34", (23.8, y), 7.0)
    s.net("vbus", (26.8, y), "up")
    _socket(d, y)
    s.note(0, 2.2, "Everything here acts with a dead board. The link BYPASS does not go round it.",
           "Leads short and thick: the cut has microseconds.")
    return s


def _socket(d: Drawer, y: float) -> None:
    s = d.sheet
    d.block("J2", Box(28.7, 5.9, 30.1, 10.2), {
        "vbus": ("left", y), "data_minus": ("left", 8.9), "data_plus": ("left", 8.2),
        "cc1": ("left", 7.5), "cc2": ("left", 6.8), "ground": ("down", 29.4)},
        {"vbus": "5V", "data_minus": "D-", "data_plus": "D+", "cc1": "CC1", "cc2": "CC2",
         "ground": "GND"})
    s.net("gnd", (29.4, 5.4))
    for pin, at in (("data_minus", 8.9), ("data_plus", 8.2), ("cc1", 7.5), ("cc2", 6.8)):
        s.net(pin, (28.2, at), "left")
    top, bottom = 3.0, 0.6
    if d.has("R37"):
        s.net("data_plus", (17.0, top), "up")
        d.to_ground("R37", (17.0, top), bottom)
        s.net("data_minus", (19.6, top), "up")
        d.to_ground("R38", (19.6, top), bottom)
    if d.has("J3"):
        s.net("data_plus", (17.4, 2.0), "left")
        d.two("J3", (17.4, 2.0), (19.8, 2.0))
        s.net("data_minus", (19.8, 2.0))
    if d.has("R35"):
        for ref, pin, x in (("R35", "cc1", 22.6), ("R36", "cc2", 25.2)):
            s.net("vbus", (x, top), "up")
            d.two(ref, (x, top), (x, bottom))
            s.net(pin, (x, bottom), "down")
