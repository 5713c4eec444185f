"""`steadyturn predict RIG --pace N [--time SECONDS]`."""

from __future__ import annotations

import sys
from pathlib import Path

import click

from steadyturn.cli.common import Number, json_option, plot_option, rig_argument, rig_path, show
from steadyturn.errors import Problem, WrongInput


@click.command(short_help="One pace, steady or in time: volts, amps, torque, losses.")
@rig_argument
@click.option("--pace", type=Number("turns a minute"), required=True, metavar="N",
              help="Turns a minute of the handle, 0 to 1000.")
@click.option("--from", "from_state", type=click.Choice(["rest", "running"]), default=None,
              help="Whether the converter runs already (the default) or has to start.")
@click.option("--time", "time_s", type=Number("seconds"), default=None, metavar="SECONDS",
              help="Not the steady state, but the machine in time, from rest.")
@click.option("--unplug", "unplug_s", type=Number("seconds"), default=None, metavar="AT",
              help="With --time: the second at which the device is unplugged [default: in "
              "the last quarter, at most 4 s before the end; the end itself: never].")
@click.option("--capacitor", "capacitor_uf", type=Number("microfarads"), default=None,
              metavar="UF",
              help="With --time: another bus capacitor, in microfarads.")
@click.option("--sizes", is_flag=True,
              help="With --time: also try bus capacitors of all sizes (half a minute).")
@plot_option
@json_option
def command(rig: str | None, pace: float, from_state: str | None, time_s: float | None,
            unplug_s: float | None, capacitor_uf: float | None, sizes: bool,
            plot: Path | None, as_json: bool) -> int:
    """What the machine does at one pace: volts and amps at the converter and the
    device, torque at the handle, and where the arm's power goes.

    With --time the machine is turned up from rest by an arm: when the converter starts,
    whether it hunts, how the volts ripple, what happens when the device is unplugged.

    Exit code 1: too much load for this pace, no steady state.
    """
    if time_s is None:
        for option, value in (("--unplug", unplug_s), ("--capacitor", capacitor_uf),
                              ("--sizes", sizes or None), ("--plot", plot)):
            if value is not None:
                said = "" if value is True else str(value)
                raise WrongInput(Problem(option, "", said, "goes with --time only.",
                                         "Add --time 20."))
        from steadyturn.jobs.predict import predict
        from steadyturn.report.predict import text

        at = predict(rig_path(rig), pace, from_state=from_state or "running")
        show(at, as_json, text)
        return 1 if at.regime == "collapse" else 0
    if from_state == "running":
        raise WrongInput(Problem("--from", "", from_state, "with --time the machine begins at "
                                 "rest.", "Leave it out."))
    from steadyturn.jobs.predict_time import predict_time
    from steadyturn.report.predict_time import text as course_text

    moving = sys.stderr.isatty()

    def progress(share: float, what: str) -> None:
        click.echo(f"\r{what}: {100 * share:.0f} %   ", nl=False, err=True)

    try:
        result = predict_time(
            rig_path(rig), pace, time_s, unplug_s=unplug_s, capacitor_uf=capacitor_uf,
            sizes=sizes, plot=plot, progress=progress if moving else None)
    finally:
        if moving:
            click.echo("\r" + " " * 40 + "\r", nl=False, err=True)
    show(result, as_json, course_text)
    return 0
