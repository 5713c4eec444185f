"""steadyturn ports: the serial ports, and which are boards of ours."""

from __future__ import annotations

import click

from steadyturn.cli.common import json_option, show


@click.command()
@click.option("--all", "every", is_flag=True,
              help="Ask every port, also kinds that boards do not have.")
@json_option
def command(every: bool, as_json: bool) -> int:
    """The serial ports of this machine, and which are boards of ours.

    A board is only asked who it is: its program goes on. A port that another
    program has open is not touched.
    """
    from steadyturn.jobs.ports import look
    from steadyturn.report.ports import text

    show(look(every), as_json, text)
    return 0
