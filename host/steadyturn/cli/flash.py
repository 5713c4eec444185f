"""steadyturn flash: bring a board's firmware and settings up to date."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

import click

from steadyturn.cli.accept import accept
from steadyturn.cli.common import (
    json_option,
    library_option,
    port_option,
    rig_argument,
    rig_path,
    show,
)


@click.command()
@rig_argument
@port_option
@click.option("--yes", is_flag=True, help="Do not ask.")
@click.option("--despite-danger", is_flag=True,
              help="Do not ask even if the machine can harm what is connected.")
@click.option("--dry-run", is_flag=True, help="Show what would change; write nothing.")
@library_option
@json_option
def command(
    rig: str | None, port: str | None, yes: bool, despite_danger: bool, dry_run: bool,
    library: Path | None, as_json: bool,
) -> int:
    """Bring a board's firmware and settings up to date with the rig file RIG.

    Shows one difference, asks once, writes, reads back, starts the board again and
    asks it which settings are in force. The journal on the board is not touched. The
    board's program stands still meanwhile, so a load is released, also with --dry-run.
    Pulling the plug at any moment leaves a board that charges, with the firmware and
    settings it had or with the new ones; what it had stays on it for the case that the
    new ones fail. The library notes when it was, with the rig file, so that outings
    get their dates and reviews know the machine.
    """
    from steadyturn.jobs.flash import flash
    from steadyturn.report import flash as report
    from steadyturn.report.style import shown_path

    path = rig_path(rig)
    may_ask = sys.stdin.isatty() and not as_json

    def confirm(plan: Any) -> bool:
        if not as_json:
            click.echo(report.plan_text(plan))
        return accept(dangerous=plan.dangerous, yes=yes, despite_danger=despite_danger,
                      may_ask=may_ask, check=f"steadyturn check {shown_path(path)}",
                      question="Write this to the board?")

    progress = report.Progress(quiet=as_json)
    done = flash(path, port=port, confirm=confirm, progress=progress, dry_run=dry_run,
                 library=library, looks=progress.looks)
    show(done, as_json, report.text)
    unsafe = done.outcome == "same" and done.dangerous and not despite_danger
    if done.outcome == "declined" or unsafe:
        return 1
    return 0 if done.in_force is not False else 1
