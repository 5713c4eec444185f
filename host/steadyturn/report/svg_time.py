"""Curves, strips and bars over time as SVG text, for a page: no plotting library.

A drawing is as wide as the page lets it be. Places along time are shares of the width (per
cent), heights are pixels; curves stand in an inner drawing that is stretched sideways only,
with lines that keep their width. So one drawing serves a telephone and a wide screen, and its
letters keep their size on both. Colours are classes, so that the page's style knows them dark
and light. Where a drawing has many samples a column, it shows their lowest, mean and highest:
nothing that stands out is lost, and the file stays small.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from typing import Any

import numpy as np
from steadyturn_fw import pages as layout

from steadyturn.report.curves import (
    COLUMNS,
    SHARED_S,
    Curve,
    Floats,
    columns_of,
    filled,
    thinned,
)
from steadyturn.report.html_parts import esc

MOST_TICKS = 5  # up a panel
HEAD = 16  # px above a panel for its name
GAP = 10  # px below a panel
FOOT = 18  # px for the times
STEPS = 8  # of a bar's height
# one value among others, and the one that it is about
SIGNS = {"dot": "M-3.5 0a3.5 3.5 0 1 0 7 0a3.5 3.5 0 1 0-7 0z", "this": "M0-7 7 0 0 7-7 0z"}


def nice(low: float, high: float, most: int = MOST_TICKS) -> list[float]:
    """Round numbers between, at most so many.

    >>> nice(0, 8.6)
    [0.0, 2.0, 4.0, 6.0, 8.0]
    """
    span = high - low
    if not span > 0:
        return [low]
    power: float = 10.0 ** math.floor(math.log10(span / most))
    step = next(power * m for m in (1, 2, 5, 10, 20) if span / (power * m) <= most)
    begin = math.ceil(low / step - 1e-9)
    return [round((begin + n) * step, 10) for n in range(int((high - begin * step) / step + 1e-9)
                                                         + 1)]


class Sheet:
    """Panels above one another over one time. key: begins its ids; whole_s: the time at the
    right edge, s."""

    def __init__(self, key: str, whole_s: float) -> None:
        self.key, self.whole_s = key, max(whole_s, 1e-9)
        self.y = 0.0
        self.middle = self.end = 0.0  # of the first panel, of the last one
        self.behind: list[str] = []
        self.parts: list[str] = []
        self.defs: dict[str, str] = {}

    def share(self, seconds: float) -> str:
        """A time as a share of the width."""
        return f"{100 * seconds / self.whole_s:.2f}%"

    # ---- panels

    def panel(self, text: str, height: float, low: float, high: float,
              most: float = math.inf) -> Panel:
        """A panel for curves from low to high; text: what is drawn and its unit; most: no value
        can be above it, so that none is named there."""
        self._name(text)
        made = Panel(self, self.y, height, low, high, most)
        self.middle = self.middle or self.y + height / 2
        self.y += height + GAP
        self.end = self.y - GAP
        return made

    def strip(self, text: str, rows: Sequence[tuple[str, str, Sequence[tuple[float, float]],
                                                    Sequence[tuple[float, float]]]],
              pitch: float = 15) -> None:
        """Rows of bars, the first at the top. A row: its name, its class, its stripes (from
        and to as shares of the bar's height, so that rows differ in shape), its spans, s.
        Where a column is long, a bar is as high as its row's share of what fills the column."""
        self._name(text)
        total = np.sum([filled(spans, self.whole_s) for *_, spans in rows], axis=0)
        for name, kind, stripes, spans in rows:
            tall = pitch - 4
            self.parts.append(f'<line class="grid" x1="0" x2="100%" y1="{self.y + tall / 2:g}" '
                              f'y2="{self.y + tall / 2:g}"/>')
            self.parts.append(f'<text class="tick" x="-6" y="{self.y + tall / 2 + 4:g}" '
                              f'text-anchor="end">{esc(name)}</text>')
            blocks = "".join(
                f"M{a} {tall * (1 - size + size * top):.1f}h{b - a}"
                f"v{tall * size * (low - top):.1f}h{a - b}z"
                for a, b, size in self._sized(spans, total) for top, low in stripes)
            if blocks:
                self.parts.append(self.stretched(
                    self.y, tall, f'<path class="bar {kind}" d="{blocks}"/>'))
            self.y += pitch
        self.end = self.y
        self.y += GAP - 4

    def _sized(self, spans: Sequence[tuple[float, float]],
               total: Floats) -> list[tuple[int, int, float]]:
        """Columns from and to, and how high the bar is there, 0 to 1 in STEPS steps."""
        if self.whole_s / COLUMNS < SHARED_S:
            return [(a, b, 1.0) for a, b in columns_of(spans, self.whole_s)]
        share = np.ceil(STEPS * filled(spans, self.whole_s) / np.maximum(total, 1e-9) - 1e-6)
        edges = np.flatnonzero(np.diff(share, prepend=-1))
        return [(int(a), int(b), float(share[a]) / STEPS) for a, b in
                zip(edges, [*edges[1:], COLUMNS], strict=True) if share[a]]

    def marks(self, kind: str, shape: str, times: Sequence[float]) -> None:
        """Small signs on the foot of the panel before, at most one a column."""
        self.defs[kind] = f'<path id="{self.key}-{kind}" class="{kind}" d="{shape}"/>'
        for a, b in columns_of([(t, t) for t in times], self.whole_s):
            for column in range(a, b):
                at = 100 * (column + 0.5) / COLUMNS
                self.parts.append(f'<use href="#{self.key}-{kind}" x="{at:.2f}%" '
                                  f'y="{self.end:g}"/>')

    def _name(self, text: str) -> None:
        self.y += HEAD
        self.parts.append(f'<text class="name" x="0" y="{self.y - 5:g}">{esc(text)}</text>')

    def stretched(self, y: float, height: float, inner: str) -> str:
        """A part of the drawing that is as wide as all of it, COLUMNS across."""
        return (f'<svg x="0" y="{y:g}" width="100%" height="{height:g}" '
                f'viewBox="0 0 {COLUMNS} {height:g}" preserveAspectRatio="none">{inner}</svg>')

    # ---- behind all panels

    def hatch(self, kind: str, spans: Iterable[tuple[float, float]], tile: str) -> None:
        """Spans of time marked over the whole height by a pattern; tile: what is drawn in
        each 7 by 7 pixels of it."""
        blocks = columns_of(spans, self.whole_s)
        if not blocks:
            return
        self.defs[kind] = (f'<pattern id="{self.key}-{kind}" width="7" height="7" '
                           f'patternUnits="userSpaceOnUse">{tile}</pattern>')
        self.behind += [f'<rect x="{a * 100 / COLUMNS:g}%" width="{(b - a) * 100 / COLUMNS:g}%" '
                        f'y="{HEAD - 2}" height="@H" class="{kind}" '
                        f'fill="url(#{self.key}-{kind})"/>' for a, b in blocks]

    def upright(self, seconds: float, text: str) -> None:
        """Words from bottom to top in the middle of the first panel."""
        self.parts.append(f'<svg x="{self.share(seconds)}" y="@M" overflow="visible">'
                          f'<text class="upright" transform="rotate(-90)" y="4" '
                          f'text-anchor="middle">{esc(text)}</text></svg>')

    # ---- the foot, and all of it

    def times(self, ticks: Sequence[tuple[float, str, str]]) -> None:
        """Words along the time: where, what, and a class (say, for wide screens only)."""
        y = self.y + FOOT - 6
        self.y += FOOT
        for at, text, kind in ticks:
            share = at / self.whole_s
            anchor = "start" if share < 0.02 else "end" if share > 0.98 else "middle"
            self.parts.append(f'<text class="tick{" " + kind if kind else ""}" '
                              f'x="{self.share(at)}" y="{y:g}" text-anchor="{anchor}">'
                              f"{esc(text)}</text>")

    def svg(self, title: str, about: str) -> str:
        """The drawing; title and about are read out instead of it."""
        high = math.ceil(self.y)
        body = "".join(self.behind + self.parts)
        body = body.replace('"@H"', f'"{self.end - HEAD + 2:g}"').replace(
            '"@M"', f'"{self.middle:g}"')
        key = self.key
        return (f'<svg class="plot" role="img" aria-labelledby="{key}-t {key}-d" width="100%" '
                f'height="{high}"><title id="{key}-t">{esc(title)}</title>'
                f'<desc id="{key}-d">{esc(about, 2000)}</desc>'
                f"<defs>{''.join(self.defs.values())}</defs>{body}</svg>")


class Panel:
    """One panel of a sheet: from `low` at its foot to `high` at its top."""

    def __init__(self, sheet: Sheet, y: float, height: float, low: float, high: float,
                 most: float = math.inf) -> None:
        self.sheet, self.y, self.height, self.low, self.high = sheet, y, height, low, high
        for value in nice(low, min(high, most)):
            at = y + self.down(value)
            kind = "base" if value == low else "grid"
            sheet.parts.append(f'<line class="{kind}" x1="0" x2="100%" y1="{at:.1f}" '
                               f'y2="{at:.1f}"/><text class="tick" x="-6" y="{at + 4:.1f}" '
                               f'text-anchor="end">{value:g}</text>')

    def down(self, value: Any) -> Any:
        """Pixels from the panel's top, of a value or of an array of them."""
        return self.height * (1 - (value - self.low) / (self.high - self.low))

    def curve(self, kind: str, runs: Iterable[Curve]) -> None:
        """A line in pieces. A piece of one sample is a dash as long as it. Where a column has
        many samples the line is their mean, before the range from their lowest to their
        highest."""
        line, cloud = [], []
        for seconds, values in runs:
            rows = thinned(seconds, values, self.sheet.whole_s)
            if rows is None:
                line.append(self._places(seconds, values))
                continue
            line.append(self._places(rows[:, 0], rows[:, 2]))
            if len(rows) > 1:
                back = self._places(rows[::-1, 0], rows[::-1, 1])
                cloud.append(f"{self._places(rows[:, 0], rows[:, 3])}L{back[1:]}z")
        for shape, steps in (("cloud", cloud), ("line", line)):
            if steps:
                self.sheet.parts.append(self.sheet.stretched(
                    self.y, self.height, f'<path class="{shape} {kind}" d="{"".join(steps)}"/>'))

    def _places(self, seconds: Floats, values: Floats) -> str:
        scale = COLUMNS / self.sheet.whole_s
        xs, ys = seconds * scale, self.down(values)
        if len(xs) == 1:
            half = max(0.5, layout.SAMPLE_MS / 2000 * scale)
            xs, ys = np.array([xs[0] - half, xs[0] + half]), np.repeat(ys, 2)
        return "M" + "L".join(f"{x:.1f} {y:.1f}" for x, y in zip(xs, ys, strict=True))

    def band(self, kind: str, at: Floats, low: Floats, middle: Floats, high: Floats) -> None:
        """A line within a shaded range, from the first time to the last."""
        back = self._places(at[::-1], low[::-1])
        for shape, steps in (("cloud", f"{self._places(at, high)}L{back[1:]}z"),
                             ("line", self._places(at, middle))):
            self.sheet.parts.append(self.sheet.stretched(
                self.y, self.height, f'<path class="{shape} {kind}" d="{steps}"/>'))

    def dots(self, places: Sequence[tuple[float, float, str]], *, joined: bool = True,
             bars: bool = False) -> None:
        """Values at times: a sign each (its class, a key of SIGNS), joined by a line or standing
        on bars from the panel's foot. Those that are not finite are left out."""
        known = [p for p in places if math.isfinite(p[1])]
        sheet = self.sheet
        if joined and len(known) > 1:
            sheet.parts.append(sheet.stretched(self.y, self.height, (
                '<path class="line join" d="'
                + self._places(np.array([t for t, *_ in known]),
                               np.array([v for _, v, _ in known])) + '"/>')))
        for at, value, kind in known:
            y = self.y + self.down(value)
            share = 100 * at / sheet.whole_s
            if bars:
                sheet.parts.append(
                    f'<line class="stem {kind}" x1="{share:.2f}%" x2="{share:.2f}%" '
                    f'y1="{self.y + self.height:g}" y2="{y:.1f}"/>')
            sheet.defs[kind] = f'<path id="{sheet.key}-{kind}" class="{kind}" d="{SIGNS[kind]}"/>'
            sheet.parts.append(f'<use href="#{sheet.key}-{kind}" x="{share:.2f}%" y="{y:.1f}"/>')

    def range(self, low: float, high: float, text: str) -> None:
        """A wanted range, shaded from edge to edge and named above the panel; what of it lies
        above the panel is not seen."""
        foot = self.y + self.down(low)
        top = self.y + max(0.0, self.down(high))
        self.sheet.behind.append(f'<rect class="range" x="0" width="100%" y="{top:.1f}" '
                                 f'height="{max(0.0, foot - top):.1f}"/>')
        for value in (low, high):
            if value <= self.high:
                self.level(value, "edge")
        self.sheet.parts.append(f'<text class="tick" x="100%" y="{self.y - 5:g}" '
                                f'text-anchor="end">{esc(text)}</text>')

    def level(self, value: float, kind: str) -> None:
        """A line from edge to edge at a value."""
        y = self.y + self.down(value)
        self.sheet.parts.append(f'<line class="{kind}" x1="0" x2="100%" y1="{y:.1f}" '
                                f'y2="{y:.1f}"/>')
