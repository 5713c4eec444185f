"""`steadyturn bench`."""

from __future__ import annotations

from pathlib import Path

import click

from steadyturn.cli.bench_ask import ask
from steadyturn.cli.bench_board import by_board
from steadyturn.cli.common import (
    Number,
    json_option,
    plot_option,
    port_option,
    rig_argument,
    rig_path,
    show,
)
from steadyturn.errors import Failed, Problem, WrongInput

BEATS = (10, 240)  # a minute; faster no hand follows, engineering judgement


@click.command(short_help="A motor's or machine's constants from readings by hand.")
@rig_argument
@click.option("--motor", default=None, metavar="NAME",
              help="A bare motor: its entry in the parts file is set, or added.")
@click.option("--readings", type=click.Path(path_type=Path), default=None, metavar="FILE",
              help="Readings from a file; without it they are asked for.")
@click.option("--parts", type=click.Path(path_type=Path), default=None, metavar="FILE",
              help="The parts file for --motor (the only one in this folder).")
@click.option("--new", type=click.Path(path_type=Path), default=None, metavar="FILE",
              help="Write a file of readings to fill in, and do nothing else.")
@click.option("--wires", type=Number("wires that leave the motor", int), default=None,
              metavar="N", help="How many wires leave the motor.")
@click.option("--beat", type=Number("turns/min to beat"), default=None, metavar="N",
              help="Beep N times a minute while you turn.")
@click.option("--board", is_flag=True,
              help="The built machine measured by its own board, while you turn by the lamp.")
@port_option
@click.option("--room", type=Number("degrees Celsius"), default=None, metavar="C",
              help="With --board: where the machine has stood for an hour (20).")
@click.option("--slots", type=Number("slots of the commutator", int), default=None, metavar="N",
              help="With --board: of a motor's commutator, where they can be counted.")
@click.option("--yes", is_flag=True,
              help="With --board: do not ask; no phone is plugged in, and write the result.")
@click.option("--nameplate", is_flag=True,
              help="Believe beforehand what the file already says of the motor.")
@click.option("--no-write", is_flag=True, help="Show only; change no file.")
@click.option("--force", is_flag=True, help="With --new: write over a file that is there.")
@plot_option
@json_option
def command(
    rig: str | None, motor: str | None, readings: Path | None, parts: Path | None,
    new: Path | None, wires: int | None, beat: float | None, board: bool, port: str | None,
    room: float | None, slots: int | None, yes: bool, nameplate: bool, no_write: bool,
    force: bool, plot: Path | None, as_json: bool,
) -> int:
    """Measure a bare motor (--motor) or the built machine (RIG), by hand or --board.

    \b
      steadyturn bench --motor "printer motor"            asks, step by step
      steadyturn bench --new readings.toml                a file to fill in
      steadyturn bench --motor "printer motor" --readings readings.toml
      steadyturn bench my.toml --readings readings.toml   the built machine
      steadyturn bench my.toml --board                    the same by its board

    What the readings tell is written as measured, with its 95 % interval and date;
    what they do not tell stays as it was. A reading that does not go with the others
    is left out and named, with the slip that would explain it.
    """
    from steadyturn.jobs import bench as job
    from steadyturn.report import bench as report

    if new is not None:
        if motor or readings or rig:
            raise click.UsageError("--new writes a file of readings: give it alone.")
        show(job.new_readings(new, force=force), as_json, report.new_text)
        return 0
    if motor is not None and rig is not None:
        raise click.UsageError("Name a RIG, or a bare motor with --motor: one at a time.")
    if board and (motor or readings or beat is not None or wires is not None):
        raise click.UsageError("--board measures the built machine RIG by itself: leave --motor, "
                               "--readings, --beat and --wires out.")
    if not board and (port is not None or yes or room is not None or slots is not None):
        raise click.UsageError("--port, --room, --slots and --yes go with --board.")
    if beat is not None and not BEATS[0] <= beat <= BEATS[1]:
        raise WrongInput(Problem("--beat", "", f"{beat:g}",
                                 f"{BEATS[0]} to {BEATS[1]} a minute."))
    if wires is not None:
        _refuse(job.wires(wires))
    if plot is not None:
        from steadyturn.report import bench_plot

        bench_plot.check(plot)
    if motor is not None:
        job.check_name(motor)
        given = readings or ask(motor, None, wires, beat)
        answer = job.bench_motor(motor, given, parts or job.only_parts_file(),
                                 nameplate=nameplate, write=not no_write)
    else:
        if parts is not None:
            raise click.UsageError("--parts goes with --motor.")
        path = _rig_path(rig)
        job.check_rig(path, write=not no_write)
        if board:
            return by_board(path, port, plot, room_c=room, slots=slots, yes=yes,
                            nameplate=nameplate, write=not no_write, as_json=as_json)
        given = readings or ask(path.stem, path, None, beat)
        answer = job.bench_rig(path, given, nameplate=nameplate, write=not no_write)
    if plot is not None and answer.result is not None:
        bench_plot.write(answer, plot)
    show(answer, as_json, report.text)
    return 1 if answer.result is not None and answer.result.doubt else 0


def _rig_path(rig: str | None) -> Path:
    """As every command's, but a bare motor needs no rig file."""
    try:
        return rig_path(rig)
    except WrongInput:
        if rig is not None:
            raise
        raise WrongInput(Problem(
            "RIG", "", "", "what is measured? A bare motor: 'steadyturn bench --motor NAME'; the "
            "built machine: 'steadyturn bench RIG' with its rig file.",
            "'steadyturn bench -h' explains both.")) from None


def _refuse(found: object) -> None:
    from steadyturn.report.bench import not_modelled

    if not found.brushed:  # type: ignore[attr-defined]
        raise Failed(*not_modelled(found))
