"""The text of a new rig file: what was answered as given, the rest as assumed.

The figures for "don't know" are those of common small parts (common practice, no
source); each is written with a range and a comment on how to measure it.
"""

from __future__ import annotations

import difflib
import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import tomlkit
from tomlkit.items import InlineTable

from steadyturn.rig.types import PARTS, Spec, specs
from steadyturn.rig.units import plain
from steadyturn.rig.values import range_text

Guess = tuple[float, float, float]  # low, value, high


@dataclass(frozen=True, slots=True)
class Question:
    """name: in Answers; ask: put to the person; how: shown where an answer is wrong."""

    name: str
    option: str
    ask: str
    type: str  # "number", "whole" or "choice"
    low: float = 0
    high: float = 0
    unit: str = ""
    choices: tuple[str, ...] = ()
    how: str = ""


def _spec(section: str, key: str) -> Spec:
    return next(s for s in specs(PARTS[section]).values() if s.key == key)


def _asked(name: str, option: str, ask: str, section: str, key: str, how: str = "") -> Question:
    spec = _spec(section, key)
    return Question(name, option, ask, spec.type, spec.low, spec.high, spec.unit, spec.choices,
                    how or spec.how)


QUESTIONS: tuple[Question, ...] = (
    _asked("motor_volts", "--motor-volts", "Volts on the motor's nameplate", "motor", "rated_v"),
    _asked("motor_rpm", "--motor-rpm", "Its turns a minute at those volts, running free",
           "motor", "no_load_rpm"),
    _asked("motor_ohm", "--motor-ohm", "Ohms between its terminals, shaft held still",
           "motor", "terminal_ohm"),
    _asked("motors", "--motors", "How many such motors in series on one gear", "bank", "series",
           "Their volts add; count the motors that turn together."),
    Question("ratio", "--ratio", "Turns of the motor for one turn of the handle", "number",
             0.5, 100, "", (), "Teeth driven by the handle's side over teeth of the other, "
             "multiplied over all stages: 60/12 and 48/12 make 20."),
    _asked("converter", "--converter", "Kind of converter", "converter", "kind",
           "A boost only raises, a buck and a linear only lower, a buck_boost does both."),
    _asked("load", "--load", "What is charged", "load", "kind"),
    _asked("board", "--board", "Board", "board", "kind"),
)

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
    """stem: the file's name without its ending; values: by question's name."""

    stem: str
    values: Mapping[str, float | int | str]


def parse(question: Question, answer: str) -> float | int | str | None:
    """An answer's value; None for "don't know" (nothing, or ?). ValueError says what is right."""
    text = answer.strip()
    if text.lower() in ("", "?", "don't know", "dont know"):
        return None
    if question.type == "choice":
        tidy = text.lower().replace("-", "_").replace(" ", "_")
        if tidy in question.choices:
            return tidy
        near = difflib.get_close_matches(tidy, question.choices, n=1)
        meant = f" Did you mean {near[0]}?" if near else ""
        raise ValueError(f"one of {', '.join(question.choices)}.{meant}")
    spec = Spec(key=question.name, unit=question.unit, low=question.low, high=question.high)
    try:
        value = float(text.replace(",", "."))
    except ValueError:
        raise ValueError(f"a number, {range_text(spec)}, without its unit.") from None
    if not question.low <= value <= question.high:
        raise ValueError(f"{range_text(spec)}.")
    if question.type == "whole":
        if not value.is_integer():
            raise ValueError(f"a whole number, {range_text(spec)}.")
        return int(value)
    return value


# -------------------------------------------------------------------------- the text


def text_of(answers: Answers) -> str:
    """A commented rig file that reads back without a problem."""
    known = answers.values
    kind = str(known.get("converter", "buck_boost"))
    volts = float(known.get("motor_volts", 12.0))
    rpm = float(known.get("motor_rpm", 5000.0))
    ohm = float(known.get("motor_ohm", _likely_ohm(volts)))
    motors = int(known.get("motors", 1))
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
        ("no_load_a", _value("motor", "no_load_a", None, _likely_no_load(volts, ohm)),
         "the current then"),
        ("terminal_ohm", _value("motor", "terminal_ohm", known.get("motor_ohm"),
                                (ohm / 3, ohm, ohm * 3)),
         "shaft held still, several positions; subtract the leads"),
    ], after="Better than the nameplate: spin the shaft with a drill of known speed and write\n"
             "emf_v_per_krpm, the volts with nothing connected per 1000 turns/min.")
    _section(doc, "bank", [("series", motors, "motors on one gear, their volts added"),
                           ("mount_max_c", _assumed(50, 75, 80), "printed in PETG; PLA: 55")])
    _stage(doc, known.get("ratio"), _suiting_ratio(kind, volts, rpm, ohm, motors))
    _converter(doc, kind, "converter" in known)
    _section(doc, "switch", [("place", "bus_switch", "enable, bus_switch or output_switch")])
    _section(doc, "protection", [], after=(
        "What is fitted and works without the firmware; take out the # of what you have:\n"
        "output_cut_v = 5.45   # cuts the output above this\n"
        "bus_cut_v = 20        # cuts the bus\n"
        "bus_clamp_v = 20      # holds the bus below this"))
    _section(doc, "load", [("kind", str(known.get("load", "phone")), ""),
                           *_load_values(known.get("load"))])
    _section(doc, "sensor", [("chip", "ina226", "or ina219, ina3221"),
                             ("shunt_mohm", 50, "R050 is printed on it"),
                             ("alert_wired", False, "true once its alert pin is wired")])
    _section(doc, "board", [("kind", str(known.get("board", "pico")), ""),
                            ("lamp", "led", "led, two_led, rgb, piezo or vibration")])
    return tomlkit.dumps(doc).rstrip("\n") + "\n"


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
    spec = _spec(section, key)
    low, value, high = (min(max(g, spec.low), spec.high) for g in guess)
    return _assumed(low, value, high)


def _assumed(low: float, value: float, high: float) -> InlineTable:
    table = tomlkit.inline_table()
    table.update({"assumed": _tidy(value), "low": _tidy(min(low, value)),
                  "high": _tidy(max(high, value))})
    return table


def _tidy(value: float) -> float | int:
    number = float(plain(value))
    return int(number) if number.is_integer() else number


def _stage(doc: Any, known: Any, suiting: float) -> None:
    ratio = float(known) if known is not None else suiting
    # printed stages make up to about 6:1 each; the efficiency of one is about 0.85
    meshes = max(1, math.ceil(math.log(max(ratio, 1.01)) / math.log(6.3)))
    efficiency = _assumed(round(0.75**meshes, 2), round(0.85**meshes, 2), round(0.93**meshes, 2))
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


def _converter(doc: Any, kind: str, sure: bool) -> None:
    out, start, stop, most, _ = _CONVERTERS[kind]
    _section(doc, "converter", [
        ("kind", kind, "" if sure else "assumed; boost, buck, buck_boost or linear"),
        ("out_v", _assumed(*out), "measured with nothing connected"),
        ("start_v", _assumed(*start), "input at which the output appears"),
        ("stop_v", _assumed(*stop), "input at which, loaded, it goes"),
        ("max_in_v", _assumed(*most), "the data sheet's recommended maximum"),
        ("input_limit_a", _assumed(1, 1.5, 3), "most current it takes"),
        ("disconnects_when_disabled", False, "true only if its data sheet says so"),
    ])


def _load_values(kind: Any) -> list[tuple[str, Any, str]]:
    if kind == "resistor":
        return [("resistance_ohm", _assumed(5, 10, 20), "read it with the meter")]
    return []


def _likely_ohm(volts: float) -> float:
    """A small motor of 12 V has about 3 ohm; at equal power ohms go with volts squared."""
    return max(0.3, 3 * (volts / 12) ** 2)


def _likely_no_load(volts: float, ohm: float) -> Guess:
    """Running free takes about 3 % of the stall current, V / R."""
    a = min(max(0.03 * volts / ohm, 0.002), 2.0)
    return a / 2.5, a, a * 2.5


def _suiting_ratio(kind: str, volts: float, rpm: float, ohm: float, motors: int) -> float:
    """The ratio whose EMF at an easy pace leaves the converter its likely volts at 3 W,
    after the warm windings, the brushes and one diode."""
    bus_v = _CONVERTERS[kind][4]
    emf_v = bus_v + 3.0 / bus_v * ohm * motors * 1.15 + 0.35 + 0.2 * motors
    v_per_rpm = 0.95 * volts / rpm * motors
    return float(min(max(round(emf_v / (v_per_rpm * _PACE_TPM)), 1), 100))
