"""Volts over handle speed as a small text picture."""

from __future__ import annotations

from math import isnan
from typing import Any

from steadyturn.report.style import WIDTH

ROWS = 13
LEFT = 7  # width of the volts' column
UNIT = "  turns/min"


def picture(result: Any) -> list[str]:
    """At most 80 columns. `o` loaded, `x` loaded but beyond the arm's limit, `!` the
    converter no longer limits the voltage, `.` nothing connected, `-` the window's ends;
    below: the band with its target."""
    curve = result.curve
    top = _top([v for v in (*curve.loaded_v, *curve.open_v) if not isnan(v)])
    grid = [[" "] * len(curve.pace_tpm) for _ in range(ROWS)]

    def row(volts: float) -> int:
        return ROWS - 1 - round(volts / top * (ROWS - 1))

    for volts in result.window_v:
        if volts <= top:
            grid[row(volts)] = ["-"] * len(curve.pace_tpm)
    for column, volts in enumerate(curve.open_v):
        grid[row(volts)][column] = "."
    for column, volts in enumerate(curve.loaded_v):
        if not isnan(volts):
            mark = "o"
            if curve.too_heavy[column]:
                mark = "x"
            if curve.passing[column]:
                mark = "!"
            grid[row(volts)][column] = mark
    lines = ["  V at the converter's input"]
    for number, cells in enumerate(grid):
        volts = top * (ROWS - 1 - number) / (ROWS - 1)
        label = f"{volts:.1f}".rjust(LEFT - 2) if number % 3 == 0 else " " * (LEFT - 2)
        lines.append((label + " |" + "".join(cells)).rstrip())
    lines += _axis(result)
    return lines


def _top(volts: list[float]) -> float:
    """A round number above every volt shown, so that labels come out short."""
    highest = max(volts, default=1.0) or 1.0
    step = 0.4 if highest < 8 else 2.0
    return max(step, step * -(-highest // step))


def _axis(result: Any) -> list[str]:
    paces = result.curve.pace_tpm
    last = paces[-1]
    columns = len(paces)

    def column(pace: float) -> int:
        return min(columns - 1, max(0, round(pace / last * (columns - 1))))

    rule = ["-"] * columns
    if result.feasible:
        for i in range(column(result.low_tpm), column(result.high_tpm) + 1):
            rule[i] = "="
        rule[column(result.target_tpm)] = "T"
    indent = " " * LEFT
    labels = [" "] * (columns + 6)
    step = next(s for s in (20, 50, 100, 200, 500, 1000) if last <= 8 * s or s == 1000)
    for pace in range(0, int(last) + 1, step):
        begin = min(column(pace), WIDTH - len(indent + str(pace) + UNIT))
        labels[begin : begin + len(str(pace))] = str(pace)
    key, more = ["o loaded", ". nothing connected", "- the window's ends"], []
    if any(result.curve.too_heavy):
        more.append("x beyond the arm")
    if any(result.curve.passing):
        more.append("! not limited")
    if len(more) == 1:  # both do not fit on the line
        key, more = key + more, []
    found = [" " * (LEFT - 1) + "+" + "".join(rule),
             (indent + "".join(labels)).rstrip() + UNIT,
             indent + ", ".join(key)]
    if more:
        found.append(indent + ", ".join(more))
    if result.feasible:
        found.append(f"{indent}= the band, T the best pace")
    if not any(result.curve.too_heavy):
        found.append(f"{indent}the arm's limit is not reached in this picture")
    return found
