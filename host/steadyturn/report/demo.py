"""The demo's screen: headings, the outing as it happens, the closing comparison."""

from __future__ import annotations

import sys
from typing import Any

from steadyturn.report.style import (
    WIDTH,
    duration,
    fill,
    number,
    quantity,
    scale,
    table,
    wrap,
)

SPOKES = "|/-\\"


def heading(step: str, command: str) -> str:
    """A step of the job and the command that does it by hand."""
    line = f"== {step} "
    tail = f" {command}" if command else ""
    return "\n" + line + "=" * max(2, WIDTH - len(line) - len(tail)) + tail + "\n"


def board_text(port: str | None) -> str:
    if port is None:
        return "A virtual board without a serial port: the firmware runs on CPython.\n"
    return wrap(
        f"A virtual board on {port}: the real firmware on the real MicroPython, wired to the "
        "physics of this rig. It is new, so everything must be written."
    ) + "\n"


def time_text() -> str:
    return wrap(
        "Nobody waits here: the virtual board's time runs much faster than this computer's, so "
        "minutes of turning get dates that are only seconds apart."
    ) + "\n"


def live_line(moment: Any) -> str:
    """One moment of an outing in one line of at most 80 columns."""
    turn = SPOKES[int(moment.turns * 4) % 4] if moment.pace_tpm > 1 else "."
    lamp = "(*)" if moment.light > 0.02 else "( )"
    low, high = moment.band_tpm
    pointer = scale(moment.pace_tpm, low, high, 0.0, 1.4 * high, 20)
    state = "charging" if moment.connected else "released" if moment.board_on else "no power"
    told = moment.lamp if moment.board_on else "-"
    phone = fill(moment.percent % 1.0, 6)
    return (
        f"{moment.t_s:4.0f} s {turn} {moment.pace_tpm:3.0f}/min {pointer} {lamp} "
        f"{told:<6} {moment.bus_v:4.1f} V {phone} {moment.percent:+.2f} % {state}"
    )


class Live:
    """Draws moments over one another at a terminal; prints the telling ones elsewhere."""

    def __init__(self, moving: bool) -> None:
        self.moving = moving
        self._last: tuple[Any, ...] | None = None
        self._printed_s = -1e9

    def show(self, moment: Any) -> None:
        line = live_line(moment)[: WIDTH - 1]
        if self.moving:
            sys.stdout.write("\r" + line.ljust(WIDTH - 1))
            sys.stdout.flush()
            return
        now = (moment.board_on and moment.lamp, moment.connected, moment.board_on)
        gap = moment.t_s - self._printed_s
        if (now != self._last and gap >= 1.0) or gap >= 20:
            print(line.rstrip())
            self._last, self._printed_s = now, moment.t_s

    def end(self) -> None:
        if self.moving:
            sys.stdout.write("\n")
            sys.stdout.flush()


def danger_text(danger: Any) -> str:
    released = (
        f"The board saw the bus pass {quantity(danger.over_v, 'V')} and released the load after "
        f"{number(danger.released_after_ms, 2)} ms"
        if danger.released_after_ms is not None
        else "The load was not released"
    )
    above = (
        f", {number(danger.above_limit_ms, 2)} ms of it above {quantity(danger.limit_v, 'V')}"
        if danger.above_limit_ms
        else ""
    )
    return wrap(
        f"{danger.rig}: a boost converter whose input can rise above its set point. At "
        f"{number(danger.pace_tpm)} turns/min it no longer limits the voltage: the phone would "
        f"have got {quantity(danger.would_be_v, 'V')}. {released}; the most the phone got was "
        f"{quantity(danger.peak_v, 'V')}{above}. Firmware is the third line, never the first: "
        "'steadyturn check' refuses this rig until a hardware cut is fitted."
    ) + "\n"


def closing_text(result: Any) -> str:
    rows = [
        ("board", f"{quantity(result.board_in_wh, 'Wh', 4)} into the converter (measured), "
         f"{quantity(result.board_out_wh, 'Wh', 4)} to the phone (inferred)"),
        ("model", f"{quantity(result.model_in_wh, 'Wh', 4)} and "
         f"{quantity(result.model_out_wh, 'Wh', 4)}: {result.difference_percent:+.2f} % and "
         f"{result.out_difference_percent:+.2f} % apart"),
        ("in band", f"once under way {result.in_band_percent:.0f} % of the time with the lamp, "
         f"{result.in_band_without_percent:.0f} % without it (the same person, whose habit is "
         f"{result.habit_tpm:.0f} turns/min)"),
        ("played", f"{duration(result.virtual_s)} in all, the outing with the lamp "
         f"({count(result.boots, 'boot')} with turns), without it and the danger, in "
         f"{duration(result.real_s)}"),
    ]
    if result.plot:
        rows.append(("plot", str(result.plot)))
    rows.append(("page", str(result.page)))
    rows += [("left out", what) for what in result.not_exercised]
    return table(rows) + "\n\nyours: steadyturn new my.toml\n"


def count(amount: int, noun: str) -> str:
    return f"{amount} {noun}" + ("" if amount == 1 else "s")
