"""The breadboard drawn: every part on its holes, every hole that takes a wire."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from html import escape

from steadyturn.circuit.table import Part
from steadyturn.drawings.breadboard import CHIP, HOLE, Built, Lead
from steadyturn.drawings.placer import ROWS

PITCH, LEFT, TOP = 17.0, 40.0, 56.0
MIDDLE, RAIL = 26.0, 24.0  # across the middle; between a rail and the nearest column
LETTERS = "abcdefghij"
MARK = {"electrolytic": "plus", "schottky": "cathode", "small_schottky": "cathode",
        "zener": "cathode", "led": "cathode", "diode": "cathode"}
WIDE = LEFT + ROWS * PITCH + 30
HIGH = TOP + 2 * RAIL + 9 * PITCH + MIDDLE + 72


def spot(place: str) -> tuple[float, float]:
    """Pixels of a hole: rows run to the right, columns down from a."""
    found = HOLE.fullmatch(place)
    assert found is not None
    column = LETTERS.index(found[1])
    y = TOP + RAIL + column * PITCH + (MIDDLE - PITCH if column > 4 else 0)
    return LEFT + (int(found[2]) - 0.5) * PITCH, y


def picture(made: Built, parts: Sequence[Part], title: str) -> str:
    """SVG text."""
    by_ref = {part.ref: part for part in parts}
    legs: dict[str, list[Lead]] = {}
    for lead in made.leads:
        if HOLE.fullmatch(lead.place):
            legs.setdefault(lead.ref, []).append(lead)
    lines = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDE:g} {HIGH:g}" '
        f'width="{WIDE:g}" height="{HIGH:g}" font-family="Arial, Helvetica, sans-serif" '
        'font-size="11" fill="black">', f"<title>{escape(title)}</title>",
        f'<rect width="{WIDE:g}" height="{HIGH:g}" fill="white"/>',
        _text(LEFT - 30, 20, title, 'font-size="15" font-weight="bold"')]
    lines += _ground(made)
    for ref, leads in legs.items():
        lines += _part(ref, leads, by_ref)
    lines.append(_text(LEFT - 30, HIGH - 24, "Black squares take a wire: the table says where to. "
                       "A bar marks a diode's cathode, + an electrolytic's plus."))
    lines.append(_text(LEFT - 30, HIGH - 9, "Holes in a row a-e are joined, so are f-j; the rails "
                       "run along the edges."))
    return "\n".join([*lines, "</svg>"]) + "\n"


def _ground(made: Built) -> list[str]:
    """Frame, holes, rails, numbers, and where wires go in."""
    right = LEFT + ROWS * PITCH
    low = spot("j1")[1]
    lines = [f'<rect x="{LEFT - 18:g}" y="{TOP - 26:g}" width="{right - LEFT + 36:g}" '
             f'height="{low + RAIL + 26 - TOP + 24:g}" rx="6" fill="none" stroke="black"/>']
    rails = ((TOP - 12, "+"), (TOP + 2, "-"), (low + RAIL - 2, "+"), (low + RAIL + 12, "-"))
    for y, sign in rails:
        dash = "" if sign == "+" else ' stroke-dasharray="6 3"'
        lines += [f'<path d="M {LEFT:g} {y:g} H {right:g}" stroke="black" fill="none"{dash}/>',
                  _text(LEFT - 8, y + 3, sign, 'text-anchor="middle" font-weight="bold"')]
    dots = [f"M {x - 0.8:g} {y:g} h 1.6" for row in range(1, ROWS + 1) for letter in LETTERS
            for x, y in (spot(f"{letter}{row}"),)]
    lines.append(f'<path d="{" ".join(dots)}" stroke="#808080" stroke-width="1.6"/>')
    for letter in LETTERS:
        lines.append(_text(LEFT - 8, spot(f"{letter}1")[1] + 3, letter, 'text-anchor="middle"'))
    for row in (1, *range(5, ROWS + 1, 5)):
        x, y = spot(f"e{row}")
        lines.append(_text(x, y + (MIDDLE + 7) / 2, str(row), 'text-anchor="middle"'))
    for wire in made.wires:
        for place in (wire.start, wire.end):
            if HOLE.fullmatch(place):
                x, y = spot(place)
                lines.append(f'<rect x="{x - 2.5:g}" y="{y - 2.5:g}" width="5" height="5"/>')
    return lines


def _part(ref: str, leads: Sequence[Lead], by_ref: Mapping[str, Part]) -> list[str]:
    at = {lead.pin: spot(lead.place) for lead in leads}
    x0, x1 = min(x for x, _ in at.values()), max(x for x, _ in at.values())
    y = next(iter(at.values()))[1]
    if ref == CHIP:
        top, low = spot("e1")[1] - 4, spot("f1")[1] + 4
        x1 = x0 + 3 * PITCH
        return [f'<rect x="{x0 - 6:g}" y="{top:g}" width="{x1 - x0 + 12:g}" '
                f'height="{low - top:g}" fill="white" stroke="black" stroke-width="1.3"/>',
                f'<circle cx="{x0:g}" cy="{top + 7:g}" r="2" fill="none" stroke="black"/>',
                _text((x0 + x1) / 2, (top + low) / 2 + 3, ref,
                      'text-anchor="middle" font-weight="bold"')]
    lines = [f'<path d="M {x0:g} {y:g} H {x1:g}" stroke="black" stroke-width="1.2"/>']
    lines += [f'<circle cx="{x:g}" cy="{yy:g}" r="2.4" fill="white" stroke="black"/>'
              for x, yy in at.values()]
    middle, wide = (x0 + x1) / 2, max(20.0, 7.4 * len(ref))
    lines += [f'<rect x="{middle - wide / 2:g}" y="{y - 6.5:g}" width="{wide:g}" height="13" '
              'rx="2" fill="white" stroke="black"/>',
              _text(middle, y + 4, ref, 'text-anchor="middle"')]
    mark = MARK.get(by_ref[ref].kind)
    if mark:
        x = at[mark][0]
        toward = 1 if x < middle else -1
        if mark == "plus":
            lines.append(_text(x + 4 * toward, y - 5, "+", 'text-anchor="middle"'))
        else:
            bar = x + 5.5 * toward
            lines.append(f'<path d="M {bar:g} {y - 6:g} v 12" stroke="black" stroke-width="2.4"/>')
    if len(at) == 3:
        letters = {"reference": "R", "cathode": "K", "anode": "A"}
        lines += [_text(x, y - 4, letters.get(pin, pin[0].upper()), 'text-anchor="middle" '
                        'font-size="9"') for pin, (x, _) in at.items() if abs(x - middle) > 9]
    return lines


def _text(x: float, y: float, text: str, more: str = "") -> str:
    return f'<text x="{x:g}" y="{y:g}" {more}>{escape(text)}</text>'
