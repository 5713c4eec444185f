"""From when to when the lamp showed what, the phone was connected, the board was busy."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from steadyturn_fw import pages as layout

from steadyturn.report import words
from steadyturn.report.curves import Span
from steadyturn.report.plots_boots import Stretch, runs, stalls

CUE_ROWS = ("stop", "slower", "hold", "faster", "rest")  # too fast at the top


def cues(stretches: Sequence[Stretch]) -> dict[str, list[Span]]:
    """By cue's name, each in the order of time; one that is not known by its number."""
    found: dict[str, list[Span]] = {}
    for code, span in _runs(stretches, "cue"):
        found.setdefault(words.name_of(layout.CUES, code), []).append(span)
    return found


def rows(found: Iterable[str]) -> tuple[str, ...]:
    """Names of the rows from the top: what is neither too fast nor too slow above all."""
    return (*(name for name in found if name not in CUE_ROWS), *CUE_ROWS)


def connected(stretches: Sequence[Stretch], value: bool) -> list[Span]:
    return [span for code, span in _runs(stretches, "connected") if bool(code) == value]


def busy(stretches: Sequence[Stretch]) -> list[Span]:
    return [span for stretch in stretches for span in stalls(stretch)]


def bench(stretches: Sequence[Stretch]) -> list[Span]:
    """Where the board took readings for a bench: the lamp's beat was no cue, the load no phone."""
    return [(begin, begin + length) for stretch in stretches for code, begin, length in
            runs(stretch.bench, stretch.zero + stretch.samples["t_ms"] / 1000) if code]


def _runs(stretches: Sequence[Stretch], column: str) -> list[tuple[int, Span]]:
    found = []
    for stretch in stretches:
        live = stretch.cranked
        found += [(code, (begin, begin + length)) for code, begin, length
                  in runs(live[column], stretch.zero + live["t_ms"] / 1000)]
    return found
