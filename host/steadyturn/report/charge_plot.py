"""A charge as a picture: percent, power at the socket and power of the arm over the turning."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from steadyturn.report import plot_files
from steadyturn.report import plot_style as look
from steadyturn.report.arm_words import span as time_span
from steadyturn.report.arm_words import time
from steadyturn.report.plot_files import check
from steadyturn.report.style import number

__all__ = ["check", "draw", "write"]


def write(result: Any, path: Path) -> None:
    """Draw a `jobs.charge.ChargeAnswer` that is possible into `path`."""
    plot_files.write(path, lambda: draw(result))


def draw(result: Any) -> Any:
    """The picture as a matplotlib Figure of 8 by 5 inches."""
    from matplotlib.figure import Figure

    course = result.course
    figure = Figure(figsize=(8, 5), layout="constrained")
    percent, watts = figure.subplots(2, 1, sharex=True, height_ratios=(3, 2.4))
    percent.plot(course.minutes, course.percent, color=look.INK, linewidth=1.8)
    percent.set_ylabel("battery, %")
    taper = result.device.taper_percent
    if course.percent[0] < taper < course.percent[-1]:
        percent.axhline(taper, color=look.FAINT, linewidth=0.8, linestyle=(0, (4, 3)))
        percent.annotate(f"from {taper:.0f} % the device draws less", (0.01, taper), va="bottom",
                         xycoords=("axes fraction", "data"), fontsize=8, color=look.FAINT)
    _power(watts, course.minutes, course.arm_w, look.AMPS, "-", "the arm gives")
    _power(watts, course.minutes, course.device_w, look.VOLTS, (0, (5, 2)), "the device gets")
    watts.set_ylabel("W")
    watts.set_ylim(0, 1.25 * max(course.arm_w))
    watts.set_xlabel("minutes of turning, breaks left out")
    watts.set_xlim(0, course.minutes[-1])
    for axis in (percent, watts):
        axis.grid(axis="y")
    figure.align_ylabels()
    figure.suptitle(_title(result), x=0.01, ha="left", fontsize=11)
    return figure


def _power(axis: Any, minutes: Any, watts: Any, color: str, dashes: Any, name: str) -> None:
    axis.plot(minutes, watts, color=color, linestyle=dashes)
    axis.annotate(f"{name} {number(watts[0])} W", (minutes[-1] * 0.01, watts[0]), va="bottom",
                  xytext=(0, 2), textcoords="offset points", fontsize=8)


def _title(result: Any) -> str:
    span = result.work.crank_min
    return (f"{result.rig}: {number(result.from_percent)} to {number(result.to_percent)} % in "
            f"{time(span.value)} ({time_span(span.low, span.high)}) at "
            f"{result.pace_tpm:.0f} turns/min")
