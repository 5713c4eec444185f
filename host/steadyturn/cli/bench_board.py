"""`steadyturn bench RIG --board`: the machine measured by its own board."""

from __future__ import annotations

import math
import sys
from pathlib import Path
from typing import Any

import click

from steadyturn.cli.common import show
from steadyturn.errors import Failed, Problem, WrongInput

ROOM_C = (-20.0, 50.0)
SLOTS = (0, 60)


def by_board(
    path: Path, port: str | None, plot: Path | None, *, room_c: float | None, slots: int | None,
    yes: bool, nameplate: bool, write: bool, as_json: bool,
) -> int:
    """Take the readings, show what they say, write it after a yes. Failed where the person or
    the board ended it, with the readings kept."""
    from steadyturn.jobs import bench_answer
    from steadyturn.report import bench_board as report
    from steadyturn.report import bench_plot

    asks = sys.stdin.isatty() and not as_json and not yes
    if not (asks or yes):
        raise WrongInput(Problem(
            "--yes", "", "", "is needed here, where no question can be asked: it says that no "
            "phone is plugged in, and somebody is at the handle.", "Add --no-write to only look."))
    _check(room_c, slots)
    made, ended = _taken(path, port, room_c, slots, asks=asks, as_json=as_json)
    file = bench_answer.keep(made, path)
    if file is not None and not (as_json and ended is None):
        click.echo(report.kept(file, path, ended is not None) + "\n", err=True)
    if isinstance(ended, Failed):
        raise ended
    if ended is not None:
        raise Failed("Ended by you; the board is back in ordinary running.")
    if file is None:
        raise Failed("Nothing could be measured: no pace was kept, or the load did not connect.",
                     "'steadyturn watch' shows what the board says.")
    answer = bench_answer.answer(made, path, file, nameplate=nameplate, write=write and yes)
    if plot is not None and answer.bench.result is not None:
        bench_plot.write(answer.bench, plot)
    show(answer, as_json, lambda done: report.text(done, asks=asks and write))
    if asks and write and answer.bench.tells:
        if not click.confirm(f"Write this to {path}?", default=False, err=True):
            click.echo("Nothing was written.", err=True)
            return 1
        answer = bench_answer.answer(made, path, file, nameplate=nameplate, write=True)
        click.echo(report.written(answer), nl=False)
    return 0


def _taken(path: Path, port: str | None, room_c: float | None, slots: int | None, *, asks: bool,
           as_json: bool) -> tuple[Any, BaseException | None]:
    """What was read, and what ended it before its end."""
    from steadyturn.jobs import bench_board
    from steadyturn.report import bench_board as report

    live = report.Live(quiet=as_json)
    ended: BaseException | None = None
    with bench_board.evening(path, port) as (made, board):
        if not as_json:
            click.echo(report.opening(made), err=True)
        made.room_c = _number("Degrees Celsius where the machine stands? (Enter: 20) ", room_c,
                              20.0, ROOM_C, asks)
        made.slots = int(_number("Slots of a motor's commutator, if you can count them? (Enter: "
                                 "not known) ", slots, 0, SLOTS, asks))
        if asks:
            click.echo("Enter begins; Ctrl-C ends it at any time and keeps what was read. ",
                       nl=False, err=True)
            if not sys.stdin.readline():
                raise click.Abort
        try:
            for moment in bench_board.run(made, board):
                live(moment)
        except (KeyboardInterrupt, Failed) as end:
            ended = end
    live.end()
    return made, ended


def _check(room_c: float | None, slots: int | None) -> None:
    for option, value, (low, high) in (("--room", room_c, ROOM_C), ("--slots", slots, SLOTS)):
        if value is not None and not low <= value <= high:
            raise WrongInput(Problem(option, "", f"{value:g}", f"{low:g} to {high:g}."))


def _number(question: str, given: float | None, default: float, ends: tuple[float, float],
            asks: bool) -> float:
    if given is not None or not asks:
        return default if given is None else given
    while True:
        click.echo(question, nl=False, err=True)
        said = sys.stdin.readline()
        if not said:
            raise click.Abort
        if not said.strip():
            return default
        try:
            value = float(said.replace(",", "."))
        except ValueError:
            value = math.nan
        if ends[0] <= value <= ends[1]:
            return value
        click.echo(f"That is no number from {ends[0]:g} to {ends[1]:g}.", err=True)
