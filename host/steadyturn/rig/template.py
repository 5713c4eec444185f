"""The text of a new rig file: what was answered as given, the rest as assumed.

The figures for "don't know" are those of common small parts (common practice, no
source); each is written with a range and a comment on how to measure it.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import tomlkit
from steadyturn_fw.boards import BOARDS, COLUMNS
from tomlkit.items import InlineTable

from steadyturn.rig import likely
from steadyturn.rig.likely import Guess
from steadyturn.rig.pins import needed_pins
from steadyturn.rig.questions import spec_of
from steadyturn.rig.units import plain

# converter: out, start, stop, highest input; and the loaded bus that suits it, V
_CONVERTERS: dict[str, tuple[Guess, Guess, Guess, Guess, float]] = {
    "boost": ((4.9, 5.1, 5.2), (2.0, 2.6, 3.2), (1.6, 2.2, 2.6), (10, 12, 24), 4.0),
    "buck": ((4.9, 5.1, 5.2), (6.5, 7.2, 8.0), (5.5, 6.3, 6.5), (20, 24, 36), 10.0),
    "buck_boost": ((4.9, 5.1, 5.2), (3.0, 3.6, 4.5), (2.4, 3.1, 3.5), (18, 30, 36), 8.0),
    "linear": ((4.9, 5.0, 5.1), (6.0, 6.5, 7.5), (5.0, 5.8, 6.0), (12, 15, 20), 7.5),
}
_PACE_TPM = 65.0


@dataclass(frozen=True)
class Answers:
    """stem: the file's name without its ending; values: by question's name; supposed: motors and
    ratio that are assumed where there is no answer (else one motor, and what suits it)."""

    stem: str
    values: Mapping[str, float | int | str]
    supposed: Mapping[str, float | int] = field(default_factory=dict)


# -------------------------------------------------------------------------- the text


def text_of(answers: Answers) -> str:
    """A commented rig file that reads back without a problem."""
    known = answers.values
    kind = str(known.get("converter", "buck_boost"))
    volts = float(known.get("motor_volts", 12.0))
    rpm = float(known.get("motor_rpm", 5000.0))
    ohm = float(known.get("motor_ohm", likely.ohm(volts)))
    motors = int(known.get("motors", answers.supposed.get("motors", 1)))
    suiting = float(answers.supposed.get("ratio", _suiting_ratio(kind, volts, rpm, ohm, motors)))
    geared = "motor_rpm" in known and rpm < likely.GEARED_RPM
    idle_a, why_idle = likely.no_load_a(volts, ohm, geared=geared)
    most_rpm, why_rpm = likely.max_rpm(rpm, geared=geared)
    most_a, why_most = likely.max_a(volts, ohm)
    doc = tomlkit.document()
    for line in (
        "A rig file of steadyturn: one machine, handle to phone. Units end the keys.",
        "",
        "A value is plain (given), or says where it comes from:",
        "  { measured = 2.31, low = 2.2, high = 2.4, on = 2026-03-01 }",
        "  { assumed = 2.3, low = 1.5, high = 4 }",
        "What is left out is assumed too; 'steadyturn check' lists all of it.",
    ):
        doc.add(tomlkit.comment(line) if line else tomlkit.comment(""))
    doc.add(tomlkit.nl())
    _section(doc, "rig", [("name", _name(answers.stem), "")])
    _section(doc, "motor", [
        ("rated_v", _value("motor", "rated_v", known.get("motor_volts"), (3, volts, 24)),
         "on the nameplate"),
        ("no_load_rpm", _value("motor", "no_load_rpm", known.get("motor_rpm"),
                               (rpm / 2, rpm, rpm * 2)), "running free at rated_v"),
        ("no_load_a", _value("motor", "no_load_a", None, idle_a), why_idle),
        ("terminal_ohm", _value("motor", "terminal_ohm", known.get("motor_ohm"),
                                (ohm / 3, ohm, ohm * 3)),
         "shaft held still, several positions; subtract the leads"),
        ("max_rpm", _value("motor", "max_rpm", None, most_rpm), why_rpm),
        ("max_a", _value("motor", "max_a", None, most_a), why_most),
    ], after="Better than the nameplate: spin the shaft with a drill of known speed and write\n"
             "emf_v_per_krpm, the volts with nothing connected per 1000 turns/min.")
    _section(doc, "bank", [("series", motors, "motors on one gear, their volts added"
                            + ("" if "motors" in known else "; assumed, nobody said how many")),
                           ("mount_max_c", _mount(), "of PLA; PETG bears about 75")])
    _stage(doc, known.get("ratio"), suiting)
    _converter(doc, kind, "converter" in known)
    _section(doc, "switch", [("place", "bus_switch", "enable, bus_switch or output_switch")])
    _section(doc, "protection", [], after=(
        "What is fitted and works without the firmware; take out the # of what you have:\n"
        "output_cut_v = 5.45   # cuts the output above this\n"
        "bus_cut_v = 20        # cuts the bus\n"
        "bus_clamp_v = 20      # holds the bus below this"))
    _section(doc, "load", [("kind", str(known.get("load", "phone")), ""),
                           *_load_values(known.get("load"))])
    _section(doc, "sensor", [
        ("chip", "ina226", "or ina219, ina3221"),
        ("shunt_mohm", _typical("sensor", "shunt_mohm"), "R050 is printed on it"),
        ("alert_wired", False, "true once its alert pin is wired")])
    _section(doc, "board", [("kind", str(known.get("board", "pico")), ""),
                            ("lamp", "led", "led, two_led, rgb, piezo or vibration")])
    if known.get("board") == "other":
        _pins(doc)
    return tomlkit.dumps(doc).rstrip("\n") + "\n"


def _pins(doc: Any) -> None:
    """A board that is not listed has no pins of its own: another's, to be written over."""
    table = tomlkit.table()
    table.add(tomlkit.comment("These are a Pico's: write the numbers printed on YOUR board"))
    row = dict(zip(COLUMNS, BOARDS["pico"], strict=True))
    for name in needed_pins():
        table.add(name, row[name])
    table.add(tomlkit.nl())
    doc["board"].add("pins", table)


def _name(stem: str) -> str:
    plain_name = "".join(c if " " <= c <= "~" else "_" for c in stem.replace("_", " "))
    return plain_name[:48].strip() or "my rig"


def _section(
    doc: Any, name: str, rows: list[tuple[str, Any, str]], *, after: str = "", array: bool = False
) -> None:
    table = tomlkit.table()
    for key, value, comment in rows:
        item = tomlkit.item(value)
        if comment:
            item.comment(comment)
        table.add(key, item)
    for line in after.split("\n") if after else []:
        table.add(tomlkit.comment(line))
    table.add(tomlkit.nl())
    if array:
        tables = tomlkit.aot()
        tables.append(table)
        doc.add(name, tables)
    else:
        doc.add(name, table)


def _value(section: str, key: str, known: Any, guess: Guess) -> Any:
    """Plain where it is known, else assumed with a range inside what is accepted."""
    if known is not None:
        return _tidy(float(known))
    spec = spec_of(section, key)
    low, value, high = (min(max(g, spec.low), spec.high) for g in guess)
    return _assumed(low, value, high)


def _assumed(low: float, value: float, high: float) -> InlineTable:
    table = tomlkit.inline_table()
    table.update({"assumed": _tidy(value), "low": _tidy(min(low, value)),
                  "high": _tidy(max(high, value))})
    return table


def _mount() -> InlineTable:
    """Of PLA, as where it is left out; but nobody was asked what it is printed of."""
    low, value, _ = spec_of("bank", "mount_max_c").typical or (50, 55, 60)
    return _assumed(low, value, 75)  # PETG, from memory


def _typical(section: str, key: str) -> InlineTable:
    """What is assumed where the key is left out: it stands once, in rig.types."""
    typical = spec_of(section, key).typical
    assert typical is not None
    return _assumed(*typical)


def _tidy(value: float) -> float | int:
    number = float(plain(value))
    return int(number) if number.is_integer() else number


def _stage(doc: Any, known: Any, suiting: float) -> None:
    ratio = float(known) if known is not None else suiting
    meshes = _meshes(ratio)
    efficiency = _assumed(*train_efficiency(ratio))
    rows: list[tuple[str, Any, str]] = []
    if known is not None:
        rows.append(("ratio", _tidy(ratio), ""))
    else:
        rows.append(("ratio", _assumed(ratio / 2, ratio, min(100, ratio * 2)),
                     "would suit this motor"))
    rows.append(("efficiency", efficiency, f"of {meshes} mesh{'es' if meshes > 1 else ''}"))
    _section(doc, "stage", rows, array=True, after=(
        "With the teeth known, write one [[stage]] for each mesh, handle side first:\n"
        "driver_teeth = 60, driven_teeth = 12 in place of ratio."))


def _meshes(ratio: float) -> int:
    """Printed stages make up to about 6:1 each."""
    return max(1, math.ceil(math.log(max(ratio, 1.01)) / math.log(6.3)))


def train_efficiency(ratio: float) -> Guess:
    """Of all meshes of a printed train together; one has about 0.85."""
    low, value, high = (round(each ** _meshes(ratio), 2) for each in (0.75, 0.85, 0.93))
    return low, value, high


def _converter(doc: Any, kind: str, sure: bool) -> None:
    out, start, stop, most, _ = _CONVERTERS[kind]
    _section(doc, "converter", [
        ("kind", kind, "" if sure else "assumed; boost, buck, buck_boost or linear"),
        ("out_v", _assumed(*out), "measured with nothing connected"),
        ("start_v", _assumed(*start), "input at which the output appears"),
        ("stop_v", _assumed(*stop), "input at which, loaded, it goes"),
        ("max_in_v", _assumed(*most), "the data sheet's recommended maximum"),
        ("input_limit_a", _typical("converter", "input_limit_a"), "most current it takes"),
        ("disconnects_when_disabled", False, "true only if its data sheet says so"),
    ])


def _load_values(kind: Any) -> list[tuple[str, Any, str]]:
    if kind == "resistor":
        return [("resistance_ohm", _assumed(5, 10, 20), "read it with the meter")]
    return []


def _suiting_ratio(kind: str, volts: float, rpm: float, ohm: float, motors: int) -> float:
    """The ratio whose EMF at an easy pace leaves the converter its likely volts at 3 W,
    after the warm windings, the brushes and one diode."""
    bus_v = _CONVERTERS[kind][4]
    emf_v = bus_v + 3.0 / bus_v * ohm * motors * 1.15 + 0.35 + 0.2 * motors
    v_per_rpm = 0.95 * volts / rpm * motors
    return float(min(max(round(emf_v / (v_per_rpm * _PACE_TPM)), 1), 100))
