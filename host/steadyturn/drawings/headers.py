"""The board's pins as they lie: physical order on a Pico, the printed names on others.

Pico: 40 pins, 1 at the USB plug's left seen from above, 21 opposite 20 (Raspberry Pi Pico data
sheet, pinout; the same on Pico W and Pico 2). The headers of ESP32 boards differ from maker to
maker: their pins are listed by what is printed beside them.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from html import escape

from steadyturn.circuit.table import Part
from steadyturn.drawings.board_side import BOARD, pins_of
from steadyturn.drawings.breadboard import Built
from steadyturn.drawings.place_tables import goes_to
from steadyturn.drawings.schematic_board import LEFT, pin_name
from steadyturn.rig.types import Rig
from steadyturn.rig.wiring import all_pins

PICO_LEFT = ("GP0", "GP1", "GND", "GP2", "GP3", "GP4", "GP5", "GND", "GP6", "GP7", "GP8", "GP9",
             "GND", "GP10", "GP11", "GP12", "GP13", "GND", "GP14", "GP15")
PICO_RIGHT = ("VBUS", "VSYS", "GND", "3V3_EN", "3V3", "ADC_VREF", "GP28", "AGND", "GP27", "GP26",
              "RUN", "GP22", "GND", "GP21", "GP20", "GP19", "GP18", "GND", "GP17", "GP16")
PICOS = ("pico", "pico_w", "pico2")
GROUND_PIN = 38  # of a Pico's eight ground pins the one beside VSYS
STEP, TOP, WIDE, EDGE = 22.0, 70.0, 940.0, (380.0, 560.0)


def wiring_picture(rig: Rig, parts: Sequence[Part], made: Built) -> str:
    """SVG text: the board, and where each used pin's wire goes."""
    kind = rig.board.kind
    board = next(part for part in parts if part.ref == BOARD)
    pins, nets = all_pins(kind, rig.board.pins), pins_of(board)
    used = {pin_name(kind, pin, pins.get(pin, -1)): (pin, net) for pin, net in nets.items()}
    if kind in PICOS:
        left, right = list(enumerate(PICO_LEFT, 1)), list(
            zip(range(40, 20, -1), PICO_RIGHT, strict=True))
    else:
        names = {name: pin for name, (pin, _) in used.items()}
        left = [(0, name) for name, pin in names.items() if pin in LEFT]
        right = [(0, name) for name, pin in names.items() if pin not in LEFT]
    tall = TOP + STEP * max(len(left), len(right)) + 56
    title = f"{rig.name}: wires at the {kind}"
    lines = [f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDE:g} {tall:g}" '
             f'width="{WIDE:g}" height="{tall:g}" font-family="Arial, Helvetica, sans-serif" '
             'font-size="12" fill="black">', f"<title>{escape(title)}</title>",
             f'<rect width="{WIDE:g}" height="{tall:g}" fill="white"/>',
             _text(20, 26, title, "start", 16, bold=True)]
    lines += _outline(kind in PICOS, tall)
    targets = goes_to(made)
    for side, rows in (("left", left), ("right", right)):
        for at, (number, name) in enumerate(rows):
            lines += _pin(side, TOP + STEP * at, number, name, used, targets)
    said = ("Seen from above, the USB plug on top. Bold: pins in use; small: a pin's number."
            if kind in PICOS else
            "By the names printed beside the pins; their order differs from board to board.")
    lines.append(_text(20, tall - 16, said, "start", 11))
    return "\n".join([*lines, "</svg>"]) + "\n"


def _outline(pico: bool, tall: float) -> list[str]:
    (left, right), low = EDGE, tall - 56
    middle = (left + right) / 2
    lines = [f'<rect x="{left - 4:g}" y="{TOP - 24:g}" width="{right - left + 8:g}" '
             f'height="{low - TOP + 24:g}" rx="8" fill="none" stroke="black" '
             'stroke-width="1.5"/>']
    if pico:
        lines += [f'<rect x="{middle - 26:g}" y="{TOP - 34:g}" width="52" height="26" '
                  'fill="white" stroke="black"/>', _text(middle, TOP - 17, "USB", "middle", 11)]
    return lines


def _pin(side: str, y: float, number: int, name: str, used: Mapping[str, tuple[str, str]],
         targets: Mapping[str, list[str]]) -> list[str]:
    pin, net = used.get(name, ("", ""))
    if pin == "GND" and number not in (0, GROUND_PIN):
        pin = net = ""
    x, out = (EDGE[0], -1) if side == "left" else (EDGE[1], 1)
    anchor, inside = ("end", "start") if side == "left" else ("start", "end")
    lines = [f'<circle cx="{x:g}" cy="{y - 4:g}" r="4" '
             f'fill="{"black" if net else "white"}" stroke="black"/>',
             _text(x - 10 * out, y, name, inside, 12, bold=bool(net))]
    if number:
        lines.append(_text(x + 8 * out, y - 7, str(number), anchor, 8))
    if net:
        where = ", ".join(targets.get(f"{BOARD} {name}", ())) or "no wire"
        lines += [f'<path d="M {x + 4 * out:g} {y - 4:g} h {50 * out:g}" stroke="black"/>',
                  _text(x + 60 * out, y, f"{net}: {where}", anchor, 12)]
    return lines


def _text(x: float, y: float, text: str, anchor: str, size: float, *, bold: bool = False) -> str:
    more = ' font-weight="bold"' if bold else ""
    return (f'<text x="{x:g}" y="{y:g}" text-anchor="{anchor}" font-size="{size:g}"{more}>'
            f"{escape(text)}</text>")

