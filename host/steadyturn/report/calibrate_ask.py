"""The words of a guided calibration."""

from __future__ import annotations

import math
import sys
from typing import Any

from steadyturn.report.calibrate_words import FIGURE, NAMES, PLACE, POINTS
from steadyturn.report.style import columns, item, wrap

DRAW_S = 0.2  # between figures: faster nobody reads them
CAUTION = ("The phone stays unplugged. What you touch may be at the motors' full volts: one hand, "
           "no rings, and the meter's leads on before the handle turns.")


def opening(rig: str, shown: str) -> str:
    """What is said before the first question. shown: what is in force."""
    return "\n".join([
        shown.rstrip("\n"), "",
        wrap(f"Correcting the readings of '{rig}' by a multimeter. Enter goes on, Ctrl-C ends; "
             "nothing is written before you have seen it and said yes."),
        item(CAUTION, mark="! ", indent=""), ""])


def which(offered: dict[str, str], begun: bool) -> str:
    """The question for a quantity, without its last line's end."""
    lines = ["Which reading?", *(f"  {key:<3} {NAMES[name]}" for key, name in offered.items())]
    return "\n".join(lines) + f"\n(Enter: {'see what it comes to' if begun else 'end'}) > "


def place(name: str) -> str:
    """Where the meter goes, and how to get two points."""
    return "\n".join(["", item(PLACE[name], mark="- ", indent=""),
                      item(POINTS[name], mark="- ", indent=""), ""])


def ready(count: int) -> str:
    more = "" if not count else ", d: done with this reading"
    return f"Point {count + 1}. Keep it steady, and press Enter{more}. "


def mean(found: Any, unit: str) -> str:
    """What the board read."""
    milli = f"m{unit}"
    said = f"  The board: {found.value:.3f} {unit}, it wandered by {1000 * found.wandered:.1f} " \
           f"{milli}."
    if not found.steady:
        said += "\n" + wrap("That is not steady; no hand is for long. Cells or a power bank in "
                            "place of the motors are (of a virtual board: twin --person points). "
                            "Enter alone: take it again. Or type the meter's average all the "
                            "same; the correction is then known less well.", indent="  ")
    return said


def figure(found: Any, unit: str, wrong: str) -> str:
    """The question for the meter's figure."""
    if wrong:
        return wrap(f"Not that: {wrong}", indent="  ") + "\n  > "
    return wrap(FIGURE[unit] + "(Enter: take the point again)", indent="  ") + "\n  > "


def kept(options: list[str]) -> str:
    """The points so far, as options to go on with."""
    return "\n" + wrap("What you had, to go on with:") + "\n  steadyturn calibrate " + \
        " \\\\\n    ".join(options) + "\n"


class Live:
    """The board's reading while it is averaged, on stderr; at no terminal nothing."""

    def __init__(self, unit: str) -> None:
        self.unit = unit
        self._draws = sys.stderr.isatty()
        self._drawn_s = math.inf

    def __call__(self, value: float, left_s: float) -> None:
        if self._draws and self._drawn_s - left_s >= DRAW_S:
            self._drawn_s = left_s
            line = f"  {value:7.3f} {self.unit}   read the meter now, {left_s:.1f} s"
            sys.stderr.write("\r" + line[: columns() - 1].ljust(columns() - 1))
            sys.stderr.flush()

    def end(self) -> None:
        if self._draws:
            sys.stderr.write("\r" + " " * (columns() - 1) + "\r")
            sys.stderr.flush()
