"""firmware/cue.svg: each person's share of time in the band, and a minute of one of them.

Readable in grey: places and words carry all.
"""

from __future__ import annotations

from itertools import groupby

from steadyturn.drawings import cue_results
from steadyturn.drawings.cue_page import BANDS, WAYS
from steadyturn.drawings.cue_results import Cell, Results, middle, worst_tenth

INK, PAPER, BAND, LINE, MARK = "#202020", "#F4F4F4", "#D5E6D5", "#1F4E79", "#B03A2E"
FILLS = {"faster": "#505050", "hold": "#FFFFFF", "slower": "#BBBBBB", "stop": "#B03A2E",
         "rest": "#202020"}
_LEFT, _WIDTH, _ROW = 215, 500, 20
_STRIP = 150.0
WORDS = {"faster": "f", "hold": "hold", "slower": "s", "stop": "stop", "rest": "rest"}


def _words(x: float, y: float, text: str, more: str = "") -> str:
    return f'<text x="{x:g}" y="{y:g}"{more}>{text}</text>'


def _box(x: float, y: float, width: float, height: float, fill: str, more: str = "") -> str:
    return (f'<rect x="{round(x, 2):g}" y="{round(y, 2):g}" width="{round(width, 2):g}" '
            f'height="{round(height, 2):g}" fill="{fill}"{more}/>')


def _people(cell: Cell, y: float) -> list[str]:
    """A tick for each person, a tall one at the median, a mark below the worst tenth."""
    at = [_LEFT + _WIDTH * share for share in cell.in_band]
    parts = [_box(x - 0.5, y + 4, 1, _ROW - 8, LINE, ' opacity="0.45"') for x in at]
    parts.append(_box(_LEFT + _WIDTH * middle(cell.in_band) - 1.5, y + 1, 3, _ROW - 2, INK))
    x = _LEFT + _WIDTH * worst_tenth(False, cell.in_band)
    parts.append(f'<path d="M{x:.2f} {y + 13:g} l4 6 h-8 z" fill="{MARK}"/>')
    return parts


def _shares(results: Results, y: float) -> tuple[list[str], float]:
    parts = [_words(8, y + 12, "share of the steady time in the band, a stroke a person "
                    "(bar: median; triangle: worst tenth)", ' font-weight="bold"')]
    y += 24
    for band in BANDS:
        for way, name in WAYS.items():
            parts.append(_words(_LEFT - 8, y + 14, f"+/-{band} %, {name}", ' text-anchor="end"'))
            parts.append(_box(_LEFT, y + _ROW - 1, _WIDTH, 0.5, "#AAAAAA"))
            parts += _people(results.cell(way, band), y)
            y += _ROW
        y += 8
    for percent in range(0, 101, 20):
        parts.append(_words(_LEFT + _WIDTH * percent / 100, y + 8, f"{percent} %",
                            ' text-anchor="middle" font-size="10"'))
    return parts, y + 34


def _strip(results: Results, y: float) -> tuple[list[str], float]:
    s = results.strip
    t, paces, target = s["t_s"], s["pace_tpm"], s["target_tpm"]
    low, high = s["band_tpm"]
    top = 1.45 * target
    scale_t, scale_y = _WIDTH / t[-1], _STRIP / top
    parts = [_words(8, y + 12, f"the person at the median: turns/min, band {low:g}-{high:g}; "
                    "below, the lamp (f: faster, s: slower)", ' font-weight="bold"')]
    y += 22
    bottom = y + _STRIP
    parts.append(_box(_LEFT, bottom - high * scale_y, _WIDTH, (high - low) * scale_y, BAND))
    parts.append(_box(_LEFT, bottom - target * scale_y, _WIDTH, 0.6, INK))
    line = " ".join(f"{_LEFT + x * scale_t:.1f},{bottom - p * scale_y:.1f}"
                    for x, p in zip(t, paces, strict=True))
    parts.append(f'<polyline points="{line}" fill="none" stroke="{LINE}" stroke-width="1.4"/>')
    for pace in (0, low, target, high):
        parts.append(_words(_LEFT - 8, bottom - pace * scale_y + 4, f"{pace:g}",
                            ' text-anchor="end" font-size="10"'))
    at = 0.0
    step = t[-1] / len(t)
    for cue, run in groupby(s["cue"]):
        wide = len(list(run)) * step
        x = _LEFT + at * scale_t
        parts.append(_box(x, bottom + 6, wide * scale_t, 14, FILLS[cue],
                          f' stroke="{INK}" stroke-width="0.4"'))
        name = WORDS[cue]
        if wide * scale_t > 6 * len(name) + 2:
            fill = INK if cue in ("hold", "slower") else "#FFFFFF"
            parts.append(_words(x + wide * scale_t / 2, bottom + 17, name,
                                f' text-anchor="middle" font-size="9" fill="{fill}"'))
        at += wide
    for second in range(0, int(t[-1]) + 1, 10):
        parts.append(_words(_LEFT + second * scale_t, bottom + 33, f"{second} s",
                            ' text-anchor="middle" font-size="10"'))
    return parts, bottom + 46


def chart_text() -> str:
    """The picture as SVG text."""
    results = cue_results.read()
    above, y = _shares(results, 8.0)
    below, y = _strip(results, y)
    width = _LEFT + _WIDTH + 30
    head = (f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width:g} {y:g}" '
            f'width="{width:g}" height="{y:g}" font-family="sans-serif" font-size="12" '
            f'fill="{INK}">')
    title = "<title>How long simulated people are in the band, and one of them</title>"
    return "\n".join([head, title, _box(0, 0, width, y, PAPER), *above, *below, "</svg>"]) + "\n"
