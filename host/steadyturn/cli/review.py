"""steadyturn review"""

from __future__ import annotations

from pathlib import Path

import click

from steadyturn.cli.common import html_option, json_option, library_option, plot_option, show


@click.command()
@library_option
@click.option("--board", default=None, help="Which board: its id, or the last digits of it.")
@click.option("--all", "everything", is_flag=True,
              help="All that the library has of it, not just the last pull.")
@plot_option
@html_option
@json_option
def command(
    library: Path | None, board: str | None, everything: bool, plot: Path | None,
    html: Path | None, as_json: bool,
) -> None:
    """What was delivered, and how the pace was.

    Shows the pages that the last pull brought; if that brought none, the last that did.
    """
    from steadyturn.jobs.review import review
    from steadyturn.report.review import text

    show(review(library, board=board, everything=everything, plot=plot, html=html),
         as_json, text)
