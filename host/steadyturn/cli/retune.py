"""steadyturn retune: move a machine to another motor, and back."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

import click

from steadyturn.cli.accept import accept
from steadyturn.cli.common import (
    Number,
    json_option,
    library_option,
    port_option,
    rig_argument,
    rig_path,
    show,
)
from steadyturn.errors import Problem, WrongInput


def _one(_ctx: click.Context, option: click.Parameter, values: tuple[Any, ...]) -> Any:
    if len(values) > 1:
        raise WrongInput(Problem(option.opts[0], "", ", ".join(map(str, values)),
                                 "given more than once: name just one."))
    return values[0] if values else None


@click.command(short_help="Move everything to another motor, bank, ratio or converter.")
@rig_argument
@click.option("--motor", metavar="NAME|FILE", multiple=True, callback=_one,
              help="A motor of your parts file, of the typical ones, of another rig file, or a "
                   "file of readings.")
@click.option("--converter", metavar="NAME|FILE", multiple=True, callback=_one,
              help="A converter, likewise.")
@click.option("--series", type=Number("motors in series", int), metavar="N", multiple=True,
              callback=_one, help="Motors in series.")
@click.option("--parallel", type=Number("motors in parallel", int), metavar="N", multiple=True,
              callback=_one, help="Motors in parallel.")
@click.option("--ratio", metavar="X", multiple=True, callback=_one,
              help="Another gear ratio: 25, or teeth as 60/12x60/12.")
@click.option("--parts", type=str, default=None, metavar="FILE",
              help="Your parts file (the only one in this folder).")
@click.option("--from-use", is_flag=True,
              help="Narrow or shift the band by what outings in the library showed.")
@click.option("--restore", is_flag=True,
              help="Go back to the machine from before, a step each time.")
@click.option("--forward", is_flag=True, help="After --restore: a step forward again.")
@port_option
@click.option("--prepare", is_flag=True, help="Change the rig file only, no board.")
@click.option("--yes", is_flag=True, help="Do not ask.")
@click.option("--despite-danger", is_flag=True,
              help="Do not ask even if the machine can harm what is connected.")
@click.option("--dry-run", is_flag=True, help="Show what would change; write nothing.")
@library_option
@json_option
def command(
    rig: str | None, motor: str | None, converter: str | None, series: int | None,
    parallel: int | None, ratio: str | None, parts: str | None, from_use: bool, restore: bool,
    forward: bool, port: str | None, prepare: bool, yes: bool, despite_danger: bool, dry_run: bool,
    library: Path | None, as_json: bool,
) -> int:
    """Change the motor (or bank, ratio, converter) of RIG, and the board with it.

    \b
      steadyturn retune my.toml --motor "7xx can, 12 V" --ratio 20
      steadyturn retune my.toml --motor other.toml --series 2
      steadyturn retune my.toml --restore
      steadyturn retune my.toml --from-use

    Shows the old and the new machine side by side, what else has to change and the
    dangers that come with it, and asks once. Then the rig file is written, the old
    one kept beside it, and the board brought up to date as 'flash' does it. Without a
    board the rig file alone is prepared. Every file from before is kept: --restore goes
    back a step each time, --forward comes forward again, the board with it.
    """
    from steadyturn.jobs import retune as job
    from steadyturn.report import flash as on_flash
    from steadyturn.report import retune as report
    from steadyturn.report.style import shown_path

    named = (motor, converter, series, parallel, ratio)
    if restore + forward + from_use + any(x is not None for x in named) > 1:
        raise click.UsageError("--restore, --forward, --from-use, or what is to be changed: one "
                               "at a time.")
    path = _path(rig, restore or forward)
    may_ask = sys.stdin.isatty() and not as_json

    def confirm(plan: Any) -> bool:
        if not as_json:
            click.echo(report.plan_text(plan))
        both = "Write the rig file and the board?" if plan.flashed else "Write the rig file?"
        return accept(dangerous=plan.dangerous, yes=yes,
                      despite_danger=despite_danger, may_ask=may_ask, question=both,
                      check=f"steadyturn retune {shown_path(path)} ... --dry-run")

    progress = on_flash.Progress(quiet=as_json)
    way = job.Way(confirm=confirm, port=port, prepare=prepare, progress=progress,
                  dry_run=dry_run, library=library, looks=progress.looks)
    if restore or forward:
        from steadyturn.jobs.retune_restore import restore as back

        done = back(path, way, forward=forward)
    elif from_use:
        from steadyturn.jobs.retune_use import from_use as by_use

        done = by_use(path, way)
    else:
        done = job.retune(path, way, motor=motor, converter=converter, series=series,
                          parallel=parallel, gear_ratio=ratio, parts=_parts(parts))
    show(done, as_json, report.text)
    if done.outcome in ("impossible", "declined"):
        return 1
    return 1 if done.flashed is not None and done.flashed.in_force is False else 0


def _path(rig: str | None, restore: bool) -> Path:
    """A rig file that is to be restored need not be there any more."""
    if restore and rig is not None:
        from steadyturn.jobs.kept_file import history

        path = Path(rig)
        if not path.exists() and path.parent.is_dir() and history(path):
            return path
    return rig_path(rig)


def _parts(given: str | None) -> Path | None:
    from steadyturn.jobs.bench import only_parts_file
    from steadyturn.jobs.size import parts_path

    return only_parts_file() if given is None else parts_path(given)
