"""`steadyturn check RIG`."""

from __future__ import annotations

import functools

import click

from steadyturn.cli.common import json_option, rig_argument, rig_path, show


@click.command(short_help="Check a rig file and list what is assumed in it.")
@rig_argument
@click.option("--all", "every", is_flag=True, help="List every assumed value.")
@json_option
def command(rig: str | None, every: bool, as_json: bool) -> int:
    """Check a rig file: every problem with its line, what is assumed, and what is unsafe.

    Exit code 0: it can be used. 1: the machine as described is not safe. 2: the
    file is wrong.
    """
    from steadyturn.jobs.check import check
    from steadyturn.report.check import text

    result = check(rig_path(rig))
    show(result, as_json, functools.partial(text, every=every))
    return 0 if result.safe else 1
