"""firmware/lamp.svg: six seconds of every signal on every lamp kind, as a strip chart.

Readable in grey: shape and place carry all, a pixel's colour only repeats it.
"""

from __future__ import annotations

from itertools import groupby

import numpy as np
from steadyturn_fw import patterns as table

from steadyturn.drawings.lamp_traces import SIGNALS, TICK_MS, Levels, count, cycles, fault, hue

SECONDS = 6
SHOWN = {"fault": "fault 2", "count": "count 12", "percent": "percent in hold"}
# a pixel's default colours as a screen shows them (sRGB of Okabe & Ito 2008), by hue
COLORS = ("#0072B2", "#009E73", "#E69F00", "#D55E00", "#FFFFFF")
LIT, DARK, PAPER = "#FFFFFF", "#202020", "#F4F4F4"

_LEFT, _WIDTH, _ROW, _GAP, _HEAD = 118, 600, 14, 6, 24
_TITLES = {
    "led": "led: one LED", "two_led": "two_led: first LED above, second below",
    "rgb": "rgb: one pixel, its default colours", "piezo": "piezo: low and high tone",
    "vibration": "vibration: motor on",
}


def shown(signal: str, kind: str) -> Levels:
    """Six seconds of a signal, a level a tick."""
    column = table.COLUMN[kind]
    if signal == "fault":
        levels = fault(2, column)
    elif signal == "count":
        levels = count(12, column)
    else:
        levels = cycles(signal, column)[0]
    return np.resize(levels, SECONDS * 1000 // TICK_MS)


def _box(x: float, y: float, width: float, height: float, fill: str) -> str:
    return (f'<rect x="{x:g}" y="{y:g}" width="{width:g}" height="{height:g}" fill="{fill}"/>')


def _words(x: float, y: float, text: str, more: str = "") -> str:
    return f'<text x="{x:g}" y="{y:g}"{more}>{text}</text>'


def _strip(levels: Levels, y: float, height: float, kind: str, fill: str) -> list[str]:
    """One dark band with what is lit on it; a low tone is half as high as a high one."""
    parts = [_box(_LEFT, y, _WIDTH, height, DARK)]
    scale = _WIDTH / len(levels)
    at = 0
    for level, run in groupby(levels.tolist()):
        ticks = len(list(run))
        if level:
            tall = height - 2 if kind != "piezo" or level == 2 else (height - 2) / 2
            parts.append(_box(round(_LEFT + at * scale, 2), y + height - 1 - tall,
                              round(ticks * scale, 2), tall, fill))
        at += ticks
    return parts


def _panel(kind: str, y: float) -> tuple[list[str], float]:
    parts = [_words(8, y + 14, _TITLES[kind], ' font-weight="bold"')]
    y += _HEAD
    for signal in SIGNALS:
        levels = shown(signal, kind)
        parts.append(_words(_LEFT - 8, y + 11, SHOWN.get(signal, signal), ' text-anchor="end"'))
        fill = COLORS[hue(signal)] if kind == "rgb" else LIT
        if kind == "two_led":
            second = levels if hue(signal) >= table.MUCH else np.zeros_like(levels)
            parts += _strip(levels, y, _ROW / 2, kind, fill)
            parts += _strip(second, y + _ROW / 2 + 1, _ROW / 2, kind, fill)
        else:
            parts += _strip(levels, y, _ROW, kind, fill)
        y += _ROW + _GAP
    for second_ in range(SECONDS + 1):
        x = _LEFT + _WIDTH * second_ / SECONDS
        parts.append(_words(x, y + 8, f"{second_} s", ' text-anchor="middle" font-size="10"'))
    return parts, y + 26


def chart_text() -> str:
    """The picture as SVG text."""
    parts: list[str] = []
    y = 8.0
    for kind in _TITLES:
        panel, y = _panel(kind, y)
        parts += panel
    width = _LEFT + _WIDTH + 26
    head = (f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width:g} {y:g}" '
            f'width="{width:g}" height="{y:g}" font-family="sans-serif" font-size="12" '
            f'fill="{DARK}">')
    title = "<title>What each lamp kind shows in six seconds, beat 0.86 s</title>"
    return "\n".join([head, title, _box(0, 0, width, y, PAPER), *parts, "</svg>"]) + "\n"
