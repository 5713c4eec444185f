"""The live view of a board: a screen that is drawn over, a line a second, or JSON lines."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Iterator
from itertools import chain
from math import inf
from typing import Any, TextIO

from steadyturn.report import words
from steadyturn.report.objects import to_line
from steadyturn.report.style import WIDTH, columns
from steadyturn.report.terminal import Terminal, clean
from steadyturn.report.watch_screen import Screen

# what one look holds: see jobs.watch.Glance
PLAIN_S = 1.0
GONE_S = 10.0  # between plain lines while there is no board: it was said at once


def plain_line(glance: Any) -> str:
    """One look that was answered, in one line of at most 80 columns."""
    head = f"{glance.time_s:5.0f} s  "
    phone = "charging" if glance.connected else "off: " + glance.why.replace("_", " ")
    percent = "" if glance.since_percent is None else f"{glance.since_percent:+6.2f} %  "
    head += f"{words.cue(glance.cue):<7}{_pace(glance):>5}/min  {glance.bus_v:5.2f} V " \
        f"{glance.bus_a:5.2f} A {glance.bus_w:5.2f} W  "
    if glance.fault != "none":
        fault, percent = f"FAULT {glance.fault.replace('_', ' ')}", ""
        phone = f"{fault}; {phone}" if len(f"{head}{fault}; {phone}") <= WIDTH else fault
    if len(head + percent + phone) > WIDTH:
        percent = ""  # why it is off matters more
    return clean(head + percent + phone)[:WIDTH]


def event_line(glance: Any) -> str:
    """What has happened to the connection."""
    return clean(f"{glance.time_s:5.0f} s  {glance.event}")


def silence_line(glance: Any, *, known: bool = False) -> str:
    """What is said where no board answers; known: the problem was named before."""
    word = "reconnecting" if glance.problem else "connecting"
    why = f": {glance.problem}" if glance.problem and not known else ""
    return clean(f"{glance.time_s:5.0f} s  {word} ({glance.gone_s:.0f} s){why}")


def _pace(glance: Any) -> str:
    if glance.pace_tpm is None:
        return "?"
    return ("<" if glance.pace_validity == "bound" else "") + f"{glance.pace_tpm:.0f}"


def show_lines(glances: Iterable[Any], out: TextIO, every_s: float = PLAIN_S) -> None:
    """One plain line every every_s, and one at once where the board goes or comes; while it is
    gone one every GONE_S. At a terminal they are wrapped, elsewhere each is whole."""
    width = columns() if out.isatty() else None
    last_s, answering = -inf, True
    named: set[str] = set()  # problems of this time without a board

    def tell(line: str) -> None:
        if width is not None:
            line = textwrap.fill(line, width, subsequent_indent=" " * 9, break_on_hyphens=False)
        print(line, file=out, flush=True)

    for glance in glances:
        if glance.event:
            tell(event_line(glance))
        if glance.remark:
            tell(clean(f"{glance.time_s:5.0f} s  {glance.remark}"))
        # looks come a little early or late: half a period of theirs makes no second
        due = glance.time_s - last_s > (every_s if glance.answering else GONE_S) - 0.05
        new = not glance.answering and glance.problem not in named
        if due or new or glance.answering != answering:
            if glance.answering:
                print(plain_line(glance), file=out, flush=True)
                named.clear()
            else:
                tell(silence_line(glance, known=not new))
                named.add(glance.problem)
            last_s, answering = glance.time_s, glance.answering


class Remembered:
    """Looks that pass through, for what is to be said when the watch has ended: remark, of the
    library; lost: why the board did not answer at the last look, "" where it did."""

    def __init__(self, looks: Iterable[Any]) -> None:
        self.remark = self.lost = ""
        self._looks = iter(looks)

    def __iter__(self) -> Iterator[Any]:
        return self

    def __next__(self) -> Any:
        look = next(self._looks)
        self.remark = look.remark or self.remark
        self.lost = "" if look.answering else look.problem
        return look


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
