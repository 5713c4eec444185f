"""steadyturn export"""

from __future__ import annotations

from pathlib import Path

import click

from steadyturn.cli.common import json_option, library_option, show


@click.command()
@library_option
@click.option("--out", type=click.Path(path_type=Path), required=True, metavar="DIR|FILE",
              help="A folder; or a file .csv, .parquet (samples only) or .pages.")
@click.option("--board", default=None, help="Only this board: its id, or the last digits of it.")
@click.option("--since", default=None, metavar="DATE",
              help="Only what was pulled since then and is not known to be older.")
@click.option("--parquet", is_flag=True, help="Parquet files instead of CSV.")
@click.option("--raw", is_flag=True, help="The journal's pages instead, byte for byte.")
@click.option("--force", is_flag=True, help="Replace files that are there.")
@json_option
def command(
    library: Path | None, out: Path, board: str | None, since: str | None, parquet: bool,
    raw: bool, force: bool, as_json: bool,
) -> None:
    """Samples, events and pages as CSV or Parquet, for other programs.

    Columns carry their units in their names. Times are UTC where a connected host dated the
    boot; elsewhere there is only the boot's number and the milliseconds since it began.
    """
    from steadyturn.jobs.export import export
    from steadyturn.report.export import text

    show(export(out, library, board=board, since=since, parquet=parquet, raw=raw, force=force),
         as_json, text)
