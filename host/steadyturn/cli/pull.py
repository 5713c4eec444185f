"""steadyturn pull"""

from __future__ import annotations

from pathlib import Path

import click

from steadyturn.cli.common import json_option, library_option, port_option, show


@click.command()
@port_option
@library_option
@click.option("--free", is_flag=True,
              help="Then have the board give up what the library has verified, all but its "
                   "newest pages.")
@json_option
def command(port: str | None, library: Path | None, free: bool, as_json: bool) -> None:
    """Copy the journal off the board into the library.

    The board keeps running and keeps its pages, unless --free asks otherwise. Pulling again
    copies only what is new, and a pull that was broken off goes on where it stopped.
    """
    from steadyturn.jobs.pull import pull
    from steadyturn.report.pull import text
    from steadyturn.report.pull_progress import Progress

    progress = Progress(quiet=as_json)
    try:
        result = pull(port, library, free=free, progress=progress, waits=progress.waits)
    finally:
        progress.end()
    show(result, as_json, text)
