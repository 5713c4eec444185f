"""firmware/lamp.md: how soon the lamp's signals are told apart, and how often they flash."""

from __future__ import annotations

from math import inf

from steadyturn.drawings.lamp_traces import BEATS_MS, SIGNALS, most_flashes, told_s

CUES = SIGNALS[:5]
CLASSES = {"led": "`led`, `two_led`, `rgb`", "piezo": "`piezo`", "vibration": "`vibration`"}

_HEAD = """\
# How soon the lamp's signals are told apart

Made from the patterns by `python -m steadyturn.jobs.drawings`; a test compares it, and another
holds what the firmware plays on MicroPython against the same traces.

![what each lamp kind shows in six seconds](lamp.svg)

The ideal watcher knows every pattern and sees each tick of 20 ms. Two signals are told apart at
the first tick whose level the other one would not have had even a tick earlier or later.
`percent` is a wink in `hold`, `fault` any count from 1 to 6, `count` one of 0, 1, 3, 10 and 12
percent. Colour and the second LED are not looked at: shape alone suffices.
"""


def worst_s(signal: str, other: str, kind: str, *, begun: bool) -> tuple[float, bool]:
    """The worst over all beats of what `told_s` says, and whether the beat matters."""
    beats = BEATS_MS if "faster" in (signal, other) else BEATS_MS[:1]
    found = [told_s(signal, other, kind, beat, begun=begun) for beat in beats]
    return max(found), max(found) > min(found)


def _cell(signal: str, other: str, kind: str, *, begun: bool) -> str:
    if signal == other or (signal, other) == ("hold", "percent"):
        return "-"
    seconds, beat = worst_s(signal, other, kind, begun=begun)
    return "never" if seconds == inf else f"{seconds:.2f}{' b' if beat else ''}"


def _table(signals: tuple[str, ...], kind: str, *, begun: bool) -> list[str]:
    lines = ["| is | " + " | ".join(f"from {other}" for other in signals) + " |",
             "|---" * (len(signals) + 1) + "|"]
    for signal in signals:
        cells = (_cell(signal, other, kind, begun=begun) for other in signals)
        lines.append(f"| {signal} | " + " | ".join(cells) + " |")
    return lines


def page_text() -> str:
    """The whole page as Markdown."""
    lines = [_HEAD]
    for kind, name in CLASSES.items():
        lines += [f"## {name}", "",
                  "Seconds after the lamp has changed to the row's signal, the worst of all",
                  "moments at which the column's may have been left (b: depends on the beat, the",
                  "worst of all):",
                  "", *_table(SIGNALS, kind, begun=True), "",
                  "Seconds after somebody looked up at any moment:", "",
                  *_table(CUES, kind, begun=False), ""]
        most = ", ".join(f"{s} {most_flashes(s, kind)}" for s in SIGNALS)
        lines += [f"Most rises within any second: {most}.", ""]
    lines += [_FOOT]
    return "\n".join(lines)


_FOOT = """\
## What is slower than a second, and why

- `rest` (and where that is silent or still, `hold`) from `faster`, or the other way round: only
  the flash that is missing or comes tells, so it takes a beat: above 1 s only where the target
  pace's beat is slower than 1.02 s. A lone pulse of a motor and a pair of them likewise.
- `rest` and `hold` of what sounds or shakes are the same silence: the hand knows which it is.
- `percent`, `fault` and `count` begin and end with dark or silence that sets them off, and what
  follows is known only when that is over. None of them asks for another pace, and `stop` cuts
  each off. `hold` is not told from `percent`: a wink is `hold` as well."""
