"""`steadyturn charge RIG`."""

from __future__ import annotations

from pathlib import Path

import click

from steadyturn.cli.common import Number, json_option, rig_argument, rig_path, show


@click.command(short_help="Minutes, percent and effort for a charge.")
@rig_argument
@click.option("--from", "from_percent", type=Number("percent"), default=20.0, show_default=True,
              metavar="N",
              help="The battery's percent now.")
@click.option("--to", "to_percent", type=Number("percent"), default=None, metavar="N",
              help="The percent that is wanted.  [default: 80]")
@click.option("--minutes", type=Number("minutes"), default=None, metavar="N",
              help="Ask the other way round: what so many minutes of turning give.")
@click.option("--pace", type=Number("turns a minute"), default=None, metavar="N",
              help="Turns a minute of the handle.  [default: the best pace]")
@click.option("--phone", type=click.Choice(["off", "flight", "lit"]), default=None,
              help="The phone's state: switched off, flight mode with a dark screen, screen "
              "lit.  [default: what the rig file says]")
@click.option("--plot", type=click.Path(path_type=Path, dir_okay=False), default=None,
              metavar="FILE", help="Also draw a picture: a .png or .svg file.")
@json_option
def command(rig: str | None, from_percent: float, to_percent: float | None,
            minutes: float | None, pace: float | None, phone: str | None, plot: Path | None,
            as_json: bool) -> int:
    """How long a charge takes, what it asks of the arm, and how sure that is; the percent
    are net of what the device uses itself. The effort is a rough guide, not medical advice.

    Exit code 0: it can be done. 1: it cannot, and why. 2: wrong input.
    """
    from steadyturn.jobs.charge import charge_answer
    from steadyturn.report.charge import text

    result = charge_answer(
        rig_path(rig), from_percent=from_percent, to_percent=to_percent, minutes=minutes,
        pace_tpm=pace, phone=phone, plot=plot)
    show(result, as_json, text)
    return 0 if result.possible else 1
