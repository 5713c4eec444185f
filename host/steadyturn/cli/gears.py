"""`steadyturn gears RIG`."""

from __future__ import annotations

from pathlib import Path

import click

from steadyturn.cli.common import Number, json_option, rig_argument, rig_path, show


@click.command(short_help="Tooth counts, strength, printable files.")
@rig_argument
@click.option("--ratio", type=Number("motor turns for a turn of the handle"), default=None,
              metavar="N", help="Another ratio than the rig's.")
@click.option("--tolerance", type=Number("percent of the ratio"), default=2.0, metavar="PERCENT",
              help="How far off the ratio a train may be (2).")
@click.option("--stages", type=Number("stages", int), default=None, metavar="N",
              help="Only trains of so many stages (1 to 3).")
@click.option("--material", default=None, metavar="NAME",
              help="Another plastic than the rig's: pla, petg, nylon.")
@click.option("--row", type=Number("a row of the list", int), default=None, metavar="N",
              help="Which train (0: the rig file's own teeth, where it has them; else 1).")
@click.option("--why", is_flag=True, help="The chosen train in full: loads, teeth, heat, bolts.")
@click.option("--out", type=click.Path(path_type=Path), default=None, metavar="DIR",
              help="Write the chosen train's files there: STL, 3MF, drawings, a page.")
@click.option("--force", is_flag=True,
              help="Write the files also where the train is too weak or a file was changed.")
@json_option
def command(
    rig: str | None, ratio: float | None, tolerance: float, stages: int | None,
    material: str | None, row: int | None, why: bool, out: Path | None, force: bool,
    as_json: bool,
) -> int:
    """Gear trains for a rig's ratio that mesh, bear the load and can be printed: a
    list to choose from, none beaten in everything by another. Without a RIG,
    --ratio takes one motor, crank and arm as they usually are.

    \b
      steadyturn gears my.toml                 the choices
      steadyturn gears my.toml --row 2 --why   one of them in full
      steadyturn gears my.toml --out gears     files to print
      steadyturn gears --ratio 25              no rig file yet

    What printer, plastic and motor are like stands in [gears] of the rig file.

    Exit code 0: the chosen train bears the load and fits the printer. 1: it does not, or
    there is none. 2: the file or an option is wrong.
    """
    from steadyturn.jobs import gears as job
    from steadyturn.report import gears as report

    path = None if rig is None and ratio is not None else rig_path(rig)
    result = job.gears_of(path, ratio=ratio, stages=stages, tolerance=tolerance, row=row,
                          material=material, listed=out is None and not why)
    if out is None:
        show(result, as_json, report.why_text if why else report.text)
        return 0 if result.bears else 1
    from steadyturn.jobs import gears_files

    written = gears_files.write(result, out, force=force)
    show(written, as_json, report.written_text)
    return 0 if result.bears else 1
