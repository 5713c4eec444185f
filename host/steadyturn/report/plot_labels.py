"""Names beside lines instead of a legend: put where no line and no other name is.

Places are tried along the line, just above and just below it, and the one with the most
room wins. Sizes are estimated from the number of letters, so that nothing depends on a
drawing surface or on the version of matplotlib.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from steadyturn.report import plot_style as look

Floats = NDArray[np.float64]

SIZE = 8  # points
WIDE, TALL = 0.56, 1.25  # of the letters' size: mean width of a letter, height of a line
TRIES = 25  # places along a line
# where a name may stand from a place of its line, in its own width and height
SIDES = ((0.0, 1.0), (0.0, -1.0), (0.5, 0.0), (-0.5, 0.0), (0.5, 1.0), (-0.5, 1.0), (0.5, -1.0),
         (-0.5, -1.0))


class Names:
    """Names on one axis whose limits are set. size_in: width and height of the axis."""

    def __init__(self, axis: Any, size_in: tuple[float, float]) -> None:
        self.axis = axis
        self.points = np.array(size_in) * 72
        self.taken = np.empty((0, 2))  # places of lines, in points of paper
        self.boxes: list[tuple[float, float, float, float]] = []

    def paper(self, x: Any, y: Any) -> Floats:
        """Data as points of paper, rows of (x, y); only what can be seen."""
        (x0, x1), (y0, y1) = self.axis.get_xlim(), self.axis.get_ylim()
        rows = np.column_stack([(np.asarray(x, float) - x0) / (x1 - x0),
                                (np.asarray(y, float) - y0) / (y1 - y0)])
        seen = np.isfinite(rows).all(axis=1) & (rows >= -0.02).all(axis=1) & (
            rows <= 1.02).all(axis=1)
        return rows[seen] * self.points

    def avoid(self, x: Any, y: Any) -> None:
        """A line that names must not cover."""
        rows = self.paper(x, y)
        if len(rows) > 1:  # long straight parts are filled in
            gaps = np.hypot(*np.diff(rows, axis=0).T)
            parts = [np.linspace(a, b, max(2, int(gap / 4)))
                     for a, b, gap in zip(rows[:-1], rows[1:], gaps, strict=True)
                     if gap < 0.5 * self.points.max()]
            rows = np.concatenate([rows, *parts])
        # a place in every square of three points is enough
        self.taken = np.unique(np.concatenate([self.taken, 3 * np.round(rows / 3)]), axis=0)

    def along(self, x: Any, y: Any, text: str, *, color: str = look.INK,
              near: float = 0.6) -> bool:
        """Name a line, near that share of its way where there is room; False where it
        cannot be seen."""
        rows = self.paper(x, y)
        if len(rows) < 2:
            return False
        wide, tall = SIZE * WIDE * len(text), SIZE * TALL
        best: tuple[float, float, float] | None = None
        for share in np.linspace(0.03, 0.97, TRIES):
            at = rows[int(share * (len(rows) - 1))]
            for shift, lift in SIDES:
                middle = at + np.array([shift * (wide + 8.0), lift * (0.5 * tall + 3.0)])
                room = self._room(middle, wide, tall)
                score = min(room, 9.0) - 4.0 * abs(share - near) - 1.5 * abs(shift)
                if best is None or score > best[0]:
                    best = (score, float(middle[0]), float(middle[1]))
        assert best is not None
        self.put(best[1], best[2], text, color=color)
        return True

    def put(self, x: float, y: float, text: str, *, color: str = look.INK) -> None:
        """A name with its middle at x, y in points of paper."""
        wide, tall = SIZE * WIDE * len(text), SIZE * TALL
        self.boxes.append((x - wide / 2, x + wide / 2, y - tall / 2, y + tall / 2))
        self.axis.annotate(text, (x / self.points[0], y / self.points[1]), ha="center",
                           va="center", xycoords="axes fraction", fontsize=SIZE, color=color,
                           path_effects=halo(), zorder=5)

    def _room(self, middle: Floats, wide: float, tall: float) -> float:
        """Points of paper between a name there and the nearest thing; below zero where it
        would cover something or leave the axis."""
        x, y = middle
        box = (x - wide / 2, x + wide / 2, y - tall / 2, y + tall / 2)
        room = min(box[0], self.points[0] - box[1], box[2], self.points[1] - box[3]) + 3.0
        rows = self.taken
        if len(rows):
            gaps = np.maximum(np.maximum(box[0] - rows[:, 0], rows[:, 0] - box[1]),
                              np.maximum(box[2] - rows[:, 1], rows[:, 1] - box[3]))
            room = min(room, float(gaps.min()))
        for other in self.boxes:
            gap = max(box[0] - other[1], other[0] - box[1], box[2] - other[3],
                      other[2] - box[3])
            room = min(room, gap - 2.0)
        return room


def size_in(axis: Any) -> tuple[float, float]:
    """Width and height of an axis on paper, inches."""
    box, figure = axis.get_position(), axis.figure
    return box.width * figure.get_figwidth(), box.height * figure.get_figheight()


def halo() -> list[Any]:
    """White around letters, so that a line behind them does not cross them out."""
    from matplotlib.patheffects import withStroke

    return [withStroke(linewidth=2.2, foreground="white", alpha=0.85)]


def spread(places: list[float], gap: float, low: float, high: float) -> list[float]:
    """The places, moved as little as needed to stand `gap` apart between low and high, in
    the same order of height.

    >>> spread([1.0, 1.1, 5.0], 1.0, 0.0, 10.0)
    [0.55, 1.55, 5.0]
    """
    order = sorted(range(len(places)), key=lambda i: places[i])
    groups: list[list[int]] = []  # neighbours that stand shoulder to shoulder
    starts: list[float] = []

    def start(group: list[int]) -> float:
        middle = sum(places[i] for i in group) / len(group)
        first = middle - gap * (len(group) - 1) / 2
        return max(low, min(first, high - gap * (len(group) - 1)))

    for i in order:
        groups.append([i])
        starts.append(start([i]))
        while len(groups) > 1 and starts[-1] < starts[-2] + gap * len(groups[-2]) - 1e-9:
            last = groups.pop()
            starts.pop()
            groups[-1] += last
            starts[-1] = start(groups[-1])
    out = [0.0] * len(places)
    for first, group in zip(starts, groups, strict=True):
        for step, i in enumerate(group):
            out[i] = round(first + gap * step, 9)
    return out
