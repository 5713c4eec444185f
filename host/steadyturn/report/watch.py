"""The live view of a board: a screen that is drawn over, a line a second, or JSON lines."""

from __future__ import annotations

from collections.abc import Iterable
from itertools import chain
from math import inf
from typing import Any, TextIO

from steadyturn.report import words
from steadyturn.report.objects import to_line
from steadyturn.report.style import WIDTH
from steadyturn.report.terminal import Terminal, clean
from steadyturn.report.watch_screen import Screen

# what one look holds: see jobs.watch.Glance
PLAIN_S = 1.0


def plain_line(glance: Any) -> str:
    """One look in one line of at most 80 columns."""
    head = f"{glance.time_s:5.0f} s  "
    if not glance.answering:
        return clean(head + silence(glance))[:WIDTH]
    phone = "charging" if glance.connected else "off: " + glance.why.replace("_", " ")
    percent = "" if glance.since_percent is None else f"{glance.since_percent:+6.2f} %  "
    if glance.fault != "none":
        phone, percent = f"FAULT {glance.fault.replace('_', ' ')}; {phone}", ""
    head += f"{words.cue(glance.cue):<7}{_pace(glance):>5}/min  {glance.bus_v:5.2f} V " \
        f"{glance.bus_a:5.2f} A {glance.bus_w:5.2f} W  "
    if len(head + percent + phone) > WIDTH:
        percent = ""  # why it is off matters more
    return clean(head + percent + phone)[:WIDTH]


def event_line(glance: Any) -> str:
    """What has happened to the connection, in one line."""
    return clean(f"{glance.time_s:5.0f} s  {glance.event}")[:WIDTH]


def silence(glance: Any) -> str:
    """What is said where no board answers."""
    if not glance.problem:
        return f"connecting ({glance.gone_s:.0f} s)"
    return f"reconnecting ({glance.gone_s:.0f} s): {glance.problem}"


def _pace(glance: Any) -> str:
    if glance.pace_tpm is None:
        return "?"
    return ("<" if glance.pace_validity == "bound" else "") + f"{glance.pace_tpm:.0f}"


def show_lines(glances: Iterable[Any], out: TextIO, every_s: float = PLAIN_S) -> None:
    """One plain line every every_s, and one at once where the board goes or comes."""
    last_s, answering = -inf, True
    for glance in glances:
        if glance.event:
            print(event_line(glance), file=out, flush=True)
        # looks come a little early or late: half a period of theirs makes no second
        if glance.time_s - last_s > every_s - 0.05 or glance.answering != answering:
            print(plain_line(glance), file=out, flush=True)
            last_s, answering = glance.time_s, glance.answering


def show_json(glances: Iterable[Any], out: TextIO) -> None:
    """One JSON object a line, each at once."""
    for glance in glances:
        print(to_line(glance), file=out, flush=True)


def show_screen(glances: Iterable[Any], terminal: Terminal) -> None:
    """Draw looks over one another on a terminal, until they end or q is pressed."""
    looks = iter(glances)
    first = next(looks, None)  # where there is no board at all, no screen is opened
    if first is None:
        return
    with terminal:
        screen = Screen(terminal.unicode)
        for glance in chain((first,), looks):
            terminal.draw(screen.lines(glance, *terminal.size()))
            if "q" in terminal.keys().lower():
                return
