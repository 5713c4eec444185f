"""The live view of a board: a screen that is drawn over, a line a second, or JSON lines."""

from __future__ import annotations

import json
from collections.abc import Iterable
from typing import TYPE_CHECKING, Any, TextIO

from steadyturn.report import words
from steadyturn.report.bigword import big
from steadyturn.report.objects import to_object
from steadyturn.report.style import WIDTH, duration, item, number, quantity, scale, wrap

if TYPE_CHECKING:
    from rich.console import Console

# what one look holds: see jobs.watch.Glance
COLOURS = {"hold": "bold green", "faster": "bold yellow", "slower": "bold magenta",
           "stop": "bold red", "fault": "bold red"}


def json_line(glance: object) -> str:
    return json.dumps(to_object(glance))


def plain_line(glance: Any) -> str:
    """One look in one line of at most 80 columns."""
    head = f"{glance.time_s:5.0f} s  "
    if not glance.answering:
        return (head + f"no board: {glance.problem} Trying again.")[:WIDTH]
    phone = "charging" if glance.connected else "off: " + glance.why.replace("_", " ")
    percent = "" if glance.since_percent is None else f"{glance.since_percent:+6.2f} %  "
    if glance.fault != "none":
        phone, percent = f"FAULT {glance.fault.replace('_', ' ')}; {phone}", ""
    head += f"{words.cue(glance.cue):<7}{_pace(glance):>5}/min  {glance.bus_v:5.2f} V " \
        f"{glance.bus_a:5.2f} A {glance.bus_w:5.2f} W  "
    if len(head + percent + phone) > WIDTH:
        percent = ""  # why it is off matters more
    return (head + percent + phone)[:WIDTH]


def _pace(glance: Any) -> str:
    if glance.pace_tpm is None:
        return "?"
    return ("<" if glance.pace_validity == "bound" else "") + f"{glance.pace_tpm:.0f}"


def screen_text(glance: Any) -> str:
    """The whole screen for one look: the cue big, then the figures."""
    if not glance.answering:
        return "\n".join([
            f"  {glance.port}", "", big("---"), "",
            wrap(glance.problem, "  "), "  Reconnecting ...", "", "  Ctrl-C ends the watch.",
        ])
    rows = [
        f"  {glance.port}, start {glance.boot}, {duration(glance.board_s)} ago", "",
        big(words.cue(glance.cue)), f"  {words.cue_advice(glance.cue)}", "",
        *_pace_rows(glance),
        f"  converter  {quantity(glance.bus_v, 'V')}, {quantity(glance.bus_a, 'A')}, "
        f"{quantity(glance.bus_w, 'W')}",
        item("connected" if glance.connected else f"disconnected: {words.reason(glance.why)}",
             "phone      "),
        f"  this watch {_energy(glance.since_in_wh, glance.since_out_wh)}{_extra(glance)}",
        f"  in all     {_energy(glance.energy_in_wh, glance.energy_out_wh)} "
        f"({glance.energy_out_kind})",
    ]
    if glance.previous_settings:
        rows += ["", item(words.PREVIOUS_SETTINGS, "settings   ")]
    elif glance.fault != "none":
        rows += ["", item(words.fault(glance.fault), "fault      ")]
    if not glance.settings_ok and glance.fault != "settings":
        rows += ["", item(words.fault("settings"), "fault      ")]
    if glance.supply_v:
        rows.append(f"  board      {quantity(glance.supply_v, 'V')} in its reservoir")
    return "\n".join([*rows, "", "  Ctrl-C ends the watch; the board goes on."])


def _pace_rows(glance: Any) -> list[str]:
    pace = f"  pace       {_pace(glance)} turns/min"
    rows = []
    if glance.low_tpm is None or glance.high_tpm is None:
        rows.append(pace + "; the board has no band in force")
    else:
        low, high = glance.low_tpm, glance.high_tpm
        rows.append(
            f"{pace}; band {number(low)} to {number(high)}, best {number(glance.target_tpm)}"
        )
        rows.append(f"  0 {scale(glance.pace_tpm, low, high, 0.0, 1.6 * high, 60)} "
                    f"{number(1.6 * high, 2)}")
    if glance.pace_validity != "valid":
        rows.append(item(words.validity(glance.pace_validity), " " * 11))
    return rows


def _energy(into_wh: float, out_wh: float) -> str:
    return f"{quantity(into_wh, 'Wh')} into the converter, {quantity(out_wh, 'Wh')} to the phone"


def _extra(glance: Any) -> str:
    return "" if glance.since_percent is None else f", {glance.since_percent:+.2f} %"


def show_lines(glances: Iterable[Any], out: TextIO) -> None:
    """One plain line a look."""
    for glance in glances:
        print(plain_line(glance), file=out, flush=True)


def show_json(glances: Iterable[Any], out: TextIO) -> None:
    """One JSON object a line."""
    for glance in glances:
        print(json_line(glance), file=out, flush=True)


def show_screen(glances: Iterable[Any], console: Console | None = None) -> None:
    """Draw looks over one another on a terminal."""
    from rich.live import Live
    from rich.text import Text

    with Live(console=console, auto_refresh=False, screen=False, transient=False) as live:
        for glance in glances:
            style = COLOURS.get(glance.cue or "", "") if glance.answering else "bold red"
            text = Text(screen_text(glance))
            text.highlight_regex(r"(?m)^  [# ]+$", style or "bold")
            live.update(text, refresh=True)
