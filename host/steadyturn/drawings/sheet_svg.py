"""A sheet as SVG text: black on white, words as words, numbers to a hundredth of a pixel."""

from __future__ import annotations

import re
from html import escape

from steadyturn.drawings.sheet import PX, SIZE, Box, Sheet, Words, width
from steadyturn.drawings.sheet_nets import dots

MARGIN = 0.4  # about the paper, units
USUAL = {"stroke": "black", "fill": "none", "stroke-width": "1.3", "stroke-linecap": "round",
         "stroke-linejoin": "round"}


def svg_text(sheet: Sheet) -> str:
    """The whole picture. Needs schemdraw (extra `drawings`)."""
    wide, high = sheet.paper
    head = (f'<svg xmlns="http://www.w3.org/2000/svg" '
            f'viewBox="{_px(-MARGIN)} {_px(-high - MARGIN)} '
            f'{_px(wide + 2 * MARGIN)} {_px(high + 2 * MARGIN)}" '
            f'width="{_px(wide + 2 * MARGIN)}" height="{_px(high + 2 * MARGIN)}" '
            f'font-family="Arial, Helvetica, sans-serif" font-size="{SIZE:g}" fill="black">')
    paper = (f'<rect x="{_px(-MARGIN)}" y="{_px(-high - MARGIN)}" '
             f'width="{_px(wide + 2 * MARGIN)}" height="{_px(high + 2 * MARGIN)}" fill="white"/>')
    frames = [_frame(box) for box in sheet.dashed]
    points = [f'<circle cx="{_px(x)}" cy="{_px(-y)}" r="2.6"/>' for x, y in dots(sheet)]
    title = Words(0, high - 0.15, sheet.title, size=16, bold=True)
    words = [_words(each) for each in (title, *sheet.words) if each.text]
    return "\n".join([head, f"<title>{escape(sheet.title)}</title>", paper, *frames,
                      *_symbols(sheet), *points, *words, "</svg>"]) + "\n"


def _symbols(sheet: Sheet) -> list[str]:
    """schemdraw's own lines, one element a line."""
    import schemdraw
    import schemdraw.elements as elm

    with schemdraw.Drawing(canvas="svg", show=False) as drawing:
        drawing.config(unit=2, lw=1.3, inches_per_unit=0.5, margin=0)
        for symbol in sheet.symbols:
            drawing.add(symbol)
        for a, b in sheet.wires:
            drawing.add(elm.Line().at(a).to(b))
    drawn = drawing.get_imagedata("svg").decode()
    parts = re.findall(r"<(?:polygon|path|circle|ellipse|polyline|line|rect)\b[^>]*/>", drawn)
    lines = [re.sub(r"-?\d+\.\d+(?:e-?\d+)?", _rounded, _plain(part)) for part in parts]
    usual = " ".join(f'{key}="{value}"' for key, value in USUAL.items())
    return [f"<g {usual}>", *lines, "</g>"]


def _plain(element: str) -> str:
    """Its style as attributes, which a page's security policy lets through, but for USUAL."""
    found = re.search(r' style="([^"]*)"', element)
    assert found is not None
    pairs = (item.split(":", 1) for item in found[1].split(";") if item)
    more = "".join(f' {key}="{value}"' for key, value in pairs
                   if USUAL.get(key) != value and (key, value) != ("stroke-dasharray", "-"))
    return element.replace(found[0], more).replace(" />", "/>").replace(' "', '"')


def _rounded(found: re.Match[str]) -> str:
    return _number(float(found[0]))


def _number(value: float) -> str:
    return f"{round(value, 2) + 0.0:g}" if abs(value) < 1e4 else f"{value:.0f}"


def _px(units: float) -> str:
    return _number(units * PX)


def _frame(box: Box) -> str:
    return (f'<rect x="{_px(box.left)}" y="{_px(-box.top)}" width="{_px(box.right - box.left)}" '
            f'height="{_px(box.top - box.bottom)}" rx="6" fill="none" stroke="black" '
            'stroke-width="0.8" stroke-dasharray="5 4"/>')


def _words(words: Words) -> str:
    more = "" if words.anchor == "start" else f' text-anchor="{words.anchor}"'
    more += "" if words.size == SIZE else f' font-size="{words.size:g}"'
    more += ' font-weight="bold"' if words.bold else ""
    return (f'<text x="{_px(words.x)}" y="{_px(-words.y)}"{more}>{escape(words.text)}</text>')


def room(words: Words) -> Box:
    """What a line of text takes."""
    wide = width(words.text, words.size) * (1.06 if words.bold else 1)
    left = words.x - {"start": 0.0, "middle": wide / 2, "end": wide}[words.anchor]
    high = words.size / PX
    return Box(left, words.y - 0.2 * high, left + wide, words.y + 0.75 * high)
