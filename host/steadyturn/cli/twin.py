"""steadyturn twin: a virtual board on a port of this machine, or under one's own hand."""

from __future__ import annotations

import contextlib
import signal
import sys
from pathlib import Path

import click

from steadyturn.cli.common import json_option, rig_argument, rig_path, show
from steadyturn.errors import Problem, WrongInput


@click.command()
@rig_argument
@click.option("--hand", is_flag=True, help="Crank it yourself: tap the space bar.")
@click.option("--tap", default="beat", show_default=True, metavar="beat|half|turn|two",
              help="What one tap turns with --hand; beat: so that the lamp's beat is the one "
                   "to tap.")
@click.option("--image", type=click.Path(path_type=Path, dir_okay=False), default=None,
              help="File that keeps the board's flash; made if it is not there.")
@click.option("--seed", type=int, default=0, show_default=True, help="Same seed, same chances.")
@click.option("--person", default="lamp", show_default=True, metavar="WHO",
              help="Who cranks: lamp (does what it says), beat (a turn a flash, for 'bench RIG "
                   "--board'), points (holds two paces in turn, for 'calibrate'), steady:TPM or "
                   "none.")
@click.option("--fault", "faults", multiple=True, metavar="KIND:FROM[:FOR]",
              help="What goes wrong on the sensor's bus, FROM s on, FOR s: nack, stuck, held, "
                   "wrong, reset, frozen, flips. May be given again.")
@click.option("--misread", multiple=True, metavar="QUANTITY:PERCENT[:OFFSET]",
              help="The sensor reads volts or amps so much too high (and V or A besides), to try "
                   "'calibrate' on. May be given again.")
@click.option("--meter", is_flag=True,
              help="Also show what a perfect multimeter at the converter's input shows, and the "
                   "mean of the last seconds.")
@click.option("--blank", is_flag=True, help="A new board without firmware, to try 'flash' on.")
@json_option
@click.pass_context
def command(
    ctx: click.Context, rig: str | None, hand: bool, tap: str, image: Path | None, seed: int,
    person: str, faults: tuple[str, ...], misread: tuple[str, ...], meter: bool, blank: bool,
    as_json: bool,
) -> int:
    """A virtual board on a port of this machine, until Ctrl-C.

    The real firmware runs on the real MicroPython, wired to the model of the
    machine, in real time. steadyturn and mpremote use its port as they would a
    board's. With --hand you crank it yourself, with the lamp on the screen.
    """
    if hand:
        _refuse(ctx, "--hand", "person", "blank", "misread", "meter")
        return _crank(rig, image, seed, tap, faults, as_json)
    if not _default(ctx, "tap"):
        raise WrongInput(Problem("--tap", "", tap, "there are taps with --hand only."))
    from steadyturn.jobs.twin import serve, wait
    from steadyturn.report.twin import Meter, text

    # a closed terminal or `kill` ends it as Ctrl-C does, with everything cleaned up
    signal.signal(signal.SIGTERM, signal.default_int_handler)
    with serve(
        rig_path(rig), image=image, seed=seed, person=person, blank=blank, faults=faults,
        misread=misread,
    ) as (served, twin):
        show(served, as_json, text)
        sys.stdout.flush()
        with contextlib.suppress(KeyboardInterrupt):
            wait(twin, Meter() if meter and not as_json else None)
    return 0


def _crank(rig: str | None, image: Path | None, seed: int, tap: str, faults: tuple[str, ...],
           as_json: bool) -> int:
    from steadyturn.jobs.twin_hand import crank
    from steadyturn.report import hand as screen
    from steadyturn.report.terminal import Terminal, can_draw

    if not (sys.stdin.isatty() and can_draw(sys.stdout)):
        raise WrongInput(Problem(
            "--hand", "", "", "keys and the lamp need a terminal that can be drawn on.",
            "Run it in a terminal window, without a pipe; '--person lamp' cranks by itself."))
    terminal = Terminal()

    def starting(name: str) -> None:  # seconds pass until there is something to turn
        terminal.__enter__()
        terminal.draw(screen.starting(name, *terminal.size()))

    try:
        with crank(rig_path(rig), image=image, seed=seed, tap=tap, faults=faults,
                   starting=starting) as cranking:
            with contextlib.suppress(KeyboardInterrupt):
                screen.show_hand(cranking, terminal)
            done = cranking.finish()
    finally:
        terminal.close()
    show(done, as_json, screen.text)
    return 0


def _refuse(ctx: click.Context, beside: str, *names: str) -> None:
    for name in names:
        if not _default(ctx, name):
            raise WrongInput(Problem(f"--{name}", "", "", f"this does not go with {beside}.",
                                     f"Leave one of the two out: with {beside} you crank, and "
                                     "the board has its firmware."))


def _default(ctx: click.Context, name: str) -> bool:
    return ctx.get_parameter_source(name) is click.core.ParameterSource.DEFAULT
