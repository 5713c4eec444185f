"""One value of a rig file, checked against its `Spec`.

A number may be plain (given), or say where it comes from:

    terminal_ohm = 2.3
    terminal_ohm = { given = 2.3, tolerance_percent = 10 }
    terminal_ohm = { measured = 2.31, low = 2.2, high = 2.4, on = 2026-03-01 }
    terminal_ohm = { assumed = 2.3, low = 1.5, high = 4 }

`low` and `high` may be left out of an assumed value: the class's own range is
then widened to contain it, or, where there is none, half to twice is taken.
"""

from __future__ import annotations

import datetime
import difflib
import math
import re
from dataclasses import dataclass
from typing import Any

from steadyturn.rig import other_words
from steadyturn.rig.types import Origin, Spec
from steadyturn.rig.units import plain

FORMS = ("measured", "assumed", "given")
_ALLOWED = {"given": ("given", "tolerance_percent", "note"),
            "measured": ("measured", "low", "high", "on", "note"),
            "assumed": ("assumed", "low", "high", "note")}
_MOST_PERCENT = 90
_MEASURED_FORM = "{ measured = 2.31, low = 2.2, high = 2.4, on = 2026-03-01 }"


@dataclass(frozen=True, slots=True)
class Fault:
    """Why a value cannot be used. sub: the key inside { } that is meant, or ""."""

    right: str
    how: str = ""
    value: str = ""
    sub: str = ""


def shown(value: Any) -> str:
    """A value as the file has it, short enough for a line."""
    if isinstance(value, bool):
        text = "true" if value else "false"
    elif isinstance(value, str):
        text = '"' + "".join(c if c.isprintable() else ascii(c)[1:-1] for c in value[:99]) + '"'
    elif isinstance(value, dict):
        inner = ", ".join(f"{k} = {shown(v)}" for k, v in list(value.items())[:5])
        text = "{ " + inner + " }"
    elif isinstance(value, list):
        text = "[" + ", ".join(shown(v) for v in value[:5]) + "]"
    elif isinstance(value, int):
        # Python refuses to write out an int of more than some thousand digits
        text = str(value) if abs(value) < 10**40 else "a number of more than 40 digits"
    else:
        text = str(value)
    return text if len(text) <= 60 else text[:57] + "..."


def read(spec: Spec, raw: Any) -> tuple[Any, Origin | None, list[Fault]]:
    """The value in SI, its origin (numbers only) and everything wrong with it."""
    if spec.type == "number":
        return _number(spec, raw)
    value, faults = {"whole": _whole, "text": _text, "flag": _flag, "choice": _choice}[
        spec.type
    ](spec, raw)
    return value, None, faults


def assumed(spec: Spec) -> Origin | None:
    """Where a number that was left out comes from; None if it has no typical value."""
    if spec.type != "number" or spec.typical is None:
        return None
    low, value, high = (x * spec.scale for x in spec.typical)
    return Origin("assumed", value, low, high, spec.source)


# ------------------------------------------------------------------------ numbers


def _number(spec: Spec, raw: Any) -> tuple[float | None, Origin | None, list[Fault]]:
    if not isinstance(raw, dict):
        value, faults = _plain_number(spec, raw)
        if faults:
            return None, None, faults
        si = value * spec.scale
        return si, Origin("given", si, si, si), []
    forms = [form for form in FORMS if form in raw]
    if len(forms) != 1:
        return None, None, [Fault(
            "a number, or where it comes from: { given = ... }, { measured = ... } or "
            "{ assumed = ... }.",
            f"For example {spec.key} = {_MEASURED_FORM}", shown(raw))]
    form = forms[0]
    faults = _form_faults(form, raw)
    bounds: dict[str, float] = {}
    for name in (form, "low", "high"):
        if name in raw:
            number, wrong = _plain_number(spec, raw[name])
            faults += [Fault(f.right, f.how, f.value, name) for f in wrong]
            if not wrong:
                bounds[name] = number
    if faults:
        return None, None, faults
    if form == "given":
        share = raw["tolerance_percent"] / 100 if "tolerance_percent" in raw else None
        si = bounds[form] * spec.scale
        return si, Origin("given", si, si, si, _note(raw), share), []
    if form == "measured" and not {"low", "high"} <= bounds.keys():
        return None, None, [Fault(
            "a measured value comes with its interval.",
            "Read it several times; write the lowest and the highest as low and high, or, of "
            f"one reading, what the meter's manual allows: {_MEASURED_FORM}", shown(raw))]
    value = bounds[form]
    low, high = _interval(spec, value, bounds)
    if not low <= value <= high:
        return None, None, [Fault(
            f"low, {form} and high stand in this order, not {plain(low)}, {plain(value)}, "
            f"{plain(high)}.", "The interval is where the true value is believed to lie.",
            shown(raw))]
    origin = Origin(
        "measured" if form == "measured" else "assumed",
        value * spec.scale, low * spec.scale, high * spec.scale, _note(raw),
    )
    return origin.value, origin, []


def _interval(spec: Spec, value: float, bounds: dict[str, float]) -> tuple[float, float]:
    """low and high in the file's unit: as written, else the class's range widened."""
    if spec.typical is not None:
        low, _, high = spec.typical
    else:
        low, high = max(spec.low, value / 2), min(spec.high, value * 2)
    return bounds.get("low", min(low, value)), bounds.get("high", max(high, value))


def _form_faults(form: str, raw: dict[str, Any]) -> list[Fault]:
    faults = []
    allowed = _ALLOWED[form]
    for name, value in raw.items():
        if name not in allowed:
            near = difflib.get_close_matches(name, allowed, n=1)
            meant = f" Did you mean '{near[0]}'?" if near else ""
            faults.append(Fault(f"beside '{form}' there may be {', '.join(allowed[1:])}.{meant}",
                                "", shown(value), name))
    if "tolerance_percent" in raw and form == "given":
        percent = raw["tolerance_percent"]
        plain_number = isinstance(percent, int | float) and not isinstance(percent, bool)
        if not (plain_number and 0 <= percent <= _MOST_PERCENT):
            faults.append(Fault(
                f"0 to {_MOST_PERCENT} %, without quotes.",
                "95 % of specimens lie within so much of the value, either way.", shown(percent),
                "tolerance_percent"))
    if "on" in raw and form == "measured" and not isinstance(raw["on"], datetime.date):
        faults.append(Fault("a date.", "Write it without quotes: on = 2026-03-01",
                            shown(raw["on"]), "on"))
    if "note" in raw and not (isinstance(raw["note"], str) and len(raw["note"]) <= 200):
        faults.append(Fault("text of at most 200 characters.", "", shown(raw["note"]), "note"))
    return faults


def _note(raw: dict[str, Any]) -> str:
    on = raw.get("on")
    parts = [f"on {on.isoformat()[:10]}" if on else "", raw.get("note", "")]
    return "; ".join(part for part in parts if part)


def _plain_number(spec: Spec, raw: Any) -> tuple[float, list[Fault]]:
    """A bare number in the file's unit, in range."""
    if isinstance(raw, bool) or not isinstance(raw, int | float):
        return 0.0, [Fault(f"a number{_in(spec)}.", _how_number(spec, raw), shown(raw))]
    try:
        value = float(raw)
    except OverflowError:
        value = math.inf
    if not spec.low <= value <= spec.high:  # also true of nan
        return 0.0, [Fault(range_text(spec) + "." + _slip(spec, value), spec.how, shown(raw))]
    return value, []


def _in(spec: Spec) -> str:
    return f" in {spec.unit}" if spec.unit else ""


def range_text(spec: Spec) -> str:
    """The accepted range in words: "0.05 to 300 ohm"."""
    if spec.unit == "RGB":
        return f"0x{int(spec.low):06X} to 0x{int(spec.high):06X}"
    unit = f" {spec.unit}" if spec.unit else ""
    return f"{plain(spec.low)} to {plain(spec.high)}{unit}"


def _how_number(spec: Spec, raw: Any) -> str:
    if isinstance(raw, bool):
        return spec.how
    if isinstance(raw, str):
        found = re.fullmatch(r"\s*([-+]?\d+(?:[.,]\d+)?)\s*(.*?)\s*", raw)
        if found and not found[2]:
            return f"Write it without quotes: {spec.key} = {found[1].replace(',', '.')}"
        if found:
            if_unit = f" if that is in {spec.unit}" if spec.unit else ""
            return ("Write only the number, in the unit that ends the key: "
                    f"{spec.key} = {found[1].replace(',', '.')}{if_unit}")
    if isinstance(raw, list):
        return f"One number, without brackets. {spec.how}".strip()
    return spec.how


def _slip(spec: Spec, value: float) -> str:
    """A hint where the value would fit a thousand times larger or smaller."""
    if not math.isfinite(value) or value <= 0:
        return ""
    low, _, high = spec.typical or (spec.low, 0, spec.high)
    for factor, word in ((1000.0, "a thousand times too small"),
                         (0.001, "a thousand times too large")):
        if max(low, spec.low) <= value * factor <= min(high, spec.high) and spec.unit:
            return (f" Is it {word}? {plain(value * factor)} {spec.unit} would fit;"
                    " mind the unit the meter shows.")
    return ""


# -------------------------------------------------------------- everything else


def _whole(spec: Spec, raw: Any) -> tuple[int | None, list[Fault]]:
    low, high = int(spec.low), int(spec.high)
    right = f"a whole number from {low} to {high}."
    if spec.unit == "RGB":
        right = f"a colour from {range_text(spec)}."
    if isinstance(raw, bool) or not isinstance(raw, int | float):
        how = ""
        if isinstance(raw, str) and re.fullmatch(r"\s*\d{1,9}\s*", raw):
            how = f"Write it without quotes: {spec.key} = {int(raw)}"
        elif isinstance(raw, dict):
            how = "It is counted, not measured: write the plain number."
        return None, [Fault(right, how or spec.how, shown(raw))]
    if isinstance(raw, float):
        how = f"Write {spec.key} = {raw:.0f}" if raw.is_integer() and abs(raw) < 1e9 else spec.how
        return None, [Fault(right, how, shown(raw))]
    if not low <= raw <= high:
        return None, [Fault(right, spec.how, shown(raw))]
    return raw, []


def _text(spec: Spec, raw: Any) -> tuple[str | None, list[Fault]]:
    most = int(spec.high)
    if not isinstance(raw, str):
        return None, [Fault(f"text of at most {most} characters, in quotes.",
                            f'Write {spec.key} = "{shown(raw)[:most]}"'
                            if isinstance(raw, int | float) else "", shown(raw))]
    # names go to the board: plain printable ASCII; a note stays on the host
    fit = raw.isprintable() and (raw.isascii() or spec.key == "note")
    if len(raw) > most or not fit:
        return None, [Fault(f"at most {most} characters: letters without accents, digits, "
                            "spaces and signs.", f"It has {len(raw)}."
                            if len(raw) > most else "The board stores plain ASCII.", shown(raw))]
    return raw, []


def _flag(spec: Spec, raw: Any) -> tuple[bool | None, list[Fault]]:
    if isinstance(raw, bool):
        return raw, []
    words = {"true": "true", "yes": "true", "on": "true", "1": "true",
             "false": "false", "no": "false", "off": "false", "0": "false"}
    meant = words.get(str(raw).strip().lower()) if isinstance(raw, str | int) else None
    how = f"Write {spec.key} = {meant}" if meant else spec.how
    return None, [Fault("true or false, without quotes.", how, shown(raw))]


def _choice(spec: Spec, raw: Any) -> tuple[str | None, list[Fault]]:
    if isinstance(raw, str) and raw in spec.choices:
        return raw, []
    right = "one of " + ", ".join(f'"{c}"' for c in spec.choices) + "."
    how = spec.how
    if isinstance(raw, str):
        near = other_words.near(raw, spec.choices)
        if near:
            how = f'Did you mean "{near}"?'
    return None, [Fault(right, how, shown(raw))]
