"""What a socket tells a device it may draw: resistors by current class.

Data lines: Battery Charging 1.2 (IEC 62680-1-1): a port of a computer pulls D+ and D- to ground
through 15 kohm each; a charger's own port joins both through 200 ohm at most and may be asked for
1.5 A. C sockets: one resistor from 5 V to each CC pin, ST UM2191 table 2 (columns for 4.75-5.5 V).
"""

from __future__ import annotations

from typing import NamedTuple

RD_OHM, RD_TOLERANCE = 5_100, 0.10  # in the device; its tolerance from memory
BUS_V = (4.75, 5.5)  # USB Type-C's vSafe5V
NOTHING_V = 0.20  # a CC pin below it: no source is seen


class Class(NamedTuple):
    """amps: what the device may take; rp_ohm with its tolerance: at each CC pin; up_to_v: CC
    volts that a device still reads as this class (above: the next); data: an A socket's lines."""

    amps: float
    rp_ohm: int
    tolerance: float
    up_to_v: float
    data: str


CLASSES = (
    Class(0.5, 56_000, 0.20, 0.66, "15 kohm from D+ to ground, 15 kohm from D- to ground"),
    Class(1.5, 22_000, 0.05, 1.23, "D+ and D- joined, nothing else on them"),
    Class(3.0, 10_000, 0.05, 2.04, "- (an A socket has no word for it)"),  # 2.04 V from memory
)


def cc_volts(row: Class) -> tuple[float, float, float]:
    """Lowest, usual and highest volts at a CC pin, over 4.75-5.5 V and all tolerances.

    >>> [round(v, 2) for v in cc_volts(CLASSES[0])]
    [0.3, 0.42, 0.61]
    """
    def divided(volts: float, rp: float, rd: float) -> float:
        return volts * rd / (rp + rd)

    return (divided(BUS_V[0], row.rp_ohm * (1 + row.tolerance), RD_OHM * (1 - RD_TOLERANCE)),
            divided(5.0, row.rp_ohm, RD_OHM),
            divided(BUS_V[1], row.rp_ohm * (1 - row.tolerance), RD_OHM * (1 + RD_TOLERANCE)))


def table(_: str = "") -> str:
    """Markdown: one row a class."""
    lines = ["| the machine holds 5 V at | A socket: data lines | C socket: from each CC pin to "
             "5 V | CC pin then stands at | `advertised_a` |", "|---|---|---|---|---|"]
    for row in CLASSES:
        low, usual, high = cc_volts(row)
        lines.append(f"| {row.amps:g} A and more | {row.data} | {row.rp_ohm // 1000} kohm, "
                     f"{row.tolerance * 100:.0f} % or better | {usual:.2f} V ({low:.2f}-"
                     f"{high:.2f}) | {row.amps:g} |")
    return "\n".join(lines)
