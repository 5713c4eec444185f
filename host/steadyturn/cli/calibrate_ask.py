"""Asking for the points of a calibration at a terminal, the board's reading live beside them."""

from __future__ import annotations

import sys
from typing import Any

import click

from steadyturn.errors import Problem, WrongInput

KEYS = {"v": "volts", "a": "amps", "ov": "out_volts", "oa": "out_amps"}


class Asking:
    """Questions on stderr, as those of `bench`."""

    def __init__(self) -> None:
        self.points: dict[str, tuple[Any, ...]] = {}

    def collect(self, at: Any) -> dict[str, tuple[Any, ...]]:
        """quantity -> points, of the running board `at`. Interrupted, it says what it had."""
        from steadyturn.jobs.calibrate import measured
        from steadyturn.jobs.calibrate_points import typed
        from steadyturn.report import calibrate_ask as words

        there = measured(at)
        self._say(words.opening(str(at.settings["rig"]), self.shown(at)))
        try:
            while True:
                name = self._which(there)
                if name is None:
                    return self.points
                self._quantity(at, name)
        except BaseException:
            if self.points:
                self._say(words.kept([typed(name, one) for name, some in self.points.items()
                                      for one in some]))
            raise

    def shown(self, at: Any) -> str:
        """What is in force."""
        from steadyturn.jobs.calibrate import in_force
        from steadyturn.report.calibrate import shown

        return shown(in_force(at))

    def _which(self, there: tuple[str, ...]) -> str | None:
        from steadyturn.report import calibrate_ask as words

        offered = {key: name for key, name in KEYS.items() if name in there}
        while True:
            said = self._line(words.which(offered, bool(self.points))).strip().lower()
            if not said:
                return None
            if said in offered:
                return offered[said]
            self._say(f"  One of {', '.join(offered)}, or Enter.")

    def _quantity(self, at: Any, name: str) -> None:
        from steadyturn.report import calibrate_ask as words

        self._say(words.place(name))
        while True:
            count = len(self.points.get(name, ()))
            said = self._line(words.ready(count)).strip().lower()
            if said in ("d", "done") and count:
                return
            point = self._point(at, name)
            if point is not None:
                self.points[name] = (*self.points.get(name, ()), point)

    def _point(self, at: Any, name: str) -> Any:
        """One point; None to take it again."""
        from steadyturn.jobs.calibrate_board import measure
        from steadyturn.jobs.calibrate_points import UNIT, meter_figure, of_mean
        from steadyturn.report import calibrate_ask as words

        unit = UNIT[name]
        live = words.Live(unit)
        mean = measure(at, name, tell=live)
        live.end()
        self._say(words.mean(mean, unit))
        wrong = ""
        while True:
            said = self._line(words.figure(mean, unit, wrong))
            if not said.strip():
                return None
            point = meter_figure(said, of_mean(mean, name), unit)
            if not isinstance(point, str):
                return point
            wrong = point

    def _line(self, prompt: str) -> str:
        click.echo(prompt, nl=False, err=True)
        line = sys.stdin.readline()
        if not line:
            raise WrongInput(Problem("--volts", "", "", "is needed here, where nobody answers.",
                                     "'steadyturn calibrate -h' shows how points are given."))
        return line

    def _say(self, text: str) -> None:
        click.echo(text, err=True)
