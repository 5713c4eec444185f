"""How far each reading stands from the fit, over the current: where the model does not fit, the
points drift instead of scattering."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from steadyturn.report import plot_files
from steadyturn.report import plot_style as look
from steadyturn.report.plot_files import check

__all__ = ["check", "draw", "write"]

_MARKS = {"locked": ("s", "held shaft"), "open": ("o", "open circuit"), "loaded": ("^", "loaded"),
          "short": ("v", "short circuit"), "run": ("D", "free run"), "stall": ("P", "stall"),
          "plateau": ("h", "by the board"), "step": ("*", "load step")}
FARTHEST = 8.0  # sigmas; what stands farther off is drawn at the edge


def write(answer: Any, path: Path) -> None:
    """Draw a `jobs.bench.BenchAnswer` that has a result into `path`."""
    plot_files.write(path, lambda: draw(answer))


def draw(answer: Any) -> Any:
    """The picture as a matplotlib Figure of 8 by 4.2 inches."""
    from matplotlib.figure import Figure

    figure = Figure(figsize=(8, 4.2), layout="constrained")
    axis = figure.subplots()
    axis.axhspan(-2, 2, color=look.BAND, linewidth=0)
    axis.axhline(0, color=look.BAND_EDGE, linewidth=0.8)
    rows = answer.result.rows
    for kind, (mark, name) in _MARKS.items():
        own = [r for r in rows if r.reading.split()[0] == kind]
        if not own:
            continue
        axis.plot([r.amps for r in own if not r.out], [_clipped(r.sigmas) for r in own
                                                       if not r.out],
                  linestyle="none", marker=mark, color=look.VOLTS, label=name, markersize=5)
        out = [r for r in own if r.out]
        axis.plot([r.amps for r in out], [_clipped(r.sigmas) for r in out], linestyle="none",
                  marker=mark, markerfacecolor="none", color=look.AMPS, markersize=7)
        for row in out:
            high = _clipped(row.sigmas) > 0
            axis.annotate(f"{row.reading}, left out", (row.amps, _clipped(row.sigmas)),
                          xytext=(6, -4 if high else 4), textcoords="offset points", fontsize=8,
                          color=look.AMPS_INK, va="top" if high else "bottom")
    edge = max(3.5, min(FARTHEST, max(abs(_clipped(r.sigmas)) for r in rows)) * 1.15)
    axis.set_yticks(range(-8, 9, 2) if edge > 4 else range(-3, 4))
    axis.set_ylim(-edge, edge)
    most = max(r.amps for r in rows)
    axis.set_xlim(-0.03 * most if most else -0.01, 1.22 * most if most else 0.1)
    axis.set_xlabel("current, A")
    axis.set_ylabel("off the fit; shaded: usual error")
    axis.grid(axis="y")
    axis.legend(loc="upper center", bbox_to_anchor=(0.5, -0.16), ncols=6, frameon=False,
                fontsize=8)
    figure.suptitle(f"{answer.subject}: {len({r.reading for r in rows})} readings; 95 of 100 lie "
                    "in the shaded range", x=0.01, ha="left", fontsize=11)
    return figure


def _clipped(sigmas: float) -> float:
    return max(-FARTHEST, min(FARTHEST, sigmas))
