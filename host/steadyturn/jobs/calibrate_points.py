"""Points of a calibration as they are typed: 5.02=5.07, 412mA=0.40A, 412mA=4.01V/10ohm, 0mA=none.
And the meter's class: 0.5+2/6000."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from steadyturn.bench import correction_file
from steadyturn.bench.correction import Point
from steadyturn.bench.readings import Meter
from steadyturn.errors import Problem, WrongInput

UNITS = {"V": {"V": 1.0, "mV": 1e-3, "": 1.0}, "A": {"A": 1.0, "mA": 1e-3, "": 1.0}}
MOST = {"V": 200_000.0, "A": 100_000.0}  # mV typed as V are named later
UNIT = {"volts": "V", "amps": "A", "out_volts": "V", "out_amps": "A"}
NOTHING = ("none", "nothing", "n")
_FIGURE = re.compile(r"([-+]?(?:\d+(?:[.,]\d*)?|[.,]\d+))\s*(mV|V|mA|A)?", re.I)
_OHM = re.compile(r"(\d+(?:[.,]\d*)?|[.,]\d+)\s*(?:ohms?|r)?", re.I)
_METER = re.compile(r"(\d+(?:[.,]\d+)?)\s*%?(?:\s*\+\s*(\d+))?(?:\s*/\s*(\d+))?")


def figure(text: str, unit: str) -> float | str:
    """V or A; or what is wrong with it, as a sentence."""
    found = _FIGURE.fullmatch(text.strip())
    if found is None:
        return f"a figure such as {'5.07, 5.07V or 5070mV' if unit == 'V' else '0.4, 400mA'}."
    given = (found[2] or "").lower()
    factor = {name.lower(): by for name, by in UNITS[unit].items()}.get(given)
    if factor is None:
        return f"{'volts' if unit == 'V' else 'amperes'} are compared here."
    value = float(found[1].replace(",", ".")) * factor
    if not math.isfinite(value) or abs(value) > MOST[unit]:
        return f"at most {MOST[unit]:g} {unit}."
    return value


def meter_figure(text: str, board: Point, unit: str) -> Point | str:
    """The point with what the meter says: a figure, volts over ohms for a current, or none."""
    if unit == "A":
        if text.strip().lower() in NOTHING:
            return replace(board, nothing=True, meter=0.0)
        volts, slash, ohms = text.partition("/")
        if slash:
            across, ohm = figure(volts, "V"), _OHM.fullmatch(ohms.strip())
            if isinstance(across, str) or ohm is None:
                return "volts over ohms such as 4.01V/10ohm."
            size = float(ohm[1].replace(",", "."))
            if not 0.05 <= size <= 100_000:
                return "a resistor of 0.05 to 100000 ohm."
            return replace(board, meter=across, ohm=size)
    value = figure(text, unit)
    return value if isinstance(value, str) else replace(board, meter=value)


def point(text: str, option: str, unit: str) -> Point:
    """BOARD=METER. Raises WrongInput."""
    left, equals, right = text.partition("=")
    board = figure(left, unit) if equals else "BOARD=METER: what each of the two showed."
    made = board if isinstance(board, str) else meter_figure(
        right, Point(board=board, meter=0.0), unit)
    if isinstance(made, str):
        example = "5.02=5.07" if unit == "V" else "0.412=0.40, 412mA=4.01V/10ohm or 0mA=none"
        raise WrongInput(Problem(option, "", text, made, f"For example {option} {example}"))
    return made


def meter_class(text: str | None, amp_percent: float | None, base: Meter | None = None) -> Meter:
    """PERCENT[+DIGITS][/COUNTS] as in a meter's sheet. Raises WrongInput."""
    meter = base or Meter()
    if text is not None:
        found = _METER.fullmatch(text.strip())
        share = float(found[1].replace(",", ".")) if found else -1.0
        digits = int(found[2]) if found and found[2] else meter.digits
        counts = int(found[3]) if found and found[3] else meter.counts
        if not (0 <= share <= 10 and digits <= 50 and 1000 <= counts <= 100_000):
            raise WrongInput(Problem(
                "--meter", "", text, "PERCENT+DIGITS/COUNTS of its volts, as in its sheet.",
                "For example --meter 0.5+2/6000"))
        meter = replace(meter, percent=share / 100, digits=digits, counts=counts)
    if amp_percent is not None:
        if not 0 <= amp_percent <= 20:
            raise WrongInput(Problem("--meter-amps", "", f"{amp_percent:g}", "0 to 20 percent."))
        meter = replace(meter, amp_percent=amp_percent / 100)
    return meter


def given(
    typed: Mapping[str, Sequence[str]], file: Path | None, meter: str | None,
    amp_percent: float | None,
) -> tuple[Meter, correction_file.Points]:
    """Meter and points of options and file. typed: quantity -> BOARD=METER texts."""
    base, points = correction_file.read_points(file) if file is not None else (None, {})
    for name, texts in typed.items():
        option = "--" + name.replace("_", "-")
        points[name] = points.get(name, ()) + tuple(
            point(text, option, UNIT[name]) for text in texts)
    return meter_class(meter, amp_percent, base), {k: v for k, v in points.items() if v}


def of_mean(mean: Any, name: str) -> Point:
    """The board's half of a point (calibrate_board.Mean)."""
    return Point(board=mean.value, meter=0.0, scatter=mean.wandered,
                 amps=mean.amps if name == "volts" else None,
                 out_v=mean.out_volts if name == "volts" else None)


def typed(name: str, one: Point) -> str:
    """A point as the option that gives it again.

    >>> typed("amps", Point(board=0.412, meter=4.01, ohm=10.0))
    '--amps 0.4120=4.01V/10ohm'
    """
    meter = "none" if one.nothing else f"{one.meter:g}" if one.ohm is None else (
        f"{one.meter:g}V/{one.ohm:g}ohm")
    return f"--{name.replace('_', '-')} {one.board:.4f}={meter}"
