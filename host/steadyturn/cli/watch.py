"""steadyturn watch: live view of a running board."""

from __future__ import annotations

import contextlib
import sys

import click

from steadyturn.cli.common import port_option


@click.command()
@port_option
@click.option("--plain", is_flag=True, help="One line a second (as when not at a terminal).")
@click.option("--json", "as_json", is_flag=True, help="One JSON object a line.")
@click.option("--seconds", type=click.FloatRange(0.1), default=None, help="Stop by itself.")
def command(port: str | None, plain: bool, as_json: bool, seconds: float | None) -> int:
    """Live view of a running board: what the lamp says, pace, volts, watts, energy.

    The board's program is not stopped. Ctrl-C ends the watch and leaves the board
    running.
    """
    from steadyturn.jobs.watch import RATE_HZ, watch
    from steadyturn.report import watch as report

    lines = plain or not sys.stdout.isatty()
    rate_hz = 1.0 if lines and not as_json else RATE_HZ
    glances = watch(port, seconds=seconds, rate_hz=rate_hz)
    with contextlib.suppress(KeyboardInterrupt), contextlib.closing(glances):
        if as_json:
            report.show_json(glances, sys.stdout)
        elif lines:
            report.show_lines(glances, sys.stdout)
        else:
            report.show_screen(glances)
    return 0
