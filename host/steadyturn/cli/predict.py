"""`steadyturn predict RIG --pace N`."""

from __future__ import annotations

import click

from steadyturn.cli.common import json_option, rig_argument, rig_path, show


@click.command(short_help="One pace: volts, amps, torque, where the power goes.")
@rig_argument
@click.option("--pace", type=float, required=True, metavar="N",
              help="Turns a minute of the handle, 0 to 1000.")
@click.option("--from", "from_state", type=click.Choice(["rest", "running"]),
              default="running", show_default=True,
              help="Whether the converter runs already or has to start.")
@json_option
def command(rig: str | None, pace: float, from_state: str, as_json: bool) -> int:
    """What the machine does at one pace: volts and amps at the converter and the
    device, torque at the handle, and where the arm's power goes.
    """
    from steadyturn.jobs.predict import predict
    from steadyturn.report.predict import text

    show(predict(rig_path(rig), pace, from_state=from_state), as_json, text)
    return 0
