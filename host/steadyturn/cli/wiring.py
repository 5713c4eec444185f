"""`steadyturn wiring RIG`."""

from __future__ import annotations

from pathlib import Path

import click

from steadyturn.cli.common import json_option, rig_argument, rig_path, show


@click.command(short_help="Schematic, parts list, places and wires of the circuit.")
@rig_argument
@click.option("--socket", type=click.Choice(("a", "c")), default="a", show_default=True,
              help="The USB socket: an A or a C one.")
@click.option("--out", type=click.Path(path_type=Path), default=None, metavar="DIR",
              help="Write schematic, wiring and parts list there, and a page of all.")
@click.option("--force", is_flag=True, help="Write over files that were changed, too.")
@json_option
def command(rig: str | None, socket: str, out: Path | None, force: bool, as_json: bool) -> int:
    """The circuit of a rig: what to buy, and with --out the schematic with its
    values, where each part and wire goes, the board's pins, the parts list.

    \b
      steadyturn wiring my.toml                what to buy
      steadyturn wiring my.toml --out wiring   all of it, and a page to print

    Exit code 0: done. 1: no part's value fits. 2: the file or an option is wrong.
    """
    from steadyturn.jobs import wiring as job
    from steadyturn.report import wiring as report

    result = job.wiring(rig_path(rig), socket=socket)
    if out is None:
        show(result, as_json, report.text)
    else:
        show(job.write(result, out, force=force), as_json, report.written_text)
    return 0
