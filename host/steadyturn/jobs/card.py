"""The card for inside the lid: what a rig's lamp says and how to use it, on one side."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from steadyturn_fw import pages, patterns

from steadyturn.errors import Failed
from steadyturn.jobs import with_page
from steadyturn.jobs.charge_values import USB, device
from steadyturn.jobs.hazards import Hazard, hazards_of
from steadyturn.model.band import Band, find_band
from steadyturn.model.charging import charge, feed
from steadyturn.model.charging_sure import Span, sure
from steadyturn.report import card_page
from steadyturn.report.card_words import Words, words
from steadyturn.report.pace_empty import clash_line
from steadyturn.report.style import shown_path
from steadyturn.rig.types import Rig
from steadyturn.rig.wiring import all_pins
from steadyturn.settings.thresholds import thresholds

FROM = 0.2  # of the battery, where the ten minutes begin: no taper there
TEN_MINUTES_S = 600.0
SHOWN_FAULT, SHOWN_COUNT = 2, 12  # the examples that are drawn

_ROWS = {row[0]: n for n, row in enumerate(patterns.PATTERNS)}


@dataclass(frozen=True)
class Signal:
    """steps: (level, ms) of one round, as in `steadyturn_fw.patterns`, the beat filled in.
    Level 0: dark, silent, still; 1: lit, low tone, on; 2: high tone."""

    name: str
    steps: tuple[tuple[int, int], ...]


@dataclass(frozen=True)
class Card:
    """lamp: its kind; connect_tpm: from which pace on the load is connected; beat_ms: of
    `faster`, flashes_per_turn at the target. gained_percent: in ten minutes at the target, net,
    a phone switched off; None where nothing is charged.
    capacity_given: the rig names one, else the typical one counts. wake_tpm: from which pace on
    the board lives, None where the handle does not feed it. cut_v: what the rig names as its
    output's cut. hazards: second barriers that are missing. words: all that the card says."""

    file: str
    rig: str
    label: str
    lamp: str
    low_tpm: float
    connect_tpm: float
    target_tpm: float
    high_tpm: float
    beat_ms: int
    flashes_per_turn: float
    gained_percent: Span | None
    capacity_given: bool
    wake_tpm: float | None
    cut_v: float | None
    button: bool
    signals: tuple[Signal, ...]
    faults: dict[int, str]
    hazards: tuple[Hazard, ...]
    words: Words | None
    page: Path | None
    described: Rig = field(metadata={"json": False})


def card(path: str | Path, *, page: Path | None = None) -> Card:
    """The card of a rig file; page: also write it there as HTML.

    Raises WrongInput for the file's problems and where no page can be written there; Failed,
    with what to do, for a machine that is dangerous as built or has no pace that works.
    """
    return with_page.made(path, page, card_page, lambda rig: card_of(rig, path, page=page))


def card_of(rig: Rig, path: str | Path, *, page: Path | None = None) -> Card:
    """Like `card`, of a rig that was read from `path`; writes nothing."""
    band = find_band(rig, deep=False)
    hazards = hazards_of(rig, band)
    _refuse(rig, band, hazards, str(path))
    set_to = thresholds(rig, band)  # a board that cannot be set has no lamp to tell of
    assert band.low_tpm is not None
    assert band.target_tpm is not None
    assert band.high_tpm is not None
    beat_ms = patterns.beat_ms(round(10 * band.target_tpm))
    button = all_pins(rig.board.kind, rig.board.pins)["button_pin"] >= 0
    result = Card(
        file=str(path), rig=rig.name, label=rig.board.label, lamp=rig.board.lamp,
        low_tpm=band.low_tpm, connect_tpm=set_to.connect_tpm,
        target_tpm=band.target_tpm, high_tpm=band.high_tpm,
        beat_ms=beat_ms, flashes_per_turn=60_000 / band.target_tpm / beat_ms,
        gained_percent=_gained(rig, str(path), band.target_tpm),
        capacity_given=bool(rig.load.capacity_j), wake_tpm=_wake_tpm(rig, band),
        cut_v=rig.protection.output_cut_v, button=button,
        signals=tuple(signals(rig.board.lamp, beat_ms, button=button)),
        faults={code: name for code, name in enumerate(pages.FAULTS) if code},
        hazards=hazards, words=None, page=page, described=rig)
    return replace(result, words=words(result))


def _refuse(rig: Rig, band: Band, hazards: tuple[Hazard, ...], path: str) -> None:
    """A card for such a machine would be a lie."""
    shown = shown_path(path)
    worst = next((h for h in hazards if h.refuses), None)
    if worst is not None:
        raise Failed(
            f"No card for {rig.name}: it is dangerous as built. {worst.reason[:1].upper()}"
            f"{worst.reason[1:]}; {worst.volts:.1f} V where {worst.rating_v:.1f} V is borne.",
            f"{worst.how} Then 'steadyturn check {shown}'.")
    if not band.feasible:
        clash = clash_line(band)
        raise Failed(f"No card for {rig.name}: no pace works." + (f" {clash}." if clash else ""),
                     f"'steadyturn pace {shown}' says what parts them.")


def _gained(rig: Rig, path: str, pace_tpm: float) -> Span | None:
    """Percent of the device in ten minutes of turning, net of what it uses itself."""
    if rig.load.kind not in USB:
        return None
    known = device(rig, path, "off" if rig.load.kind == "phone" else None)
    given = feed(known, pace_tpm)
    done = charge(known.load, given, FROM, seconds=TEN_MINUTES_S)
    found = sure(known, given, done, seconds=TEN_MINUTES_S).gained
    return Span(100 * found.value, 100 * found.low, 100 * found.high)


def _wake_tpm(rig: Rig, band: Band) -> float | None:
    if rig.supply.feed != "crank":
        return None
    found = [limit.pace_tpm for limit in band.limits
             if limit.name == "board_wake" and limit.side == "low"]
    return max(found, default=None)


def signals(lamp: str, beat_ms: int, *, button: bool) -> list[Signal]:
    """What the lamp of that kind shows, one round of each, in the table's order."""
    column = patterns.COLUMN[lamp]

    def once(row: int) -> list[tuple[int, int]]:
        return _filled(patterns.PATTERNS[row][column], beat_ms)

    def named(name: str) -> list[tuple[int, int]]:
        return once(_ROWS[name])

    hold = named("hold")
    fault = [*once(patterns.LEAD), *once(patterns.FLASH) * SHOWN_FAULT, *once(patterns.PAUSE)]
    tens, ones = divmod(SHOWN_COUNT, 10)
    count = [*once(patterns.COUNT_LEAD), *once(patterns.TEN) * tens, *once(patterns.GAP),
             *once(patterns.ONE) * ones, *once(patterns.PAUSE)]
    found = [Signal(name, tuple(named(name)))
             for name in ("rest", "faster", "hold", "slower", "stop")]
    found.append(Signal("percent", tuple([*hold, *named("percent"), *hold * 3])))
    if button:
        found.append(Signal("count", tuple(count)))
    return [*found, Signal("fault", tuple(fault))]


def _filled(steps: Any, beat_ms: int) -> list[tuple[int, int]]:
    used = sum(ms for _, ms in steps if ms != patterns.BEAT)
    return [(level, beat_ms - used if ms == patterns.BEAT else ms) for level, ms in steps]
