"""`steadyturn pace RIG`."""

from __future__ import annotations

from pathlib import Path

import click

from steadyturn.cli.common import Number, json_option, plot_option, rig_argument, rig_path, show


@click.command(short_help="The paces that work, and what limits them.")
@rig_argument
@click.option("--sure", type=Number("percent of builds"), default=None, metavar="PERCENT",
              help="Also the paces that work for so many percent of machines built like this, "
              "with parts that differ within their tolerances; 95 is usual (50 to 99.9).")
@plot_option
@json_option
def command(rig: str | None, sure: float | None, plot: Path | None, as_json: bool) -> int:
    """The paces (turns a minute of the handle) that keep everything inside its
    limits, with the reason for each edge; what the best pace costs the arm; which
    guess matters most; and what to change where no pace works.

    Exit code 0: there is a band (and with --sure one that works for so many). 1: no
    pace works, or the machine is dangerous as built. 2: the file is wrong.
    """
    from steadyturn.jobs.pace import pace
    from steadyturn.report.pace import text

    result = pace(rig_path(rig), plot=plot, sure=sure)
    show(result, as_json, text)
    sure_enough = result.sure is None or result.sure.low_tpm is not None
    safe = not any(hazard.refuses for hazard in result.hazards)
    return 0 if result.feasible and sure_enough and safe else 1
