"""The board and what hangs on it alone: lamp, button, reservoir divider, and a rig's options.

Numbers from 50 on, so that they never meet those of the power path (steadyturn.circuit). Values:
common practice, no source, unless the line says more.
"""

from __future__ import annotations

from collections.abc import Iterable

from steadyturn_fw.boards import COLUMNS

from steadyturn.circuit.table import BOARD_NETS, PINS, PLACES, UNIT, Part, spoken
from steadyturn.rig.types import Rig
from steadyturn.rig.wiring import all_pins

BOARD = "U8"
SIGNALS = tuple(name for name in COLUMNS if name.endswith("_pin"))
SUPPLY = ("3V3", "VBUS", "VSYS", "GND")
# these boards have a divider of three from VSYS to a pin of its own on board
OWN_DIVIDER = ("pico", "pico2")
NETS = {signal: net for net, signal in BOARD_NETS.items()} | {
    "lamp_pin": "board_lamp", "lamp2_pin": "board_lamp2", "button_pin": "board_button",
    "turn_pin": "board_turn", "heat_adc_pin": "board_heat",
    "second_load_pin": "board_second_load", "supply_adc_pin": "supply_divided"}
ALL_PINS = PINS | {
    "board": SIGNALS + SUPPLY, "led": ("anode", "cathode"), "button": ("1", "2"),
    "contact": ("1", "2"), "thermistor": ("1", "2"), "piezo": ("1", "2"),
    "diode": ("anode", "cathode"), "pixel": ("supply", "ground", "data"),
    "shaker": ("plus", "minus")}


def pins_of(part: Part) -> dict[str, str]:
    """Pin -> net, those that are on one.

    >>> led = _part("D50", "led", ("lamp_led", "gnd"), "lamp", value="LED")
    >>> pins_of(led)
    {'anode': 'lamp_led', 'cathode': 'gnd'}
    """
    return {pin: net for pin, net in zip(ALL_PINS[part.kind], part.nets, strict=True) if net}


def board_parts(rig: Rig) -> tuple[Part, ...]:
    """The board and all it needs, as the rig has it."""
    pins = all_pins(rig.board.kind, rig.board.pins)
    parts = [*_lamp(rig.board.lamp)]
    if pins["button_pin"] >= 0:
        parts.append(_part("SW50", "button", ("board_button", "gnd"), "button", value="push "
                           "button, closes", why="the board's own pull-up; may be left out",
                           substitute="two bare wires", price=0.2))
    if pins["supply_adc_pin"] >= 0 and rig.board.kind not in OWN_DIVIDER and (
            rig.supply.feed == "crank"):
        parts += _reservoir_divider(all_pins(rig.board.kind, rig.board.pins)["supply_permille"])
    if rig.sensor.turn_pulses:
        parts += _turn(rig.sensor.turn_pulses)
    if rig.protection.ntc_at != "none":
        parts += _thermistor(rig)
    if rig.bus.second_load_ohm:
        parts += _second_load(rig)
    return (_board(rig, parts, pins), *parts)


def _board(rig: Rig, parts: Iterable[Part], pins: dict[str, int]) -> Part:
    used = {"board_switch", "divided"} | {net for part in parts for net in part.nets}
    if rig.sensor.chip != "adc":
        used |= {"board_sda", "board_scl"} | ({"board_alert"} if rig.sensor.chip == "ina226"
                                              else set())
    if rig.sensor.amplifier:
        used.add("board_amps")
    used.add("board_let_go")
    nets = [NETS[s] if NETS[s] in used and pins[s] >= 0 else "" for s in SIGNALS]
    crank = rig.supply.feed == "crank"
    nets += ["board_3v3", "board_vbus" if crank else "", "reservoir" if crank else "", "gnd"]
    return _part(BOARD, "board", tuple(nets), "board", value=f"{rig.board.kind} board with "
                 "MicroPython 1.24 or later", why="measures, tells by lamp, makes the pulses",
                 substitute="another of pins.md", changes="its pins: [board] kind", price=6)


def _lamp(kind: str) -> list[Part]:
    series = "R50", "resistor", ("board_lamp", "lamp_led"), "lamp"
    if kind in ("led", "two_led"):
        found = [_part(*series, 220.0, why="6 mA through a red LED, the pin gives 12"),
                 _part("D50", "led", ("lamp_led", "gnd"), "lamp", value="LED, bright, 5 mm",
                       substitute="any colour", changes="white and blue shine less on 3.3 V",
                       price=0.1)]
        if kind == "two_led":
            found += [_part("R51", "resistor", ("board_lamp2", "lamp2_led"), "lamp", 220.0,
                            why="as R50"),
                      _part("D51", "led", ("lamp2_led", "gnd"), "lamp", price=0.1,
                            value="LED, bright, 5 mm, another colour",
                            why="repeats what is too much; the first alone shows all shapes")]
        return found
    if kind == "rgb":
        return [_part(*series, 330.0, why="rings on the wire to the pixel"),
                _part("X50", "pixel", ("board_3v3", "gnd", "lamp_led"), "lamp", price=0.3,
                      value="RGB pixel of the WS2812 kind, works at 3.3 V"),
                _part("C50", "capacitor", ("board_3v3", "gnd"), "lamp", 100e-9, rating="16 V",
                      why="at the pixel's pins")]
    if kind == "piezo":
        return [_part(*series, 220.0, why="a piezo is a capacitor: limits the pin's current"),
                _part("LS50", "piezo", ("lamp_led", "gnd"), "lamp", value="piezo disc, without "
                      "an oscillator", price=0.5)]
    return [_part("R50", "resistor", ("board_lamp", "lamp_gate"), "lamp", 100.0,
                  why="for the gate"),
            _part("R51", "resistor", ("lamp_gate", "gnd"), "lamp", 100e3,
                  why="still while the board is dead"),
            _part("Q50", "nmos", ("lamp_gate", "lamp_drain", "gnd"), "lamp", rating="30 V, 0.2 A",
                  value="small n-channel MOSFET, on at 2.5 V", price=0.1),
            _part("M50", "shaker", ("board_3v3", "lamp_drain"), "lamp", value="vibration motor, "
                  "3 V, 0.1 A at most", price=1),
            _part("D52", "diode", ("lamp_drain", "board_3v3"), "lamp", value="small silicon "
                  "diode", rating="0.2 A", why="the motor's current goes on", price=0.05)]


def _reservoir_divider(permille: int) -> list[Part]:
    lower = 10e3
    return [_part("R58", "resistor", ("reservoir", "supply_divided"), "reservoir divider",
                  lower * (permille - 1000) / 1000, rating="1 %",
                  why=f"with R59: {permille / 1000:g} : 1, as pins.md has it"),
            _part("R59", "resistor", ("supply_divided", "gnd"), "reservoir divider", lower,
                  rating="1 %", why="as R58"),
            _part("C58", "capacitor", ("supply_divided", "gnd"), "reservoir divider", 100e-9,
                  rating="16 V", why="quiet volts for the ADC")]


def _turn(pulses: int) -> list[Part]:
    more = pulses > 12  # hardware/turn_and_load.md
    found = [_part("S53", "contact", ("turn_wire", "gnd"), "turn sensor", price=0.8,
                   value="reed contact, or Hall switch with open collector",
                   why="turn_and_load.md"),
             _part("R53", "resistor", ("turn_wire", "board_turn"), "turn sensor", 1e3,
                   why="sparks of the brushes on a long wire"),
             _part("C53", "capacitor", ("board_turn", "gnd"), "turn sensor",
                   22e-9 if more else 100e-9, rating="16 V", why="as R53")]
    if more:
        found.append(_part("R52", "resistor", ("board_3v3", "board_turn"), "turn sensor", 10e3,
                           why="quicker than the board's own pull-up"))
    return found


def _thermistor(rig: Rig) -> list[Part]:
    p = rig.protection
    return [_part("R54", "resistor", ("board_3v3", "board_heat"), "thermistor",
                  float(p.ntc_series_ohm), rating="1 %", why="ntc_series_ohm of the rig"),
            _part("RT54", "thermistor", ("board_heat", "gnd"), "thermistor", price=0.3,
                  value=f"NTC {spoken(p.ntc_ohm, 'ohm')}, beta {p.ntc_beta_k}",
                  why=f"glued to: {p.ntc_at}")]


def _second_load(rig: Rig) -> list[Part]:
    at = PLACES[rig.switch.place]["converter_in"]
    return [_part("R55", "resistor", (at, "second_drain"), "second load",
                  float(rig.bus.second_load_ohm or 0.0), price=0.5,
                  rating="volts^2 / ohm at the open-circuit volts", why="turn_and_load.md"),
            _part("Q55", "nmos", ("second_gate", "second_drain", "gnd"), "second load", price=0.6,
                  value="n-channel MOSFET, fully on at 2.5 V", rating=f"{rig.switch.max_v:g} V, "
                  "3 A"),
            _part("R56", "resistor", ("board_second_load", "second_gate"), "second load", 100.0),
            _part("R57", "resistor", ("second_gate", "gnd"), "second load", 100e3,
                  why="off while the board is dead")]


def _part(ref: str, kind: str, nets: tuple[str, ...], role: str, amount: float | None = None,
          *, value: str = "", rating: str = "", why: str = "common practice",
          substitute: str = "a value near it", changes: str = "nothing that shows",
          price: float = 0.05) -> Part:
    if amount is not None and not value:
        value = spoken(amount, UNIT[kind])
    return Part(ref, "board", kind, nets, amount, value, rating, 1, role, why, substitute,
                changes, price, "")
