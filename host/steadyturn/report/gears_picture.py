"""The assembly as a picture file, drawn by matplotlib."""

from __future__ import annotations

from textwrap import fill
from typing import Any

from steadyturn.report import gears_drawing as svg

LETTERS_PER_INCH = 19  # of the line below


def draw(drawing: Any) -> Any:
    """A matplotlib Figure of the assembly seen from the handle, cover off."""
    from matplotlib.figure import Figure
    from matplotlib.patches import Circle, Polygon, RegularPolygon
    from matplotlib.patheffects import withStroke
    from matplotlib.transforms import Affine2D

    left, low, right, high = svg.bounds(drawing)
    width, height = right - left, high - low
    scale = 9.0 / max(width, height)
    broad = max(width * scale, 5.0)
    said = fill(drawing.text, int(broad * LETTERS_PER_INCH))
    below = 0.12 * (said.count("\n") + 1) + 0.1
    tall = height * scale + 0.7 + below
    figure = Figure(figsize=(broad, tall))
    axes = figure.add_axes((0.02, below / tall, 0.96, height * scale / tall))
    axes.set_xlim(left, right)
    axes.set_ylim(low, high)
    axes.set_aspect("equal")
    axes.set_axis_off()
    axes.add_artist(Polygon(drawing.outline, facecolor=svg.PLATE, edgecolor=svg.INK, lw=1.2))
    for x, y in drawing.columns:
        axes.add_artist(Circle((x, y), drawing.column_mm, facecolor=svg.PLATE, edgecolor=svg.INK))
    for x, y in drawing.motors:
        axes.add_artist(Circle((x, y), drawing.can_mm / 2, facecolor=svg.CAN, edgecolor=svg.FAINT,
                               ls=(0, (4, 2))))
    for wheel in sorted(drawing.wheels_placed, key=lambda w: (-w.plane, w.axle)):
        color = svg.WHEELS[min(wheel.axle, len(svg.WHEELS) - 1)]
        turned = Affine2D().rotate(wheel.start_rad).translate(wheel.x, wheel.y)
        axes.add_artist(Polygon(turned.transform(wheel.points), facecolor=color, alpha=0.9,
                                edgecolor=svg.INK, lw=0.7))
        axes.add_artist(Circle((wheel.x, wheel.y), wheel.bore_mm / 2, facecolor="white",
                               edgecolor=svg.INK, lw=0.7))
        if wheel.hexagon_mm:
            axes.add_artist(RegularPolygon((wheel.x, wheel.y), 6, radius=wheel.hexagon_mm / 3**0.5,
                                           orientation=wheel.start_rad + 0.5235987755982988,
                                           facecolor="none", edgecolor=svg.INK))
    for (x1, y1), (x2, y2), word in drawing.distances:
        axes.plot([x1, x2], [y1, y2], color=svg.INK, lw=0.6, ls=(0, (8, 2, 2, 2)))
        axes.text((x1 + x2) / 2, (y1 + y2) / 2 + 2, word, ha="center", fontsize=8,
                  bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.8, "alpha": 0.8})
    for x, y, word in svg.labels(drawing):
        axes.text(x, y, word, ha="center", va="center", fontsize=9,
                  path_effects=[withStroke(linewidth=2, foreground="white")])
    figure.text(0.02, 0.985, drawing.title, va="top", fontsize=12, fontweight="bold")
    figure.text(0.02, 0.985 - 0.28 / tall, drawing.subtitle, va="top", fontsize=8,
                color=svg.FAINT)
    # among the axes' texts, so that the file's own account of what it shows has it too
    axes.text(0.02, 0.05 / tall, said, transform=figure.transFigure, va="bottom", fontsize=6.5,
              color=svg.FAINT)
    return figure
