"""`steadyturn bringup RIG`."""

from __future__ import annotations

from pathlib import Path

import click

from steadyturn.cli.common import html_option, json_option, rig_argument, rig_path, show


@click.command(short_help="A sheet to bring the machine up, with this rig's readings.")
@rig_argument
@html_option
@json_option
def command(rig: str | None, html: Path | None, as_json: bool) -> int:
    """The sheet for a first time: from meter and resistor to a cheap USB load to
    a phone. At each step what to connect and do, what the meter should show on
    this rig, when to stop, and what another reading means.

    \b
      steadyturn bringup my.toml --html bringup.html   to print

    Exit code 1: no pace works, or the machine is dangerous as built: the sheet
    then says what may be tried and what not. 2: the file is wrong.
    """
    from steadyturn.jobs.bringup import bringup
    from steadyturn.report.bringup import text

    result = bringup(rig_path(rig), page=html)
    show(result, as_json, text)
    return 0 if result.feasible and result.safe else 1
