"""The parts of the power path for one rig, from parts.toml: what is fitted, between which nets.

The one source of schematic, parts list, netlists and calculations. circuit.md says how the
blocks work.
"""

from __future__ import annotations

import tomllib
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

from steadyturn.circuit.surroundings import isolates
from steadyturn.rig.types import Rig
from steadyturn.rig.wiring import all_pins

FILE = Path(__file__).with_name("parts.toml")
BLOCKS = {"source": "motors, rectifier, fuse", "bus": "bus", "clamp": "bus clamp",
          "sensor": "sensor and divider", "hold": "hold: charge pump and let-go",
          "bus_cut": "bus cut", "switch": "load switch", "converter": "converter",
          "cut": "output cut", "socket": "socket", "supply": "the board's supply"}

# kind -> names of its pins, in the order of `nets`
PINS: dict[str, tuple[str, ...]] = {
    "motor": ("plus", "minus"), "fuse": ("1", "2"), "resistor": ("1", "2"), "link": ("1", "2"),
    "capacitor": ("1", "2"), "electrolytic": ("plus", "minus"), "coil": ("1", "2"),
    "schottky": ("anode", "cathode"), "small_schottky": ("anode", "cathode"),
    "zener": ("anode", "cathode"), "bridge": ("ac_1", "ac_2", "plus", "minus"),
    "reference": ("cathode", "anode", "reference"), "pnp": ("base", "collector", "emitter"),
    "darlington": ("base", "collector", "emitter"), "nmos": ("gate", "drain", "source"),
    "pmos": ("gate", "drain", "source"),
    "comparator": ("plus", "minus", "output", "supply", "ground"),
    "sensor": ("in_plus", "in_minus", "ground", "supply", "sda", "scl", "alert"),
    "amplifier": ("in_plus", "in_minus", "ground", "supply", "output"),
    "converter": ("input", "ground", "output", "enable"),
    "regulator": ("input", "ground", "output"),
    "socket": ("vbus", "ground", "data_plus", "data_minus", "cc1", "cc2"),
}
UNIT = {"resistor": "ohm", "capacitor": "F", "electrolytic": "F", "coil": "H", "zener": "V",
        "regulator": "V"}

# where the load switch stands -> nets named in braces
PLACES: dict[str, dict[str, str]] = {
    "bus_switch": {"switch_in": "sense", "switch_out": "feed", "converter_in": "feed",
                   "cut_in": "out", "watch": "sense", "enable_pin": "feed"},
    "output_switch": {"switch_in": "out", "switch_out": "switched", "converter_in": "sense",
                      "cut_in": "switched", "watch": "out", "enable_pin": "sense"},
    "enable": {"switch_in": "sense", "switch_out": "enable_up", "converter_in": "sense",
               "cut_in": "out", "watch": "sense", "enable_pin": "enable"},
}

# net -> what of the board is on it: a signal of firmware.boards, or one of its supply pins
BOARD_NETS = {"board_switch": "switch_pin", "board_let_go": "let_go_pin", "board_sda": "sda_pin",
              "board_scl": "scl_pin", "board_alert": "alert_pin", "divided": "bus_adc_pin",
              "board_amps": "amps_adc_pin", "board_3v3": "3V3", "board_vbus": "VBUS",
              "reservoir": "VSYS", "gnd": "GND"}


def _pin(name: str) -> Callable[[Rig, str], bool]:
    return lambda rig, socket: all_pins(rig.board.kind, rig.board.pins)[name] >= 0


# what `when` may say -> whether it holds for a rig and a kind of socket ("a" or "c")
CONDITIONS: dict[str, Callable[[Rig, str], bool]] = {
    "schottky": lambda rig, socket: rig.rectifier.kind == "schottky",
    "bridge": lambda rig, socket: rig.rectifier.kind == "bridge",
    "chip": lambda rig, socket: rig.sensor.chip != "adc",
    "amplifier": lambda rig, socket: rig.sensor.chip == "adc" and bool(rig.sensor.amplifier),
    "bus_pin": _pin("bus_adc_pin"),
    "let_go": _pin("let_go_pin"),
    "alert": lambda rig, socket: rig.sensor.alert,
    "bus_cut": lambda rig, socket: isolates(rig) and (
        rig.converter.kind == "boost" or rig.protection.bus_cut_v is not None),
    "series_switch": lambda rig, socket: rig.switch.place != "enable",
    "enable": lambda rig, socket: rig.switch.place == "enable",
    "socket_c": lambda rig, socket: socket == "c",
    "plain_port": lambda rig, socket: (rig.load.advertised_a or 0.5) < 1.5,
    "charging_port": lambda rig, socket: (rig.load.advertised_a or 0.5) >= 1.5,
    "crank": lambda rig, socket: rig.supply.feed == "crank",
}


@dataclass(frozen=True)
class Part:
    """One line of the table for one rig. nets: of its pins, in the order of PINS[kind].
    amount: ohm, farad, henry, volts (UNIT), None where it has none. price: euro apiece."""

    ref: str
    block: str
    kind: str
    nets: tuple[str, ...]
    amount: float | None
    value: str
    rating: str
    count: int
    role: str
    why: str
    substitute: str
    changes: str
    price: float
    when: str

    def pin(self, name: str) -> str:
        """The net of a pin.

        >>> Part("R1", "bus", "resistor", ("bus", "gnd"), 1e3, "", "", 1, "", "", "", "", 0.05,
        ...      "").pin("2")
        'gnd'
        """
        return self.nets[PINS[self.kind].index(name)]


@cache
def rows() -> tuple[Mapping[str, Any], ...]:
    """The table as it stands in the file."""
    return tuple(tomllib.loads(FILE.read_text(encoding="utf-8"))["part"])


def fitted(rig: Rig, values: Mapping[str, Any], socket: str = "a") -> tuple[Part, ...]:
    """The parts of a rig, in the table's order. values: of `values.values(rig)`; socket: "a"
    or "c"."""
    return tuple(_part(row, rig, values) for row in rows()
                 if "when" not in row or CONDITIONS[row["when"]](rig, socket))


def _part(row: Mapping[str, Any], rig: Rig, values: Mapping[str, Any]) -> Part:
    # behind a bridge neither of a motor's terminals is ground
    back = "motor_back" if rig.rectifier.kind == "bridge" else "gnd"
    places = PLACES[rig.switch.place] | {"motor_back": back}
    amount = row.get("amount")
    amount = float(values[amount] if isinstance(amount, str) else amount) if amount else None
    count = row.get("count", 1)
    said = {name: row.get(name, "").format(**values)
            for name in ("value", "rating", "role", "why", "substitute", "changes")}
    if not said["value"] and amount is not None:
        said["value"] = spoken(amount, UNIT[row["kind"]])
    return Part(row["ref"], row["block"], row["kind"],
                tuple(net.format(**places) for net in row["nets"]), amount,
                count=int(values[count] if isinstance(count, str) else count),
                price=float(row["price"]), when=row.get("when", ""), **said)


def spoken(amount: float, unit: str) -> str:
    """As printed on parts.

    >>> spoken(4700.0, "ohm"), spoken(2.2e-3, "F"), spoken(1e-7, "F")
    ('4.7 kohm', '2200 uF', '100 nF')
    """
    if unit == "F" and 1e-6 <= amount < 0.1:
        return f"{amount * 1e6:.6g} uF"
    for size, prefix in ((1e6, "M"), (1e3, "k"), (1.0, ""), (1e-3, "m"), (1e-6, "u"),
                         (1e-9, "n"), (1e-12, "p")):
        if amount >= size * 0.99999:
            return f"{amount / size:.4g} {prefix}{unit}"
    return f"{amount:.3g} {unit}"
