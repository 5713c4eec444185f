"""`steadyturn pace RIG`."""

from __future__ import annotations

from pathlib import Path

import click

from steadyturn.cli.common import json_option, plot_option, rig_argument, rig_path, show


@click.command(short_help="The paces that work, and what limits them.")
@rig_argument
@plot_option
@json_option
def command(rig: str | None, plot: Path | None, as_json: bool) -> int:
    """The paces (turns a minute of the handle) that keep everything inside its
    limits, with the reason for each edge; what the best pace costs the arm; which
    guess matters most; and what to change where no pace works.

    Exit code 0: there is a band. 1: no pace works. 2: the file is wrong.
    """
    from steadyturn.jobs.pace import pace
    from steadyturn.report.pace import text

    result = pace(rig_path(rig), plot=plot)
    show(result, as_json, text)
    return 0 if result.feasible else 1
