"""How plots look: one look for all, readable printed in grey and by colour-blind people.

Colours are from Okabe and Ito's set (jfly.uni-koeln.de/color, "Color Universal Design"),
chosen so that they also differ in lightness. No meaning is carried by colour alone: lines
differ in width or dashes, states stand in rows of their own with their names beside them.
"""

from __future__ import annotations

from typing import Any

INK = "#1a1a1a"
FAINT = "#767676"  # still 4.5 to 1 on white
GRID = "#dddddd"
BAND = "#dbe9f4"  # the wanted range: pale behind every line
BAND_EDGE = "#5b8db8"
VOLTS = "#0072B2"  # blue
AMPS = "#D55E00"  # vermilion
POWER = "#00734f"  # bluish green, darker
PACE = "#000000"
PEAK = "#b4b4b4"
GAP = "#f1f1f1"
WINDOW = "#f7f7f2"  # the converter's window: hardly there
NO_GO = "#ececec"  # where nothing can stand: below the edge of collapse, above the arm
BAND_INK = "#2f6690"  # words about the band
AMPS_INK = "#a34700"  # words: 4.5 to 1 on white
FAN = ("#d7d7d7", "#b8b8b8", "#9a9a9a")  # quantiles over builds, from the widest

SOLID: Any = "-"  # dashes differ in length, so that lines differ without colour
DASH: Any = (0, (4, 2))
LONG_DASH: Any = (0, (8, 3))
DASH_DOT: Any = (0, (6, 2, 1, 2))
DOTS: Any = (0, (1, 1.6))
CONNECTED = "#009E73"  # bluish green
RELEASED = "#a6a6a6"
FAULT = "#CC3311"

# by cue's name: fill of its row, from light to dark as from too slow to too fast
CUES = {
    "rest": "#d9d9d9",
    "faster": "#56B4E9",
    "hold": "#009E73",
    "slower": "#E69F00",
    "stop": "#D55E00",
    "fault": "#000000",
}

RC: Any = {
    "font.family": "DejaVu Sans",  # comes with matplotlib
    "font.size": 9,
    "axes.titlesize": 11,
    "axes.titlelocation": "left",
    "axes.labelsize": 9,
    "axes.edgecolor": FAINT,
    "axes.labelcolor": INK,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.axisbelow": True,
    "xtick.color": INK,
    "ytick.color": INK,
    "xtick.direction": "out",
    "text.color": INK,
    "grid.color": GRID,
    "grid.linewidth": 0.6,
    "lines.linewidth": 1.3,
    "lines.solid_capstyle": "round",
    "hatch.linewidth": 0.5,
    "hatch.color": "#bbbbbb",
    "figure.facecolor": "white",
    "savefig.facecolor": "white",
    "svg.fonttype": "none",  # text stays text
    "svg.hashsalt": "steadyturn",  # the same picture gives the same file
}
