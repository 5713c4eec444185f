"""Do words on a sheet overlap, touch a wire or a symbol, or run off the paper?"""

from __future__ import annotations

from itertools import combinations

from steadyturn.drawings.sheet import Box, Sheet
from steadyturn.drawings.sheet_svg import room

HALF_LINE = 0.02


def hit(a: Box, b: Box) -> bool:
    return a.left < b.right and b.left < a.right and a.bottom < b.top and b.bottom < a.top


def inside(a: Box, b: Box) -> bool:
    return b.left <= a.left and a.right <= b.right and b.bottom <= a.bottom and a.top <= b.top


def overlaps(sheet: Sheet) -> list[tuple[str, str]]:
    """Pairs that overlap, by what they say."""
    found = []
    words = [(each.text, room(each)) for each in sheet.words if each.text]
    for (one, a), (other, b) in combinations(words, 2):
        if hit(a, b):
            found.append((one, other))
    lines = [Box(min(a[0], b[0]) - HALF_LINE, min(a[1], b[1]) - HALF_LINE,
                 max(a[0], b[0]) + HALF_LINE, max(a[1], b[1]) + HALF_LINE)
             for a, b in sheet.wires]
    wide, high = sheet.paper
    paper = Box(0, -0.3, wide, high - 0.4)  # the title is above
    for text, box in words:
        found += [(text, f"wire {line}") for line in lines if hit(box, line)]
        found += [(text, ref) for ref, body in sheet.bodies.items()
                  if hit(box, body) and not inside(box, body) and text != "+"]
        if not inside(box, paper):
            found.append((text, "the paper's edge"))
    bodies = list(sheet.bodies.items())
    return found + [(one, other) for (one, a), (other, b) in combinations(bodies, 2) if hit(a, b)]
