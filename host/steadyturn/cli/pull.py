"""steadyturn pull"""

from __future__ import annotations

import sys
from pathlib import Path

import click

from steadyturn.cli.common import json_option, library_option, port_option, show


@click.command()
@port_option
@library_option
@click.option("--make-room", is_flag=True,
              help="Then have the board remove what the library has, all but its newest pages.")
@json_option
def command(port: str | None, library: Path | None, make_room: bool, as_json: bool) -> None:
    """Copy the journal off the board into the library.

    The board keeps running and keeps its pages, unless --make-room asks otherwise. Pulling
    again copies only what is new, and a pull that was broken off goes on where it stopped.
    """
    from steadyturn.jobs.pull import pull
    from steadyturn.report.pull import text

    moving = sys.stderr.isatty() and not as_json

    def progress(done: int, total: int) -> None:
        if done % 16 == 0 or done == total:
            click.echo(f"\rpage {done} of {total}", nl=False, err=True)

    try:
        result = pull(port, library, make_room=make_room,
                      progress=progress if moving else None)
    finally:
        if moving:
            click.echo("\r" + " " * 40 + "\r", nl=False, err=True)
    show(result, as_json, text)
