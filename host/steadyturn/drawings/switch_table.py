"""The load switch's states and transitions, as data: the one table of them.

firmware/switch.md and switch.svg are made from it, and a test holds the firmware against it on
MicroPython, over every combination of what it looks at (tests/firmware/test_switch_table.py).
Names of reasons are the firmware's own (`steadyturn_fw.pages`).
"""

from __future__ import annotations

from typing import NamedTuple

from steadyturn_fw import pages

# name: what it is
STATES = {
    "barred": "released: something forbids the load",
    "not_yet": "released: too few volts, too slow or slowing down, or the cue is rest or stop",
    "waiting": "released: the machine could carry it; 0.3 s on end and the gap are waited for, "
               "twice as long after each failure, and until no page is being moved",
    "young": "connected for less than 5 s",
    "connected": "connected for 5 to 10 s",
    "proven": "connected for 10 s and more",
}
RELEASED = ("barred", "not_yet", "waiting")
CONNECTED = ("young", "connected", "proven")
ALL = RELEASED + CONNECTED
START = "not_yet"


class Row(NamedTuple):
    """when: a condition's name in CONDITIONS; failures: what becomes of their count. The first
    row that holds is taken, once a tick; after one of CLOCK those below it are looked at too."""

    sources: tuple[str, ...]
    when: str
    to: str
    reason: str
    failures: str = ""


# name: meaning; the figures are settings
CONDITIONS = {
    "stalled": "a tick came 0.1 s late or more: the hardware has let go already",
    "proves": "10 s are over",
    "lasts": "5 s are over",
    "over_voltage": "bus >= `over_mv`, or a measured output >= `over_out_mv`",
    "over_current": "current >= `over_ma`, or a reading at the end of its range",
    "over_temperature": "the thermistor is too hot, or its wire broken or shorted",
    "sensor_lost": "neither chip nor ADC gives volts",
    "over_speed": "pace >= `over_dtpm`, and no mere bound",
    "asked": "the host asked for it, until the next boot",
    "fading": "the reservoir is below `fade_mv`, until 0.1 V above",
    "collapse": "bus < `release_mv` while the handle turns on and the motors give at least half "
                "of the current",
    "low_bus": "bus < `release_mv`",
    "not enough": "too few volts, too slow or slowing down, or the cue is rest or stop",
    "not waited": "0.3 s and the gap are not over, or pages are being moved",
    "carries": "none of all that",
}

CLOCK = ("proves", "lasts")
MORE, FORGOTTEN = "one more", "forgotten"
_CAUSES = ("over_voltage", "over_current", "over_temperature", "sensor_lost", "over_speed",
           "asked", "fading")

ROWS: tuple[Row, ...] = (
    Row(CONNECTED, "stalled", "waiting", "waiting"),
    *(Row(ALL, cause, "barred", cause) for cause in _CAUSES if cause != "over_current"),
    Row(CONNECTED, "over_current", "barred", "over_current", MORE),
    Row(RELEASED, "over_current", "barred", "over_current"),
    Row(CONNECTED, "collapse", "not_yet", "low_bus", MORE),
    Row(("young",), "low_bus", "not_yet", "low_bus", MORE),
    Row(("connected", "proven"), "low_bus", "not_yet", "low_bus"),
    Row(("connected",), "proves", "proven", "none", FORGOTTEN),
    Row(("young",), "lasts", "connected", "none"),
    Row(RELEASED, "not enough", "not_yet", "not_yet"),
    Row(RELEASED, "not waited", "waiting", "waiting"),
    Row(RELEASED, "carries", "young", "none"),
)
_ORDER = {name: at for at, name in enumerate(CONDITIONS)}
TABLE = tuple(sorted(ROWS, key=lambda row: _ORDER[row.when]))

assert all(row.reason in pages.REASONS for row in TABLE)


def words(sources: tuple[str, ...]) -> str:
    """A row's sources in short."""
    for group, name in ((ALL, "any"), (CONNECTED, "any connected"), (RELEASED, "any released")):
        if sources == group:
            return name
    return ", ".join(sources)


def told(row: Row) -> str:
    """What the row does beside changing the state."""
    if row.to in CONNECTED and row.sources == RELEASED:
        return "let-go pin low, edges begin; counted, event `connected`"
    if set(row.sources) & set(CONNECTED) and row.to in RELEASED:
        event = "events `collapse` and `released`" if row.when == "collapse" else (
            "event `released`")
        return f"no edge any more, let-go pin high; {event}"
    return ""


_HEAD = """\
# The load switch: states and transitions

Made by `python -m steadyturn.jobs.drawings` from one table,
`host/steadyturn/drawings/switch_table.py`. A test runs the firmware on MicroPython through every
combination of states and conditions, and it does what this table says, every row reached. The
figures behind the conditions stand in states.md.

![the states of the load switch and what leads from one to another](switch.svg)

"""


_START = """\
A board starts in `not_yet`; one without settings never leaves it (`settings_bad`, no pin is
touched). In each tick the first row that holds is taken; after `proves` and `lasts` the rows
below are looked at as well. For `gap_ms` after a release its reason is told in place of `not_yet`
and `waiting`.
"""
_END = """
Each failure doubles both waits, four times at most and to 60 s at most, and asks for more pace
(states.md). A connection follows another after `gap_ms` at least, which is 2 s or more.
"""


def page_text() -> str:
    """firmware/switch.md as a whole."""
    lines = ["| state | meaning |", "|---|---|"]
    lines += [f"| {name} | {what} |" for name, what in STATES.items()]
    lines += ["", _START, "| no. | from | when | to | reason | failures | what it does |",
              "|---|---|---|---|---|---|---|"]
    lines += [f"| {at} | {words(row.sources)} | {row.when}: {CONDITIONS[row.when]} | {row.to} | "
              f"{row.reason} | {row.failures} | {told(row)} |"
              for at, row in enumerate(TABLE, 1)]
    return _HEAD + "\n".join(lines) + "\n" + _END
