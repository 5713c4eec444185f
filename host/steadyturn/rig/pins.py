"""The board's pins in a rig file: `[board.pins]`, where they differ from the board's own."""

from __future__ import annotations

import difflib
from typing import Any

from steadyturn_fw.boards import COLUMNS

from steadyturn.rig.values import shown
from steadyturn.rig.wiring import all_pins

__all__ = ["all_pins", "read_pins"]

_LIMITS = {"i2c_id": (0, 1), "supply_permille": (1000, 100_000)}
_MAY_BE_UNUSED = ("bus_adc_pin", "supply_adc_pin", "alert_pin", "button_pin", "turn_pin",
                  "second_load_pin", "amps_adc_pin", "let_go_pin", "lamp2_pin",
                  "heat_adc_pin")

Fault = tuple[tuple[str, ...], str, str, str]  # path below board.pins, value, right, how


def needed_pins() -> list[str]:
    """The pins without which no board works."""
    return [name for name in COLUMNS if name not in _MAY_BE_UNUSED and name not in _LIMITS]


def read_pins(kind: str, raw: Any) -> tuple[dict[str, int], list[Fault]]:
    """The pins named in the file, and what is wrong with them."""
    if not isinstance(raw, dict):
        return {}, [((), shown(raw), "a section: [board.pins], with its pins below.",
                     "For example lamp_pin = 15")]
    pins: dict[str, int] = {}
    faults: list[Fault] = []
    for name, value in raw.items():
        if name not in COLUMNS:
            near = difflib.get_close_matches(name, COLUMNS, n=1)
            right = f"did you mean '{near[0]}'?" if near else "there is no such pin."
            faults.append(((name,), shown(value), right, f"Pins are {', '.join(COLUMNS)}."))
            continue
        low, high = _LIMITS.get(name, (-1 if name in _MAY_BE_UNUSED else 0, 48))
        if isinstance(value, bool) or not isinstance(value, int) or not low <= value <= high:
            unused = " (-1: not used)" if low < 0 else ""
            faults.append(((name,), shown(value),
                           f"a whole number from {low} to {high}{unused}.",
                           "The GP or IO number printed beside the pin."))
            continue
        pins[name] = value
    if kind == "other":
        faults += [
            ((name,), "", "an unknown board needs this pin named.",
             "The GP or IO number printed beside the pin, below [board.pins].")
            for name in needed_pins() if name not in raw
        ]
    if not faults:
        faults = _shared(kind, pins)
    return pins, faults


def _shared(kind: str, pins: dict[str, int]) -> list[Fault]:
    """One pin for two purposes, where the rig file has a say in it."""
    used: dict[int, str] = {}
    faults: list[Fault] = []
    for name, value in all_pins(kind, pins).items():
        if name in _LIMITS or value < 0:
            continue
        other = used.setdefault(value, name)
        if other != name and (name in pins or other in pins):
            mine = name if name in pins else other
            faults.append(((mine,), str(value),
                           f"pin {value} is used for {other} and for {name}.",
                           "Give one of them another pin, or -1 where it is not used."))
    return faults
