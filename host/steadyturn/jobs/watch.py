"""Watching a running board over the link; its loop goes on undisturbed.

When the board goes or falls silent the watch says so, tries again and goes on, under another
port's name too. The line is handled by a thread of its own (watch_line), so that no wait there
ever holds up the screen or Ctrl-C.
"""

from __future__ import annotations

import contextlib
import json
import time
from collections import deque
from collections.abc import Generator
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from steadyturn_fw import pages

from steadyturn.board.connect import Direct
from steadyturn.board.link import Who, settings_line
from steadyturn.board.text import printable
from steadyturn.errors import Failed
from steadyturn.jobs import watch_line
from steadyturn.jobs.watch_line import Line, Met

RATE_HZ = 10.0  # looks a second; the board smooths its own display no faster
GONE_HZ = 2.0  # of what is told while there is no board
SILENT_S = 1.0  # a flash erase may stop a board for 0.4 s
HASTE_S = 0.2  # then the screen goes on meanwhile
AGAIN_S = 1.0  # between tries to reach a board that has gone
SOON_S = 2.0  # so long the first answer is waited for at least: a port takes its time to open
MEAN_LOOKS = 20  # over which the rate is measured
MOST = 1_000_000_000  # no number in settings is larger: fields.RANGES ends before
UJ_PER_WH = 3.6e9


@dataclass(frozen=True)
class Glance:
    """One look at a board. What is not known is None. `since_*` counts from the first
    look of this watch, the other totals from when the board was new. Codes by their
    names in steadyturn_fw.pages. time_s: since the watch began; host_s: seconds since 1970 by
    this computer; board: its unique id; label, rig: from its settings; looks_hz:
    answers a second, measured; gone_s: how long there has been none; event: what has just
    happened to the connection, "" for nothing; remark: of the library, "" for none."""

    time_s: float
    port: str
    answering: bool
    host_s: float | None = None
    problem: str = ""
    gone_s: float | None = None
    event: str = ""
    remark: str = ""
    board: str | None = None
    label: str = ""
    rig: str = ""
    firmware: str | None = None
    looks_hz: float | None = None
    boot: int | None = None
    board_s: float | None = None
    cue: str | None = None
    pace_tpm: float | None = None
    pace_validity: str | None = None
    low_tpm: float | None = None
    target_tpm: float | None = None
    high_tpm: float | None = None
    bus_v: float | None = None
    bus_a: float | None = None
    bus_w: float | None = None
    connected: bool | None = None
    why: str | None = None
    fault: str | None = None
    settings_ok: bool | None = None
    previous_settings: bool | None = None
    supply_v: float | None = None
    energy_in_wh: float | None = None
    energy_out_wh: float | None = None
    since_in_wh: float | None = None
    since_out_wh: float | None = None
    since_percent: float | None = None
    since_turns: float | None = None
    since_band_share: float | None = None
    energy_out_kind: str = "inferred"  # or "measured": by the settings now in force
    late_ticks: int | None = None
    sensor_errors: int | None = None


@dataclass
class _Seen:
    """What is remembered between looks: who it is, the totals at the first look, the settings
    in force, when it last answered."""

    who: Who | None = None
    first: dict[str, int] = field(default_factory=dict)
    last: dict[str, int] = field(default_factory=dict)
    settings: dict[str, Any] = field(default_factory=dict)
    answered: float = field(default_factory=time.monotonic)
    gone: bool = False
    times: deque[float] = field(default_factory=lambda: deque(maxlen=MEAN_LOOKS))


def watch(
    port: str | Direct | None = None, *, seconds: float | None = None, rate_hz: float = RATE_HZ,
    library: Path | None = None, anchor: bool = False,
) -> Generator[Glance, None, None]:
    """Looks at a board, `rate_hz` a second, for `seconds` from the first answer on (None: until
    it is closed); while there is no board GONE_HZ a second. The first answer is waited for no
    longer than for `seconds` (but SOON_S) either.

    anchor: leave a time anchor in the library (None: the usual one) at each connection.
    Raises Failed when no board can be reached at the start; after that it goes on.
    """
    start = time.monotonic()
    seen = _Seen()
    first_s = watch_line.FIRST_S
    if seconds is not None:
        first_s = min(first_s, max(seconds, SOON_S))
    line = Line(port, library=library, anchor=anchor, first_s=first_s)
    look = _Looks(line, seen)

    end: float | None = None
    try:
        due = start
        while True:
            glance = replace(look.next(), time_s=time.monotonic() - start, host_s=time.time())
            yield glance
            period = 1 / (rate_hz if glance.answering else min(rate_hz, GONE_HZ))
            if end is None and seconds is not None and glance.answering:
                end = time.monotonic() + seconds
            if end is not None and time.monotonic() + period >= end:
                return
            due = max(due + period, time.monotonic())  # beats that were missed are left out
            time.sleep(max(0.0, due - time.monotonic()))
    finally:
        line.close()


class _Looks:
    """One look after the other, through the line's thread."""

    def __init__(self, line: Line, seen: _Seen) -> None:
        self.line, self.seen = line, seen
        self.again_at = 0.0  # no try before
        self.problem = ""
        self.waits = False  # there was no answer the last time

    def next(self) -> Glance:
        """A look, or what is wrong; waits at most SILENT_S, so that the screen can say so.
        The time is left to the caller."""
        line, seen = self.line, self.seen
        if not line.busy:
            if seen.gone and time.monotonic() < self.again_at:
                return self._none()
            line.ask()
        if not line.wait(HASTE_S if self.waits else SILENT_S):
            if not self.problem and seen.who is not None:
                self.problem = "The board does not answer."
            return self._none()
        try:
            met, state, settings = line.take()
        except Failed as failed:
            if seen.who is None:
                raise
            self.problem = failed.what
            self.again_at = time.monotonic() + AGAIN_S
            seen.gone = True
            seen.times.clear()
            return self._none()
        event = "" if met is None else self._met(met)
        self.problem, self.waits, seen.gone = "", False, False
        return self._glance(state, settings, event, "" if met is None else met.remark)

    def _none(self) -> Glance:
        who = self.seen.who
        self.waits = True
        return Glance(
            0.0, self.line.name, False, problem=self.problem,
            gone_s=time.monotonic() - self.seen.answered,
            board=None if who is None else who.unique_id,
            label=_text(self.seen.settings, "label"), rig=_text(self.seen.settings, "rig"),
        )

    def _met(self, met: Met) -> str:
        """Find out who it is; another board, or one with a new journal, counts from zero."""
        seen, who, before = self.seen, met.who, self.seen.who
        gone_s = time.monotonic() - seen.answered
        seen.who = who
        if before is None:
            return ""
        if who.unique_id != before.unique_id:
            event = f"another board ({who.unique_id[-6:]}) answers in its place"
        else:
            event = f"connected again after {gone_s:.0f} s"
            if met.moved:
                event += f", now on {printable(self.line.name, 40)}"
            if who.format_id != before.format_id:
                event += "; its journal was made anew"
            elif who.boot != before.boot:
                event += f"; it has started anew (boot {who.boot})"
        if (who.unique_id, who.format_id) != (before.unique_id, before.format_id):
            seen.first, seen.last = {}, {}
            event += ", counted from zero"
        return event

    def _glance(self, state: dict[str, int], settings: bytes | None, event: str,
                remark: str) -> Glance:
        seen = self.seen
        seen.answered = time.monotonic()
        seen.times.append(seen.answered)
        if settings is not None:
            seen.settings = _settings(settings)
        if not seen.first:
            seen.first = state
        elif state["energy_in_uj"] < seen.last["energy_in_uj"]:
            seen.first = state
            event = event or "its totals were set back: counted from zero"
        seen.last = state
        assert seen.who is not None
        return replace(
            _figures(self.line.name, state, seen), event=event, remark=remark,
            board=seen.who.unique_id, firmware=seen.who.firmware,
            label=_text(seen.settings, "label"), rig=_text(seen.settings, "rig"),
            looks_hz=_rate(seen.times),
        )


def _rate(times: deque[float]) -> float | None:
    span = times[-1] - times[0]
    return (len(times) - 1) / span if len(times) > 2 and span > 0 else None


def _settings(data: bytes) -> dict[str, Any]:
    """The settings in force. Read without judging them: the board has, and a board of
    another version is watched all the same."""
    with contextlib.suppress(ValueError, RecursionError):
        found = json.loads(settings_line(data))
        if isinstance(found, dict):
            return found
    return {}


def _text(settings: dict[str, Any], key: str) -> str:
    value = settings.get(key)
    return printable(value, 40) if isinstance(value, str) else ""


def _figures(name: str, state: dict[str, int], seen: _Seen) -> Glance:
    since = {key: value - seen.first[key] for key, value in state.items()}
    no_pace = state["validity"] == pages.NO_SENSOR
    percent_uj = _number(seen.settings, "percent_mj", 1e3)
    return Glance(
        time_s=0.0,
        port=name,
        answering=True,
        boot=state["boot"],
        board_s=state["t_ms"] / 1e3,
        cue=_name(pages.CUES, state["cue"]),
        pace_tpm=None if no_pace else state["pace_dtpm"] / 10,
        pace_validity=_name(pages.STATE_VALIDITY, state["validity"]),
        low_tpm=_number(seen.settings, "low_dtpm", 0.1),
        target_tpm=_number(seen.settings, "target_dtpm", 0.1),
        high_tpm=_number(seen.settings, "high_dtpm", 0.1),
        bus_v=state["bus_mv"] / 1e3,
        bus_a=state["bus_ma"] / 1e3,
        bus_w=state["bus_mv"] * state["bus_ma"] / 1e6,
        connected=bool(state["connected"]),
        why=_name(pages.REASONS, state["why"]),
        fault=_name(pages.FAULTS, state["fault"]),
        settings_ok=bool(state["settings_ok"]),
        previous_settings=state["settings_ok"] == 2,
        supply_v=state["supply_mv"] / 1e3,
        energy_in_wh=state["energy_in_uj"] / UJ_PER_WH,
        energy_out_wh=state["energy_out_uj"] / UJ_PER_WH,
        since_in_wh=since["energy_in_uj"] / UJ_PER_WH,
        since_out_wh=since["energy_out_uj"] / UJ_PER_WH,
        since_percent=since["energy_out_uj"] / percent_uj if percent_uj else None,
        since_turns=since["turns_m"] / 1e3,
        since_band_share=since["band_samples"] / since["on_samples"]
        if since["on_samples"] > 0 else None,
        energy_out_kind="measured" if _number(seen.settings, "out_shunt_uohm", 1) else "inferred",
        late_ticks=state["late_ticks"],
        sensor_errors=state["sensor_errors"],
    )


def _name(names: tuple[str, ...], code: int) -> str:
    return names[code] if code < len(names) else f"code {code}"


def _number(settings: dict[str, Any], key: str, scale: float) -> float | None:
    """A number of the settings as a quantity; None where it is none that can be meant."""
    value = settings.get(key)
    if not isinstance(value, int) or isinstance(value, bool) or not 0 <= value <= MOST:
        return None
    return value * scale
