"""Schematic: the board's pins, lamp, button, and a rig's options at the board."""

from __future__ import annotations

from collections.abc import Sequence

from steadyturn.circuit.table import Part
from steadyturn.drawings.board_side import BOARD, SUPPLY, pins_of
from steadyturn.drawings.drawer import Drawer, drawer
from steadyturn.drawings.sheet import Box, Sheet
from steadyturn.rig.types import Rig
from steadyturn.rig.wiring import all_pins

LEFT = ("VBUS", "VSYS", "3V3", "GND", "sda_pin", "scl_pin", "alert_pin", "bus_adc_pin",
        "amps_adc_pin", "supply_adc_pin", "heat_adc_pin")
RIGHT = ("switch_pin", "let_go_pin", "second_load_pin", "turn_pin", "lamp_pin", "lamp2_pin",
         "button_pin")
TOP, STEP = 11.4, 0.85


def pin_name(kind: str, pin: str, number: int) -> str:
    """As boards have it printed; an ESP32's has one pin for 5 V, behind the diode of its USB."""
    if pin in SUPPLY:
        return {"VSYS": "5V", "VBUS": "USB"}.get(pin, pin) if kind.startswith("esp") else pin
    return f"{'IO' if kind.startswith('esp') else 'GP'}{number}"


def board_sheet(parts: Sequence[Part], rig: Rig) -> Sheet:
    """parts: of the board's side."""
    d = drawer("board", f"{rig.name}: the board ({rig.board.kind})", (20.0, 13.2), parts)
    s = d.sheet
    if any(d.has(ref) for ref in ("R53", "R54", "R55", "R58", "X50")):
        s.paper = (31.0, 13.2)
    nets = pins_of(d.parts[BOARD])
    pins = all_pins(rig.board.kind, rig.board.pins)
    rows = {pin: at for side in (LEFT, RIGHT)
            for at, pin in enumerate(pin for pin in side if pin in nets)}
    height = {pin: TOP - STEP * at for pin, at in rows.items()}
    after = 1.9 if d.has("X50") or d.has("Q50") else 0.0
    height |= _spread([pin for pin in RIGHT if pin in nets], after)
    where = {pin: ("left" if pin in LEFT else "right", height[pin]) for pin in nets}
    shown = {pin: pin_name(rig.board.kind, pin, pins.get(pin, -1)) for pin in nets}
    d.block(BOARD, Box(5.0, 1.6, 9.5, 12.0), where, shown, "inside")
    for pin, net in nets.items():
        if pin in LEFT:
            s.net(net, (4.5, height[pin]), "left", sign=False)
    for pin in ("switch_pin", "let_go_pin", "second_load_pin", "turn_pin"):
        if pin in nets:
            s.net(nets[pin], (10.0, height[pin]))
    _lamp(d, height)
    if d.has("SW50"):
        d.two("SW50", (11.0, height["button_pin"]), (13.6, height["button_pin"]))
        s.wire((10.0, height["button_pin"]), (11.0, height["button_pin"]))
        s.net("gnd", (13.6, height["button_pin"]))
    _options(d, rig)
    s.note(0, 0.9, "Names in bold are nets: the same name on another sheet is the same wire.",
           "All pins of each board: pins.md.")
    return s


def _spread(pins: list[str], after: float) -> dict[str, float]:
    """Lamps and button need more room than a name; after: how much more below the lamp."""
    found, y = {}, TOP
    for pin in pins:
        y -= {"lamp_pin": 1.1, "lamp2_pin": 1.5, "button_pin": 1.1 + after}.get(pin, 0.0)
        found[pin] = round(y, 3)
        y -= STEP
    return found


def _lamp(d: Drawer, height: dict[str, float]) -> None:
    s, y = d.sheet, height["lamp_pin"]
    s.wire((10.0, y), (11.0, y))
    d.two("R50", (11.0, y), (13.6, y))
    if d.has("D50"):
        d.two("D50", (13.6, y), (16.2, y))
        s.net("gnd", (16.2, y))
    if d.has("D51"):
        low = height["lamp2_pin"]
        s.wire((10.0, low), (11.0, low))
        d.two("R51", (11.0, low), (13.6, low))
        d.two("D51", (13.6, low), (16.2, low))
        s.net("gnd", (16.2, low))
    if d.has("LS50"):
        d.two("LS50", (13.6, y), (16.2, y))
        s.net("gnd", (16.2, y))
    if d.has("X50"):
        d.block("X50", Box(14.1, y - 0.7, 16.3, y + 0.7), {
            "data": ("left", y), "supply": ("up", 15.2), "ground": ("down", 15.2)},
            {"data": "DIN", "supply": "", "ground": ""}, "right")
        s.net("board_3v3", (15.2, y + 1.2), "up")
        s.net("gnd", (15.2, y - 1.2))
        s.net("board_3v3", (19.6, y + 1.2), "up")
        d.to_ground("C50", (19.6, y + 1.2), y - 1.2)
    if d.has("Q50"):
        d.to_ground("R51", (13.6, y), y - 2.2, "left")
        d.transistor("Q50", (15.4, y - 0.5), "up", "left")
        s.wire((13.6, y), (14.4, y))
        s.net("gnd", (15.4, y - 0.5))
        d.two("M50", (15.4, y + 3.5), (15.4, y + 1.5), "left")
        s.wire((15.4, y + 3.5), (17.4, y + 3.5))
        s.wire((15.4, y + 1.5), (17.4, y + 1.5))
        d.two("D52", (17.4, y + 1.5), (17.4, y + 3.5))
        s.net("board_3v3", (15.4, y + 3.5), "up")


def _options(d: Drawer, rig: Rig) -> None:
    """Reservoir divider and thermistor above, turn sensor and second load below."""
    s, y = d.sheet, 11.6
    if d.has("R58"):
        s.net("reservoir", (20.6, y), "up")
        d.two("R58", (20.6, y), (20.6, 9.4))
        d.to_ground("R59", (20.6, 9.4), 7.2)
        d.to_ground("C58", (23.2, 9.4), 7.2)
        s.wire((20.6, 9.4), (24.0, 9.4))
        s.net("supply_divided", (24.0, 9.4), "up")
    if d.has("R54"):
        s.net("board_3v3", (26.6, y), "up")
        d.two("R54", (26.6, y), (26.6, 9.4))
        d.to_ground("RT54", (26.6, 9.4), 7.2)
        s.wire((26.6, 9.4), (27.4, 9.4))
        s.net("board_heat", (27.4, 9.4))
    low = 4.6
    if d.has("R53"):
        s.net("board_turn", (18.6, low), "left")
        s.wire((18.6, low), (19.2, low))
        d.to_ground("C53", (19.2, low), 2.4)
        d.two("R53", (22.0, low), (19.4, low))
        s.wire((19.2, low), (19.4, low))
        d.to_ground("S53", (22.0, low), 2.4)
        if d.has("R52"):
            s.net("board_3v3", (19.2, 6.5), "up")
            d.two("R52", (19.2, 6.5), (19.2, low), "left")
    if d.has("R55"):
        s.net(d.net("R55", "1"), (28.4, 6.2), "up")
        d.two("R55", (28.4, 6.2), (28.4, 4.0))
        d.transistor("Q55", (28.4, 2.0), "up", "left")
        s.net("gnd", (28.4, 2.0))
        s.net("board_second_load", (24.6, 4.4), "up")
        s.wire((24.6, 4.4), (24.6, 2.5))
        d.two("R56", (24.6, 2.5), (27.0, 2.5))
        s.wire((27.0, 2.5), (27.4, 2.5))
        d.to_ground("R57", (27.0, 2.5), 0.6, "left")
