"""Watching a running board over the link; its loop goes on undisturbed.

When the board goes or falls silent the watch says so, tries again and goes on.
"""

from __future__ import annotations

import contextlib
import json
import time
from collections.abc import Generator, Iterator
from dataclasses import dataclass, field
from typing import Any

from steadyturn_fw import pages

from steadyturn.board.connect import Board, Direct, connect
from steadyturn.board.link import settings_line
from steadyturn.errors import Failed

RATE_HZ = 5.0  # questions a second; the board smooths its own display no faster
FIRST_S = 8.0  # a board that has just been plugged in needs some seconds
AGAIN_S = 1.0  # between tries to reach a board that has gone
UJ_PER_WH = 3.6e9


@dataclass(frozen=True)
class Glance:
    """One look at a board. What is not known is None. `since_*` counts from the first
    look of this watch, the other totals from when the board was new. Codes by their
    names in steadyturn_fw.pages."""

    time_s: float
    port: str
    answering: bool
    problem: str = ""
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
    """What is remembered between looks: the totals at the first, the settings in force."""

    identity: tuple[str, int] | None = None
    first: dict[str, int] = field(default_factory=dict)
    last: dict[str, int] = field(default_factory=dict)
    settings: dict[str, Any] = field(default_factory=dict)
    settings_crc: int | None = None


def watch(
    port: str | Direct | None = None, *, seconds: float | None = None, rate_hz: float = RATE_HZ
) -> Generator[Glance, None, None]:
    """Looks at a board, `rate_hz` a second, for `seconds` (None: until it is closed).

    Raises Failed when no board can be reached at the start; after that it goes on.
    """
    start = time.monotonic()
    seen = _Seen()
    name = port if isinstance(port, str) else ""

    def over(wait_s: float = 0.0) -> bool:
        return seconds is not None and time.monotonic() + wait_s - start >= seconds

    while True:
        try:
            with connect(port) as board:
                name = board.name
                _meet(board, seen, first=not seen.first)
                for _ in _beats(1 / rate_hz):
                    glance = _look(board, seen, time.monotonic() - start)
                    yield glance
                    if over(1 / rate_hz):
                        return
        except Failed as failed:
            if not seen.first:
                raise
            problem = failed.what
        yield Glance(time.monotonic() - start, name, False, problem)
        if over(AGAIN_S):
            return
        time.sleep(AGAIN_S)


def _beats(period_s: float) -> Iterator[None]:
    """One at once, then one each period; beats that were missed are left out."""
    due = time.monotonic()
    while True:
        yield
        due = max(due + period_s, time.monotonic())
        time.sleep(max(0.0, due - time.monotonic()))


def _meet(board: Board, seen: _Seen, *, first: bool) -> None:
    """Find out who it is; another board, or one with a new journal, counts from zero."""
    who = board.link.wait(FIRST_S if first else 2.0)
    identity = (who.unique_id, who.format_id)
    if identity != seen.identity:
        seen.identity, seen.first, seen.last, seen.settings_crc = identity, {}, {}, None


def _look(board: Board, seen: _Seen, time_s: float) -> Glance:
    state = board.link.state()
    if state["settings_crc"] != seen.settings_crc:
        seen.settings = _settings(board.link.settings())
        seen.settings_crc = state["settings_crc"]
    if not seen.first or state["energy_in_uj"] < seen.last["energy_in_uj"]:
        seen.first = state
    seen.last = state
    return _glance(time_s, board.name, state, seen)


def _settings(data: bytes) -> dict[str, Any]:
    """The settings in force. Read without judging them: the board has, and a board of
    another version is watched all the same."""
    with contextlib.suppress(ValueError):
        found = json.loads(settings_line(data))
        if isinstance(found, dict):
            return found
    return {}


def _glance(time_s: float, name: str, state: dict[str, int], seen: _Seen) -> Glance:
    since = {key: value - seen.first[key] for key, value in state.items()}
    no_pace = state["validity"] == pages.NO_SENSOR
    percent_uj = _number(seen.settings, "percent_mj", 1e3)
    return Glance(
        time_s=time_s,
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
        energy_out_kind="measured" if seen.settings.get("out_shunt_uohm", 0) else "inferred",
        late_ticks=state["late_ticks"],
        sensor_errors=state["sensor_errors"],
    )


def _name(names: tuple[str, ...], code: int) -> str:
    return names[code] if code < len(names) else f"code {code}"


def _number(settings: dict[str, Any], key: str, scale: float) -> float | None:
    value = settings.get(key)
    return value * scale if isinstance(value, int) and not isinstance(value, bool) else None
