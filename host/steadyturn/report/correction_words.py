"""The words of corrections of a board's readings: which, of when, and why one does not stay."""

from __future__ import annotations

from datetime import date
from typing import Any

from steadyturn.report.moments import MONTHS

NAMES = {"bus": "volts", "amps": "current", "out_bus": "volts at the output",
         "out_amps": "current at the output"}
_WHY = {
    "sensor": "it was another sensor's",
    "shunt": "it was another shunt's",
    "gain": "its gain is beyond what the board takes",
    "offset": "its offset is beyond what the board takes",
    "hides": "above the new limit it would hide volts",
    "unsure": "it is known too badly for the new limit",
    "coarse": "it is known too badly for the new limit",
}


def when(day: str) -> str:
    """2026-11-28 -> 28 Nov 2026.

    >>> when("2026-11-28"), when("")
    ('28 Nov 2026', 'of unknown date')
    """
    if not day:
        return "of unknown date"
    of = date.fromisoformat(day)
    return f"{of.day:02d} {MONTHS[of.month - 1]} {of.year}"


def taken(found: Any) -> list[str]:
    """A line for all that stay and one for each that does not (settings.corrections.Taken)."""
    stay = [t for t in found if not t.why]
    lines = []
    for day in dict.fromkeys(t.correction.day for t in stay):
        which = " and ".join(NAMES[t.quantity] for t in stay if t.correction.day == day)
        of = f"of {when(day)}" if day else "of unknown date"
        lines.append(f"correction {of} kept: {which}")
    lines += [f"correction of {NAMES[t.quantity]} dropped: {_WHY[t.why]}; "
              "'steadyturn calibrate' finds a new one" for t in found if t.why]
    return lines
