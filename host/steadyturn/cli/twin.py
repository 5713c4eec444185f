"""steadyturn twin: a virtual board on a port of this machine."""

from __future__ import annotations

import contextlib
import signal
import sys
from pathlib import Path

import click

from steadyturn.cli.common import json_option, rig_argument, rig_path, show


@click.command()
@rig_argument
@click.option("--image", type=click.Path(path_type=Path, dir_okay=False), default=None,
              help="File that keeps the board's flash; made if it is not there.")
@click.option("--seed", type=int, default=0, show_default=True, help="Same seed, same chances.")
@click.option("--person", default="lamp", show_default=True, metavar="lamp|steady:TPM|none",
              help="Who cranks.")
@click.option("--fault", "faults", multiple=True, metavar="KIND:FROM[:FOR]",
              help="What goes wrong on the sensor's bus, FROM s on, FOR s: nack, stuck, held, "
                   "wrong, reset, frozen, flips. May be given again.")
@click.option("--blank", is_flag=True, help="A new board without firmware, to try 'flash' on.")
@json_option
def command(
    rig: str | None, image: Path | None, seed: int, person: str, faults: tuple[str, ...],
    blank: bool, as_json: bool,
) -> int:
    """A virtual board on a port of this machine, until Ctrl-C.

    The real firmware runs on the real MicroPython, wired to the model of the
    machine, in real time. steadyturn and mpremote use its port as they would a
    board's.
    """
    from steadyturn.jobs.twin import serve, wait
    from steadyturn.report.twin import text

    # a closed terminal or `kill` ends it as Ctrl-C does, with everything cleaned up
    signal.signal(signal.SIGTERM, signal.default_int_handler)
    with serve(
        rig_path(rig), image=image, seed=seed, person=person, blank=blank, faults=faults,
    ) as (served, twin):
        show(served, as_json, text)
        sys.stdout.flush()
        with contextlib.suppress(KeyboardInterrupt):
            wait(twin)
    return 0
