"""The questions of `new`, and what an answer means."""

from __future__ import annotations

import re
from dataclasses import dataclass
from math import prod

from steadyturn.rig import other_words
from steadyturn.rig.types import PARTS, Spec, specs
from steadyturn.rig.units import SUFFIXES, convert, plain
from steadyturn.rig.values import range_text

_NUMBER = r"\d+(?:[.,]\d+)?"
_WITH_UNIT = re.compile(rf"([-+]?{_NUMBER})\s*([^\d\s].*)")
_PAIR = re.compile(rf"({_NUMBER})\s*[:/]\s*({_NUMBER})")
_BETWEEN = re.compile(r"[\sx*,;]|and|\N{MULTIPLICATION SIGN}")  # of several pairs
_TURNS = ("turns/min", "rev/min", "1/min", "u/min", "r/min", "turns a minute")


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
    example: str = ""  # shown in place of the range


def spec_of(section: str, key: str) -> Spec:
    """What a rig file may say for a key."""
    return next(s for s in specs(PARTS[section]).values() if s.key == key)


def _asked(name: str, option: str, ask: str, section: str, key: str, how: str = "") -> Question:
    spec = spec_of(section, key)
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
             0.5, 100, "", (), "For example 60/12 and 48/12, or 20 (motor turns for one of the "
             "handle).", "60/12 and 48/12, or 20"),
    _asked("converter", "--converter", "Kind of converter", "converter", "kind",
           "A boost only raises (step-up), a buck and a linear only lower (step-down), a "
           "buck_boost does both."),
    _asked("load", "--load", "What is charged", "load", "kind"),
    _asked("board", "--board", "Board", "board", "kind"),
)


def parse(question: Question, answer: str) -> float | int | str | None:
    """An answer's value; None for "don't know" (nothing, or ?). ValueError says what is right."""
    text = answer.strip()
    if text.lower() in ("", "?", "don't know", "dont know"):
        return None
    if question.type == "choice":
        return _choice(question, text)
    spec = Spec(key=question.name, unit=question.unit, low=question.low, high=question.high)
    value = _ratio(text) if question.name == "ratio" else _in_unit(text, question.unit)
    if value is None:
        raise ValueError(f"a number, {range_text(spec)}.")
    if not question.low <= value <= question.high:
        raise ValueError(f"{range_text(spec)}.")
    if question.type == "whole":
        if not value.is_integer():
            raise ValueError(f"a whole number, {range_text(spec)}.")
        return int(value)
    return value


def read_back(question: Question, answer: str) -> str:
    """How an answer was understood where that is not plain; "" where it is, or is wrong.

    >>> ratio = next(q for q in QUESTIONS if q.name == "ratio")
    >>> read_back(ratio, "1:20"), read_back(ratio, "20")
    ('20 motor turns for one of the handle', '')
    """
    text = answer.strip()
    try:
        value = parse(question, text)
    except ValueError:
        return ""
    if value is None:
        return ""
    if isinstance(value, str):
        return value if other_words.tidy(text) != value else ""
    if re.fullmatch(_NUMBER, text):
        return ""
    if question.name == "ratio":
        return f"{plain(value)} motor turns for one of the handle"
    return f"{plain(value)} {question.unit}".rstrip()


def _choice(question: Question, text: str) -> str:
    found = other_words.meant(text, question.choices)
    if found:
        return found
    near = other_words.near(text, question.choices)
    raise ValueError(f"one of {', '.join(question.choices)}."
                     + (f" Did you mean {near}?" if near else ""))


def _plain(text: str) -> float | None:
    try:
        return float(text.replace(",", "."))
    except ValueError:
        return None


def _in_unit(text: str, unit: str) -> float | None:
    """A number, bare or with a unit of the same kind, in `unit`; None for anything else."""
    found = None if _plain(text) is not None else _WITH_UNIT.fullmatch(text)
    if found is None:
        return _plain(text)
    said = found[2].strip().lower().replace("\N{GREEK SMALL LETTER OMEGA}", "ohm").rstrip(".")
    if said in _TURNS:
        said = "rpm"
    value = _plain(found[1])
    if value is None or said not in SUFFIXES:
        return None
    return convert(value, said, unit.lower())


def _ratio(text: str) -> float | None:
    """20, 1:20, 20:1, 60/12, 60/12 and 48/12: the motor turns faster, however it is written."""
    pairs = [(float(a.replace(",", ".")), float(b.replace(",", "."))) for a, b in
             _PAIR.findall(text)]
    if not pairs:
        return _plain(text)
    if _BETWEEN.sub("", _PAIR.sub("", text)) or not all(a > 0 and b > 0 for a, b in pairs):
        return None
    ratio = prod(a / b for a, b in pairs)
    return ratio if ratio >= 1 else 1 / ratio
