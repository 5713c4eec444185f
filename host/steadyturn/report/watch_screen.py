"""The screen of `watch`: at any size the lines that matter most, readable without colour."""

from __future__ import annotations

import textwrap
from typing import Any

from steadyturn.report import paceband, words
from steadyturn.report.bigword import big
from steadyturn.report.fitting import BLANK, Block, fit, labelled
from steadyturn.report.style import duration, quantity
from steadyturn.report.terminal import Line

COLOURS = {"hold": "bold green", "faster": "bold yellow", "slower": "bold magenta",
           "stop": "bold red", "fault": "bold red"}
EVENT_S = 15.0  # how long an event stays on the screen
NARROW = 60  # columns; with fewer, shorter words
BAR = 20  # columns; with fewer there is no bar
FEW = 3  # rows; with fewer, cue and pace share a line
MOST_COLUMNS = 100  # a wider line is hard to follow


class Screen:
    """Makes frames; remembers the last event, and when the phone's state changed."""

    def __init__(self, unicode: bool) -> None:
        self.unicode = unicode
        self._event, self._event_s = "", 0.0
        self._remark = ""
        self._connected: bool | None = None
        self._since_s: float | None = None  # not known from the first look

    def lines(self, glance: Any, columns: int, rows: int) -> list[Line]:
        """The whole screen for one look."""
        if glance.event:
            self._event, self._event_s = glance.event, glance.time_s
        self._remark = glance.remark or self._remark
        columns = min(columns, MOST_COLUMNS)
        if not glance.answering:
            self._connected = None
            return fit(self._silent(glance, columns), rows)
        if glance.connected is not self._connected:
            self._since_s = None if self._connected is None else glance.time_s
            self._connected = glance.connected
        return fit(self._blocks(glance, columns, rows), rows)

    # ---- no board

    def _silent(self, glance: Any, columns: int) -> list[Block]:
        word = "reconnecting" if glance.problem else "connecting"
        for_s = f"{glance.gone_s:.0f} s" if glance.gone_s < 60 else duration(glance.gone_s)
        said = textwrap.wrap(glance.problem, max(columns - 3, 16), break_on_hyphens=False)
        return [
            Block([self._head(glance, columns)], 3), BLANK,
            Block([[(f" {row}", "bold red")] for row in big("---", columns - 2, self._full)], 6),
            BLANK,
            Block([[(f" {word}, for {for_s} now", "bold")]], 1),
            Block([f"  {row}" for row in said], 2),
            BLANK, self._last(columns),
        ]

    # ---- a board that answers

    @property
    def _full(self) -> str:
        return "\N{FULL BLOCK}" if self.unicode else "#"

    def _blocks(self, glance: Any, columns: int, rows: int) -> list[Block]:
        word = words.cue(glance.cue)
        style = COLOURS.get(glance.cue, "bold")
        phone = labelled("phone", self._phone(glance), columns,
                         "bold" if glance.connected else "bold yellow")
        if rows < FEW:
            one: Line = [(f" {word.upper()}", style), (f"  {_pace_words(glance)}", "")]
            return [Block([one], 0), *_fault_blocks(glance, columns), Block(phone, 3)]
        letters = big(word, columns - 2, self._full)
        advice = words.cue_advice(glance.cue)
        narrow = columns < NARROW
        percent = "" if glance.since_percent is None else f"{glance.since_percent:+.2f} %, "
        since = percent + _energy(glance.since_in_wh, glance.since_out_wh, narrow)
        ever = _energy(glance.energy_in_wh, glance.energy_out_wh, narrow)
        if not narrow:
            ever += f" ({glance.energy_out_kind})"
        bus = f"{glance.bus_v:.2f} V, {glance.bus_a:.2f} A, {glance.bus_w:.2f} W"
        blocks = [
            Block([self._head(glance, columns)], 7), BLANK,
            Block([[(f" {row}", style)] for row in letters], 0,
                  [[(f" {word.upper()}", style), (f"  {advice}", "")]], 3),
            Block([f" {advice}"] if advice else [], 7), BLANK,
            *_fault_blocks(glance, columns),
            *self._pace(glance, columns), BLANK,
            Block(phone, 2),
            Block(labelled("volts", bus, columns), 3),
            Block(labelled("watch", since, columns), 5),
            Block(labelled("in all", ever, columns), 8),
        ]
        if glance.supply_v:
            blocks.append(Block(labelled(
                "board", f"{quantity(glance.supply_v, 'V')} in its reservoir", columns), 8))
        if self._event and glance.time_s - self._event_s < EVENT_S:
            blocks.append(Block(labelled("note", self._event, columns, "bold"), 4))
        if self._remark:
            blocks.append(Block(labelled("library", self._remark, columns), 7))
        return [*blocks, BLANK, self._last(columns)]

    def _head(self, glance: Any, columns: int) -> Line:
        name = f"'{glance.label}'" if glance.label else glance.rig or "board"
        where = f" on {glance.port}" if columns >= NARROW else ""
        text = f" {name}{where}"
        if glance.board:
            text += f", board {glance.board[-6:]}"
        if glance.answering and columns >= NARROW:
            text += f", boot {glance.boot}, running for {duration(glance.board_s)}"
            if glance.looks_hz is not None:
                text = f"{text:<{columns - 7}.{columns - 7}}{glance.looks_hz:4.0f}/s"
        return [(text, "dim")]

    def _last(self, columns: int) -> Block:
        text = " Ctrl-C or q ends the watch; the board goes on." if columns >= NARROW \
            else " q ends the watch, the board goes on."
        return Block([[(text, "dim")]], 8)

    def _pace(self, glance: Any, columns: int) -> list[Block]:
        band = paceband.band_of(glance.low_tpm, glance.target_tpm, glance.high_tpm)
        text = _pace_words(glance)
        if band is None:
            text += "; no band in force" if columns < NARROW else \
                "; the board has no band in force"
        elif columns >= NARROW:
            text += (f"; band {paceband.short(band.low)} to {paceband.short(band.high)}, "
                     f"best {paceband.short(band.target)}")
        blocks = [Block(labelled("pace", text, columns, "bold"), 1)]
        if band is not None and columns >= BAR:
            bar = paceband.rows(glance.pace_tpm, glance.pace_validity == "bound", band,
                                columns - 2, indent=" ", unicode=self.unicode)
            blocks.append(Block(bar, 3, bar[:2], 6))
        if glance.pace_validity not in ("valid", "measured"):
            blocks.append(Block(labelled("", words.validity(glance.pace_validity), columns), 7))
        return blocks

    def _phone(self, glance: Any) -> str:
        if not glance.connected:
            return f"not connected: {words.reason(glance.why)}"
        if self._since_s is None:
            return "connected"
        return f"connected, for {glance.time_s - self._since_s:.0f} s"


def _pace_words(glance: Any) -> str:
    if glance.pace_tpm is None:
        return "pace not known"
    most = "at most " if glance.pace_validity == "bound" else ""
    return f"{most}{glance.pace_tpm:.0f} turns/min"


def _fault_blocks(glance: Any, columns: int) -> list[Block]:
    told = [labelled("FAULT", text, columns, "bold red") for text in _faults(glance)]
    return [Block(rows, 1, rows[:1], 2) for rows in told]


def _faults(glance: Any) -> list[str]:
    found = []
    if glance.previous_settings:
        found.append("settings: " + words.PREVIOUS_SETTINGS)
    elif glance.fault != "none":
        found.append(words.fault(glance.fault))
    if not glance.settings_ok and glance.fault != "settings":
        found.append(words.fault("settings"))
    return found


def _energy(into_wh: float, out_wh: float, narrow: bool) -> str:
    if narrow:
        return f"{_mwh(out_wh)} to the phone"
    return f"{_mwh(into_wh)} into the converter, {_mwh(out_wh)} to the phone"


def _mwh(energy_wh: float) -> str:
    """An energy, in one unit however much it becomes: a figure that changes its unit while it
    is looked at is read wrong.

    >>> _mwh(0.0004), _mwh(0.00155), _mwh(0.0417), _mwh(2.0)
    ('0.40 mWh', '1.55 mWh', '41.7 mWh', '2000 mWh')
    """
    energy_mwh = energy_wh * 1000
    digits = 2 if abs(energy_mwh) < 9.995 else 1 if abs(energy_mwh) < 99.95 else 0
    return f"{energy_mwh:.{digits}f} mWh"
