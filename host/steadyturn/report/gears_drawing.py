"""Drawings of a train as SVG text: the wheels at 1:1, and the assembly seen from the handle.

Lengths in mm; y upwards as in the parts (a drawing's groups turn it over).
"""

from __future__ import annotations

from collections.abc import Sequence
from html import escape
from math import cos, hypot, pi, radians, sin
from typing import Any

INK, FAINT, PLATE, COVER = "#1a1a1a", "#767676", "#f1f1ec", "#5b8db8"
WHEELS = ("#cfe3f2", "#f3d9b8", "#d5ead9", "#e6d6ea")  # by axle, light: lines carry the meaning
CAN = "#d9d9d9"
_MARGIN = 8.0
_LETTER_MM = 1.75  # of the names under the wheels, on average
_FONT = "font-family='DejaVu Sans, Arial, sans-serif'"


def path(points: Any) -> str:
    """Path data of a closed outline, to a hundredth of a mm."""
    steps = " ".join(f"{x:.2f} {y:.2f}" for x, y in points.tolist())
    return f"M{steps}Z"


def _circle(x: float, y: float, r: float, more: str = "") -> str:
    return f"<circle cx='{x:.2f}' cy='{y:.2f}' r='{r:.2f}' {more}/>"


def hexagon(across: float) -> str:
    r = across / 3**0.5
    corners = " ".join(f"{r * cos(pi / 3 * n):.2f},{r * sin(pi / 3 * n):.2f}" for n in range(6))
    return f"<polygon points='{corners}' fill='none' stroke='{INK}' stroke-width='0.4'/>"


def head(width: float, height: float, title: str, text: str, *, sized: bool = True,
         key: str = "") -> str:
    """The first lines of a drawing; sized: so many mm wide on paper; key: begins its ids in a
    page, by which title and text are read out."""
    size = f"width='{width:.2f}mm' height='{height:.2f}mm' " if sized else ""
    named = f"role='img' aria-labelledby='{key}-t {key}-d' " if key else ""
    ids = (f" id='{key}-t'", f" id='{key}-d'") if key else ("", "")
    return (f"<svg xmlns='http://www.w3.org/2000/svg' {size}{named}"
            f"viewBox='0 0 {width:.2f} {height:.2f}'>\n<title{ids[0]}>{escape(title)}</title>\n"
            f"<desc{ids[1]}>{escape(text)}</desc>\n")


# ------------------------------------------------------------------------- wheels at 1:1


def wheels_svg(drawing: Any) -> str:
    """Every wheel's outline and bore at true size, a scale to check the print against."""
    sheet, x, y, deep, widest = [], _MARGIN, 24.0, 0.0, 0.0
    for wheel in drawing.wheels:
        size = 2 * wheel.tip_mm
        name = (f"{wheel.teeth} teeth, m {wheel.module_mm:g}, x {wheel.shift:+.2f}, "
                f"{wheel.width_mm:g} wide")
        broad = max(size, _LETTER_MM * len(name))
        if x > _MARGIN and x + broad > 200:
            x, y, deep = _MARGIN, y + deep + 14, 0.0
        cx, cy = x + broad / 2, y + size / 2
        sheet.append(
            f"<g transform='translate({cx:.2f} {cy:.2f}) scale(1 -1)' fill='none' "
            f"stroke='{INK}' stroke-width='0.1'><path d='{path(wheel.points)}'/>"
            f"{_circle(0, 0, wheel.bore_mm / 2)}<path d='M-2 0H2M0 -2V2'/></g>"
            f"<text x='{cx:.2f}' y='{y + size + 5:.2f}' text-anchor='middle' "
            f"font-size='3' {_FONT}>{escape(name)}</text>")
        x, deep = x + broad + 8, max(deep, size)
        widest = max(widest, x)
    width, height = max(widest, 120.0), y + deep + 14
    scale = (f"<g stroke='{INK}' stroke-width='0.2' fill='none'><path d='M{_MARGIN} 14h50m-50 -2v4"
             "m10 -3v2m10 -2v2m10 -2v2m10 -2v2m10 -3v4'/></g>"
             f"<text x='{_MARGIN + 52}' y='15' font-size='3.2' {_FONT}>50 mm: print at 100 %"
             "</text>"
             f"<text x='{_MARGIN}' y='8' font-size='4' {_FONT}>{escape(drawing.title)}</text>")
    return head(width, height, drawing.title, drawing.text) + scale + "\n".join(sheet) + \
        "\n</svg>\n"


# --------------------------------------------------------------------------- the assembly


def bounds(drawing: Any) -> tuple[float, float, float, float]:
    """x and y from and to, of the plate with its columns and the arm."""
    xs = [p[0] for p in drawing.outline] + [p[0] for p in drawing.columns]
    ys = [p[1] for p in drawing.outline] + [p[1] for p in drawing.columns]
    return min(xs) - 8, min(ys) - 8, max(xs) + 8, max(ys) + 8


def assembly_group(drawing: Any) -> str:
    """Everything that stands, then what turns: a group for each axle with its ratio, from the
    back forwards. To be put into a group that turns y over."""
    parts = [f"<path d='{_closed(drawing.outline)}' fill='{PLATE}' stroke='{INK}' "
             "stroke-width='0.5'/>"]
    parts += [_circle(x, y, drawing.column_mm,
                      f"fill='{PLATE}' stroke='{INK}' stroke-width='0.4'")
              for x, y in drawing.columns]
    parts += [_circle(x, y, drawing.can_mm / 2, f"fill='{CAN}' stroke='{FAINT}' "
                      "stroke-width='0.5' stroke-dasharray='3 1.5'") for x, y in drawing.motors]
    for wheel in sorted(drawing.wheels_placed, key=lambda w: (-w.plane, w.axle)):
        color = WHEELS[min(wheel.axle, len(WHEELS) - 1)]
        inner = [f"<path d='{path(wheel.points)}' fill='{color}' fill-opacity='0.88' "
                 f"stroke='{INK}' stroke-width='0.3'/>",
                 _circle(0, 0, wheel.bore_mm / 2,
                         f"fill='#ffffff' stroke='{INK}' stroke-width='0.3'"),
                 f"<path d='M{wheel.root_mm * 0.55:.2f} 0H{wheel.root_mm * 0.9:.2f}' "
                 f"stroke='{INK}' stroke-width='0.6'/>"]
        if wheel.hexagon_mm:
            inner.append(hexagon(wheel.hexagon_mm))
        parts.append(
            f"<g class='turns' data-ratio='{wheel.ratio:.9f}' "
            f"data-start='{wheel.start_rad * 180 / pi:.6f}' data-x='{wheel.x:.3f}' "
            f"data-y='{wheel.y:.3f}' transform='translate({wheel.x:.3f} {wheel.y:.3f}) "
            f"rotate({wheel.start_rad * 180 / pi:.6f})'>{''.join(inner)}</g>")
    return "\n".join(parts)


def _closed(points: Sequence[tuple[float, float]]) -> str:
    return "M" + " ".join(f"{x:.2f} {y:.2f}" for x, y in points) + "Z"


def labels(drawing: Any) -> list[tuple[float, float, str]]:
    """Words on the assembly: x, y (upwards) and text."""
    found = []
    for wheel in drawing.wheels_placed:
        if wheel.driver:
            angle = radians(250)
            far = wheel.tip_mm * 0.62
            found.append((wheel.x + far * cos(angle), wheel.y + far * sin(angle),
                          f"{wheel.teeth}"))
    (ax, ay), out = drawing.last_axle, drawing.can_mm / 2 - 6
    for x, y in drawing.motors:  # on the far side of the last wheel
        far = hypot(x - ax, y - ay) or 1.0
        found.append((x + (x - ax) / far * out, y + (y - ay) / far * out - 1.5, "motor"))
    return found


def assembly_svg(drawing: Any) -> str:
    """The assembly seen from the handle's side, cover off, with centre distances."""
    left, low, right, high = bounds(drawing)
    width = max(right - left, 2.05 * len(drawing.subtitle) + 8, 3 * len(drawing.title) + 8)
    height = high - low + 22
    texts = [f"<text x='4' y='8' font-size='5' {_FONT}>{escape(drawing.title)}</text>",
             f"<text x='4' y='14' font-size='3.4' fill='{FAINT}' {_FONT}>"
             f"{escape(drawing.subtitle)}</text>"]
    texts += [f"<text x='{x - left:.2f}' y='{high - y + 18:.2f}' text-anchor='middle' "
              f"font-size='4' fill='{INK}' {_FONT} stroke='#ffffff' stroke-width='0.8' "
              f"paint-order='stroke'>{escape(word)}</text>"
              for x, y, word in labels(drawing)]
    lines = []
    for (x1, y1), (x2, y2), word in drawing.distances:
        mx, my = (x1 + x2) / 2, (y1 + y2) / 2
        lines.append(f"<path d='M{x1 - left:.2f} {high - y1 + 18:.2f}L{x2 - left:.2f} "
                     f"{high - y2 + 18:.2f}' stroke='{INK}' stroke-width='0.25' "
                     "stroke-dasharray='4 1 1 1'/>"
                     f"<text x='{mx - left:.2f}' y='{high - my + 16.6:.2f}' text-anchor='middle' "
                     f"font-size='3.4' {_FONT} stroke='#ffffff' stroke-width='1' "
                     f"paint-order='stroke'>{escape(word)}</text>")
    moved = f"<g transform='translate({-left:.2f} {high + 18:.2f}) scale(1 -1)'>"
    return (head(width, height, drawing.title, drawing.text) + moved + assembly_group(drawing)
            + "</g>\n" + "\n".join(lines + texts) + "\n</svg>\n")
