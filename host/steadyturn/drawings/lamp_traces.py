"""What the lamp shows, tick by tick, and how soon somebody can tell two signals apart.

The ideal watcher knows every pattern, sees each tick, and forgets nothing. Two signals are
told apart at the first tick whose level the other one would not have had even a tick earlier
or later: an edge that comes late does not count.
"""

from __future__ import annotations

from functools import cache
from math import inf
from typing import Any

import numpy as np
from numpy.typing import NDArray
from steadyturn_fw import patterns as table

TICK_MS = 20
BEATS_MS = tuple(range(560, 1101, 60))  # from the quickest to the slowest
FAULTS = range(1, 7)
COUNTS = (0, 1, 3, 10, 12)
# what is told apart: the cues, a wink while it is hold, a fault, a count of percents
SIGNALS = ("rest", "faster", "hold", "slower", "stop", "percent", "fault", "count")
_HOLD_AFTER = 60  # ticks of hold after a wink, at least
_NAMES = {row[0]: i for i, row in enumerate(table.PATTERNS)}

Levels = NDArray[np.int8]


def once(row: int, column: int, beat_ms: int = 860) -> Levels:
    """Levels of one row of the patterns, played once, a tick each.

    >>> once(4, 1).tolist()
    [1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0]
    """
    steps: Any = table.PATTERNS[row][column]
    levels: list[int] = []
    for level, ms in steps:
        ticks = (beat_ms if ms == table.BEAT else ms) // TICK_MS
        levels += [level] * (ticks - len(levels) if ms == table.BEAT else ticks)
    return np.array(levels, dtype=np.int8)


def fault(number: int, column: int) -> Levels:
    return np.concatenate([once(table.LEAD, column), *[once(table.FLASH, column)] * number,
                           once(table.PAUSE, column)])


def count(number: int, column: int) -> Levels:
    tens, ones = divmod(number, 10)
    parts = [once(table.COUNT_LEAD, column), *[once(table.TEN, column)] * tens]
    if tens and ones:
        parts.append(once(table.GAP, column))
    parts += [once(table.ONE, column)] * ones
    if not number:
        parts.append(once(table.NONE, column))
    return np.concatenate([*parts, once(table.PAUSE, column)])


def cycles(signal: str, column: int, beat_ms: int = 860) -> list[Levels]:
    """Everything that this signal may be, each as one round of what then repeats."""
    if signal == "fault":
        return [fault(n, column) for n in FAULTS]
    if signal == "count":
        return [count(n, column) for n in COUNTS]
    shown = once(_NAMES[signal], column, beat_ms)
    if signal == "percent":
        shown = np.concatenate([shown, *[once(_NAMES["hold"], column)[:1]] * _HOLD_AFTER])
    return [shown]


def hue(signal: str) -> int:
    """What a pixel's colour and a second LED repeat of it: `patterns.HUES`."""
    row = {"fault": table.FLASH, "count": table.ONE}.get(signal)
    return table.HUES[_NAMES[signal] if row is None else row]


@cache
def _phases(key: bytes, ticks: int) -> NDArray[np.int8]:
    """A round from each of its ticks on: [phase, tick], so many ticks of it."""
    shown = np.frombuffer(key, dtype=np.int8)
    return shown[(np.arange(len(shown))[:, None] + np.arange(ticks)) % len(shown)]


def _refuted(seen: NDArray[np.int8], other: Levels) -> float:
    """Seconds until each row of `seen` [row, tick] is surely not `other` at any of its phases,
    the worst of rows and phases; inf: never."""
    may = _phases(other.tobytes(), seen.shape[1])
    early, late = np.roll(may, 1, axis=0), np.roll(may, -1, axis=0)
    worst = 0
    for row in seen:
        unlike = (row != may) & (row != early) & (row != late)
        if not unlike.any(axis=1).all():
            return inf
        worst = max(worst, int(unlike.argmax(axis=1).max()) + 1)
    return worst * TICK_MS / 1000


def told_s(signal: str, other: str, kind: str, beat_ms: int = 860, *, begun: bool) -> float:
    """Seconds until `signal` is told from `other`, the worst of all that both may be.

    begun: the lamp changes to `signal` while it showed `other` (which may have been anywhere
    in its round); otherwise somebody looks up at any moment of `signal`. inf: never.

    >>> told_s("stop", "hold", "led", begun=True)
    0.22
    >>> told_s("rest", "hold", "piezo", begun=True)
    inf
    """
    column = table.COLUMN[kind]
    worst = 0.0
    for one in cycles(signal, column, beat_ms):
        for two in cycles(other, column, beat_ms):
            seen = _phases(one.tobytes(), len(one) + len(two) + 2)
            worst = max(worst, _refuted(seen[:1] if begun else seen, two))
    return worst


def most_flashes(signal: str, kind: str) -> int:
    """The most times it becomes light, sounds or moves within any second."""
    most = 0
    for beat_ms in BEATS_MS:
        for one in cycles(signal, table.COLUMN[kind], beat_ms):
            long = np.tile(one, 2 + 100 // len(one)) > 0
            rises = np.flatnonzero(long[1:] & ~long[:-1])
            for start in rises:
                most = max(most, int(((rises >= start) & (rises < start + 50)).sum()))
    return most
