"""What may happen to the power path: every electrical row of hardware/hazards.md as a drive.

MISHAPS lists them; `drive` makes one for a rig. A mishap that is no failure (a hand, a plug)
is tried with a firmware that acts, one that holds the load whatever comes, and a dead board;
a failure with the first and the last.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from steadyturn.circuit.netlist import Drive
from steadyturn.circuit.table import Part
from steadyturn.circuit.values import Design

CONVERTER_OHM = 0.08  # of a converter that fails shorted: no coil is counted
NINE_V = 9.0  # a converter with its divider's lower wire broken goes as high as it may
RUN, STEADY = ("acts", "holds", "dead"), ("acts", "dead")


@dataclass(frozen=True)
class Mishap:
    """rows: of hazards.md. pace: before and after, "target" or "high" of the band, "fast" (the
    fastest credible), "beyond" (a third more), "back" (that backwards), "rest". needs: parts
    that must be fitted. excused: limits that this failure itself breaks; lets_go: the hold has to
    release it. shorts, opens, closes,
    set_v, pins, load: as in netlist.Drive."""

    name: str
    rows: tuple[int, ...]
    title: str
    pace: tuple[str, str] = ("high", "fast")
    firmware: tuple[str, ...] = STEADY
    load: str = "stays"
    opens: tuple[str, ...] = ()
    closes: tuple[str, ...] = ()
    shorts: tuple[tuple[str, str, float], ...] = ()
    set_v: float | None = None
    pins: dict[str, float] = field(default_factory=dict)
    needs: tuple[str, ...] = ()
    excused: tuple[str, ...] = ()
    note: str = ""
    lets_go: bool = False


MISHAPS: tuple[Mishap, ...] = (
    Mishap("unplugged", (1,), "load unplugged, hand runs away", firmware=RUN, load="pulled"),
    Mishap("full", (1, 2), "phone full, hand runs away", firmware=RUN, load="full"),
    Mishap("runaway", (2, 11, 16, 17, 18, 22), "phone charges on, hand runs away", firmware=RUN),
    Mishap("beyond", (1,), "unplugged, a hand a third faster still", ("high", "beyond"), RUN,
           load="pulled"),
    Mishap("dump", (3,), "released at full current", ("low", "low"), load="pulled",
           pins={"board_let_go": 3.3}),
    Mishap("converter_short", (4,), "converter fails shorted under load", ("high", "high"),
           shorts=(("U5.input", "U5.output", CONVERTER_OHM),)),
    Mishap("converter_short_fast", (4,), "converter fails shorted at the fastest hand",
           ("fast", "fast"), load="none", shorts=(("U5.input", "U5.output", CONVERTER_OHM),)),
    Mishap("converter_high", (5,), "converter regulates far too high", ("high", "high"),
           set_v=NINE_V),
    Mishap("switch_short", (6,), "load switch shorted, hand runs away",
           shorts=(("Q5.source", "Q5.drain", 0.02),)),
    Mishap("bypass", (46,), "bypass link closed, hand runs away", firmware=RUN,
           shorts=(("J1.1", "J1.2", 0.01),)),
    Mishap("bypass_late", (46,), "bypass link closed at the fastest hand, was released",
           ("fast", "fast"), ("released",), shorts=(("J1.1", "J1.2", 0.01),)),
    Mishap("switch_open", (7,), "load switch open", opens=("Q5",)),
    Mishap("cut_short", (8,), "output cut's transistor shorted, hand runs away",
           shorts=(("Q7.source", "Q7.drain", 0.02),), excused=("cut_us",)),
    Mishap("cut_blind", (8,), "output cut's divider open, hand runs away", opens=("R29",),
           excused=("cut_us",)),
    Mishap("bus_cut_open", (8, 6), "bus cut does not act, hand runs away", opens=("Q4",),
           needs=("Q4",)),
    Mishap("clamp_open", (9,), "clamp open, unplugged, hand runs away", load="pulled",
           opens=("Q1",)),
    Mishap("clamp_short", (10,), "clamp shorted", ("high", "high"),
           shorts=(("Q1.emitter", "Q1.collector", 0.05),)),
    Mishap("capacitor_open", (45,), "C2 dried out, released, hand runs away",
           ("low", "fast"), load="pulled", opens=("C2",), pins={"board_let_go": 3.3}),
    Mishap("contact", (9, 45), "a motor's wire makes contact at speed, C2 dried out",
           ("beyond", "beyond"), ("holds",), load="none", opens=("C2",), closes=("F1",),
           excused=("bus_v", "converter_v", "diode_v", "switch_v"),
           note="two failures: shows how soon the clamp acts"),
    Mishap("pulses_stop", (12,), "program hangs: pulses stop", ("target", "target"),
           ("silent",), lets_go=True),
    Mishap("dead", (13,), "board without power", ("target", "target"), ("dead",), lets_go=True),
    Mishap("erase", (15,), "flash erase of 400 ms, hand runs away", firmware=("silent",),
           lets_go=True),
    Mishap("shunt_open", (18,), "shunt open", ("high", "high"), opens=("R6",),
           excused=("resistor_share",)),
    Mishap("divider_open", (19,), "divider's upper arm open, hand runs away", opens=("R7",),
           needs=("R7",)),
    Mishap("divider_high", (20,), "divider's lower arm open, hand runs away", opens=("R8",),
           needs=("R8",), excused=("adc_v",)),
    Mishap("let_go_open", (23,), "let-go wire open, pulses stop", ("target", "target"),
           ("silent",), opens=("R16",), needs=("R16",), lets_go=True),
    Mishap("let_go_high", (24,), "let-go pin stuck high", ("target", "target"), ("holds",),
           pins={"board_let_go": 3.3}, needs=("R16",), lets_go=True),
    Mishap("pulse_high", (25,), "keep-alive pin stuck high", ("target", "target"), ("holds",),
           pins={"board_switch": 3.3}, lets_go=True),
    Mishap("pulse_low", (25,), "keep-alive pin stuck low", ("target", "target"), ("holds",),
           pins={"board_switch": 0.0}, lets_go=True),
    Mishap("coupling_short", (26,), "one coupling capacitor shorted, pulses stop high",
           ("target", "target"), ("holds",), shorts=(("C5.1", "C5.2", 0.1),),
           pins={"board_switch": 3.3}, lets_go=True),
    Mishap("coupling_open", (27,), "coupling capacitor open", ("target", "target"), ("acts",),
           opens=("C5",), lets_go=True),
    Mishap("discharge_open", (28,), "one discharge resistor open, pulses stop",
           ("target", "target"), ("silent",), opens=("R11",), excused=("released_ms",),
           lets_go=True),
    Mishap("backwards", (29,), "turned backwards at speed", ("fast", "back"), RUN, load="none"),
    Mishap("diode_short", (30,), "diode shorted, handle let go", ("high", "rest"),
           shorts=(("motor", "raw", 0.02),), needs=("D1",)),
    Mishap("diode_short_back", (30, 29), "diode shorted, then turned backwards",
           ("high", "back"), shorts=(("motor", "raw", 0.02),), needs=("D1",),
           excused=("below_v", "diode_c"), note="C2 and converter: below"),
    Mishap("motor_short", (44,), "one motor shorted, hand runs away",
           shorts=(("m0_0", "below0_0", 0.05),)),
    Mishap("host", (32,), "laptop plugged in while the handle feeds the board",
           ("target", "rest"), ("holds",), pins={"board_vbus": 5.25}, needs=("D11",)),
    Mishap("supply_high", (33,), "the board's regulator shorted, hand runs away",
           firmware=("dead",), shorts=(("U7.input", "U7.output", 0.1),), needs=("U7",),
           excused=("reservoir_v", "resistor_share"), note="the board dies"),
    Mishap("output_short", (39,), "output shorted, cranked on", ("high", "high"),
           shorts=(("vbus", "gnd", 0.05),), note="no release counted"),
    Mishap("cable_short", (39,), "cable damaged, 1 ohm, cranked on", ("high", "high"),
           shorts=(("vbus", "gnd", 1.0),), note="no release counted"),
    Mishap("fuse_blown", (47,), "fuse blown", ("high", "high"), opens=("F1",)),
)


def possible(mishap: Mishap, parts: Sequence[Part]) -> bool:
    """Are its parts fitted?"""
    return set(mishap.needs) <= {part.ref for part in parts}


def drive(mishap: Mishap, firmware: str, made: Design, band: tuple[float, float, float],
          over_v: float, bus_v: float) -> Drive:
    """band: low, target and high pace [turns/min]; over_v: where the firmware sees too much;
    bus_v: the loaded bus at the beginning."""
    paces = dict(zip(("low", "target", "high"), band, strict=True))
    paces |= {"fast": made.far.pace_tpm, "beyond": made.far.beyond_tpm,
              "back": -made.far.pace_tpm, "rest": 0.0}
    before, after = (paces[name] for name in mishap.pace)
    start_v = made.far.open_v if mishap.pace[0] == "fast" else bus_v
    return Drive(before, after, mishap.load, firmware, over_v, mishap.opens, mishap.closes,
                 mishap.shorts, mishap.set_v, mishap.pins, min(start_v, made.clamp.trip.low_v))
