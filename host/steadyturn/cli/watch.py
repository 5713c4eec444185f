"""steadyturn watch: live view of a running board."""

from __future__ import annotations

import contextlib
import os
import sys
from pathlib import Path

import click

from steadyturn.cli.common import Number, library_option, port_option
from steadyturn.errors import Failed, Problem, WrongInput

SECONDS = (0.1, 1e7)  # the longest is 115 days


def _seconds(ctx: click.Context, param: click.Parameter, value: float | None) -> float | None:
    if value is None or SECONDS[0] <= value <= SECONDS[1]:  # not so for nan
        return value
    raise WrongInput(Problem("--seconds", "", f"{value:g}",
                             f"{SECONDS[0]:g} to {SECONDS[1]:.0f} s.",
                             "Without it the watch goes on until Ctrl-C."))


@click.command()
@port_option
@click.option("--plain", is_flag=True, help="One line a second (as when not at a terminal).")
@click.option("--json", "as_json", is_flag=True, help="One JSON object a line, ten a second.")
@click.option("--record", type=click.Path(path_type=Path, dir_okay=False), default=None,
              metavar="FILE", help="Also write each look to this file, as --json prints them.")
@click.option("--force", is_flag=True, help="Write over a --record file that is there.")
@click.option("--seconds", type=Number("seconds"), default=None, metavar="S", callback=_seconds,
              help="Stop by itself, so long after the first answer.")
@library_option
def command(
    port: str | None, plain: bool, as_json: bool, record: Path | None, force: bool,
    seconds: float | None, library: Path | None,
) -> int:
    """Live view of a running board: what the lamp says, pace, volts, watts, energy.

    The board's program is not stopped. Ctrl-C ends the watch and leaves the board
    running. Each connection leaves a time anchor in the library, so that outings
    get their dates.
    """
    from steadyturn.jobs.watch import RATE_HZ, watch
    from steadyturn.jobs.watch_record import recorded
    from steadyturn.report import watch as report
    from steadyturn.report.style import wrap
    from steadyturn.report.terminal import Terminal, can_draw, clean

    lines = plain or not can_draw(sys.stdout)
    rate_hz = 1.0 if lines and not as_json and record is None else RATE_HZ
    glances = watch(port, seconds=seconds, rate_hz=rate_hz, library=library, anchor=True)
    with contextlib.suppress(KeyboardInterrupt), contextlib.closing(glances):
        looks = recorded(glances, record, force=force)
        seen = report.Remembered(looks)
        try:
            if as_json:
                report.show_json(seen, sys.stdout)
            elif lines:
                report.show_lines(seen, sys.stdout)
            else:
                report.show_screen(seen, Terminal())
        except BrokenPipeError:  # who reads has enough
            os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        finally:
            looks.close()
    if seen.remark and not lines and not as_json:  # the others have said it
        click.echo(wrap(clean(seen.remark)), err=True)
    if seen.lost:
        raise Failed(f"At the end no board was there: {clean(seen.lost)}")
    return 0
