"""firmware/switch.svg: the load switch's states, drawn from their table.

Readable without colour: the released states stand on the left in a dashed frame, the connected
ones on the right in a double one. An arrow that leaves a frame leaves any state in it; its words
are the numbers of the table's rows and their conditions.
"""

from __future__ import annotations

from html import escape

from steadyturn.drawings.switch_table import CONNECTED, RELEASED, START, TABLE

Group = tuple[str, ...]
INK, PAPER = "#202020", "#FFFFFF"
WIDTH, HEIGHT = 960, 610
BOX_W, BOX_H, FRAME_W, TOP, FRAME_H = 200, 58, 270, 50, 510
LEFT: dict[Group, int] = {RELEASED: 50, CONNECTED: 670}  # of the frames
ROWS_Y = {"barred": 90, "not_yet": 260, "waiting": 430,
          "proven": 90, "connected": 260, "young": 430}
SHORT = {
    "barred": "something forbids the load", "not_yet": "too few volts, or too slow",
    "waiting": "for 0.3 s and for the gap", "young": "for less than 5 s",
    "connected": "for 5 to 10 s", "proven": "for 10 s and more",
}
TITLE: dict[Group, str] = {RELEASED: "RELEASED", CONNECTED: "CONNECTED"}
LINE = 17  # between lines of words


def arrows() -> dict[tuple[Group, str], list[str]]:
    """(sources, end) -> one line a row of the table. A row that holds anywhere is on two arrows;
    rows from some of the connected states say which."""
    found: dict[tuple[Group, str], list[str]] = {}
    for at, row in enumerate(TABLE, 1):
        for group in (RELEASED, CONNECTED):
            sources = tuple(s for s in row.sources if s in group)
            if not sources:
                continue
            words = f"{at} {row.when}"
            if row.to in group and len(sources) == 1:
                found.setdefault((sources, row.to), []).append(words)
                continue
            if sources != group:
                words += f" ({', '.join(sources)})"
            found.setdefault((group, row.to), []).append(words)
    return found


def _words(x: float, y: float, text: str, more: str = "") -> str:
    return f'<text x="{x:g}" y="{y:g}"{more}>{escape(text)}</text>'


def _box(x: float, y: float, w: float, h: float, more: str = "") -> str:
    return (f'<rect x="{x:g}" y="{y:g}" width="{w:g}" height="{h:g}" rx="8" fill="{PAPER}" '
            f'stroke="{INK}"{more}/>')


def _arrow(*points: tuple[float, float]) -> str:
    way = " ".join(f"{x:g},{y:g}" for x, y in points)
    return (f'<polyline points="{way}" fill="none" stroke="{INK}" stroke-width="1.5" '
            'marker-end="url(#tip)"/>')


def _state(name: str, group: Group) -> list[str]:
    x, y = LEFT[group] + 35, ROWS_Y[name]
    middle = ' text-anchor="middle"'
    return [_box(x, y, BOX_W, BOX_H, ' stroke-width="2"'),
            _words(x + BOX_W / 2, y + 25, name, middle + ' font-weight="bold" font-size="15"'),
            _words(x + BOX_W / 2, y + 45, SHORT[name], middle)]


def _frame(group: Group) -> list[str]:
    x = LEFT[group]
    dashes = ' stroke-dasharray="7 5"' if group == RELEASED else ""
    parts = [_box(x, TOP, FRAME_W, FRAME_H, dashes)]
    if group == CONNECTED:
        parts.append(_box(x - 4, TOP - 4, FRAME_W + 8, FRAME_H + 8, ' fill-opacity="0"'))
    parts.append(_words(x + FRAME_W / 2, TOP + 22, TITLE[group],
                        ' text-anchor="middle" font-weight="bold" letter-spacing="2"'))
    return parts


def _across(lines: list[str], y: float, to_left: bool) -> list[str]:
    """An arrow between the frames with its words below, in two columns if they are many."""
    left, right = LEFT[RELEASED] + 35 + BOX_W, LEFT[CONNECTED]
    ends = ((right - 4, y), (left, y)) if to_left else ((left + 35, y), (right + 35, y))
    parts = [_arrow(*ends)]
    each = (len(lines) + 1) // 2 if len(lines) > 3 else len(lines)
    for at, line in enumerate(lines):
        column, row = divmod(at, each)
        parts.append(_words(335 + 160 * column, y + LINE * (row + 1), line))
    return parts


def _within(lines: list[str], to: str) -> list[str]:
    """From any released state: from the frame's edge, the words below the box."""
    x, y = LEFT[RELEASED], ROWS_Y[to] + BOX_H * 0.7
    parts = [_arrow((x, y), (x + 35, y))]
    for at, line in enumerate(_wrapped(lines)):
        parts.append(_words(x + 37, ROWS_Y[to] + BOX_H + LINE * (at + 1), line))
    return parts


def _wrapped(lines: list[str]) -> list[str]:
    found = [""]
    for line in lines:
        longer = f"{found[-1]}, {line}".lstrip(", ")
        if len(longer) > 29:
            found[-1] += ","
            found.append(line)
        else:
            found[-1] = longer
    return found


def _up(lines: list[str], source: str, to: str) -> list[str]:
    x = LEFT[CONNECTED] + 35 + BOX_W / 2
    parts = [_arrow((x, ROWS_Y[source]), (x, ROWS_Y[to] + BOX_H))]
    middle = (ROWS_Y[source] + ROWS_Y[to] + BOX_H) / 2
    return parts + [_words(x + 10, middle + LINE * at, line) for at, line in enumerate(lines)]


def chart_text() -> str:
    """The picture as SVG text; a row of the table that has no way in it is an error."""
    parts = [*_frame(RELEASED), *_frame(CONNECTED)]
    for group in (RELEASED, CONNECTED):
        for name in group:
            parts += _state(name, group)
    for (sources, to), lines in arrows().items():
        if sources == RELEASED and to in RELEASED:
            parts += _within(lines, to)
        elif sources == RELEASED:
            parts += _across(lines, ROWS_Y[to] + BOX_H * 0.8, to_left=False)
        elif sources == CONNECTED and to in RELEASED:
            parts += _across(lines, ROWS_Y[to] + BOX_H * 0.3, to_left=True)
        elif len(sources) == 1:
            parts += _up(lines, sources[0], to)
        else:
            raise ValueError(f"no way for {sources} -> {to}")
    y = ROWS_Y[START] + BOX_H * 0.3
    parts += [f'<circle cx="20" cy="{y:g}" r="7" fill="{INK}"/>',
              _arrow((20, y), (LEFT[RELEASED] + 35, y)), _words(8, y - 14, "start"),
              _words(LEFT[RELEASED], HEIGHT - 22, "Numbers: rows of the table in switch.md; the "
                     "first that holds is taken. From a frame: from any state in it.")]
    head = (f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {HEIGHT}" '
            f'width="{WIDTH}" height="{HEIGHT}" font-family="sans-serif" font-size="13" '
            f'fill="{INK}">')
    tip = (f'<defs><marker id="tip" markerWidth="9" markerHeight="8" refX="8" refY="4" '
           f'orient="auto"><path d="M0,0 L9,4 L0,8 z" fill="{INK}"/></marker></defs>')
    title = "<title>States of the load switch and what leads from one to another</title>"
    paper = f'<rect width="{WIDTH}" height="{HEIGHT}" fill="{PAPER}"/>'
    return "\n".join([head, title, tip, paper, *parts, "</svg>"]) + "\n"
