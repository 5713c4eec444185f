"""What the outings have taught of the machine, as a picture: a panel a constant."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np

from steadyturn.report import learned as said
from steadyturn.report import plot_files
from steadyturn.report import plot_style as look
from steadyturn.report.harmless import harmless
from steadyturn.report.plot_files import check

__all__ = ["check", "draw", "write"]


def write(machine: Any, path: Path) -> None:
    """Draw a `jobs.learned.LearnedMachine` into `path` (PNG or SVG by its suffix)."""
    plot_files.write(path, lambda: draw(machine))


def draw(machine: Any) -> Any:
    """The picture as a matplotlib Figure."""
    from matplotlib.figure import Figure

    shown = [one for one in machine.constants if one.points]
    figure = Figure(figsize=(9, 0.9 + 2.3 * len(shown)), layout="constrained")
    axes = figure.subplots(len(shown), 1, sharex=True, squeeze=False)[:, 0]
    for axis, one in zip(axes, shown, strict=True):
        _panel(axis, one)
    axes[0].legend(loc="lower right", bbox_to_anchor=(1, 1.0), ncols=4, frameon=False,
                   fontsize=8, borderaxespad=0.2)
    axes[-1].set_xlabel("outing")
    axes[-1].xaxis.get_major_locator().set_params(integer=True)
    figure.align_ylabels()
    name = harmless(machine.label or machine.rig or f"board {machine.board[-6:]}")
    figure.suptitle(f"{name}: learned, windings at 20 degC".replace("$", r"\$"), x=0.01,
                    ha="left", fontsize=11)
    return figure


def _panel(axis: Any, one: Any) -> None:
    scale = said.SCALE.get(one.name, 1.0)
    at = np.array([p.outing for p in one.points])
    value, low, high, level, level_low, level_high = (
        scale * np.array([getattr(p, name) for p in one.points])
        for name in ("value", "low", "high", "level", "level_low", "level_high"))
    axis.fill_between(at, level_low, level_high, color=look.VOLTS, alpha=0.25, linewidth=0,
                      label="its 95 % range")
    axis.plot(at, level, color=look.VOLTS, label="by all outings")
    axis.errorbar(at, value, np.abs(np.stack([value - low, high - value])), color=look.INK,
                  linestyle="", marker="o", markersize=4, linewidth=0.8, label="by this outing")
    if one.rig_value is not None:
        axis.axhline(scale * one.rig_value, color=look.BAND_EDGE, linewidth=1,
                     linestyle=(0, (6, 3)), label="rig file")
    axis.set_ylabel(f"{said.NAMES[one.name]},\n{said.UNIT[one.name]}", fontsize=9)
    axis.set_title(said.verdict(one), loc="left", fontsize=9, color=look.FAINT)
    axis.grid(axis="y")
