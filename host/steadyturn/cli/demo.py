"""steadyturn demo"""

from __future__ import annotations

import sys
import time
from pathlib import Path
from typing import Any

import click

from steadyturn.cli.common import json_option

PLAY_S = 0.1 / 18  # at a terminal a look that is 0.1 s of the outing lasts this long


@click.command()
@click.option("--folder", type=click.Path(path_type=Path, file_okay=False), default=None,
              help="Keep library, plot and page here (else in a new temporary folder).")
@click.option("--seed", type=click.IntRange(min=0), default=None,
              help="Another person, another sensor.")
@json_option
def command(folder: Path | None, seed: int | None, as_json: bool) -> None:
    """The whole job without hardware, in half a minute.

    Reads an example rig, sets up a virtual board (the real firmware on MicroPython),
    cranks it, pulls the journal, reviews it, and plays one danger. Everything goes
    through the public commands' own code.
    """
    from steadyturn.jobs import demo as job
    from steadyturn.report import demo as report
    from steadyturn.report.flash import Progress
    from steadyturn.report.objects import to_json

    class Screen:
        def __init__(self) -> None:
            self.live = report.Live(moving=sys.stdout.isatty())
            self.bar = Progress(quiet=not sys.stdout.isatty())

        def heading(self, step: str, command: str) -> None:
            click.echo(report.heading(step, command))

        def say(self, text: str) -> None:
            click.echo(text)

        def moment(self, moment: Any) -> None:
            self.live.show(moment)
            if self.live.moving:
                time.sleep(PLAY_S)

        def end_of_outing(self) -> None:
            self.live.end()

        def progress(self, done: int, total: int, what: str) -> None:
            self.bar(done, total, what)

    class Silent(Screen):
        def heading(self, step: str, command: str) -> None: ...

        def say(self, text: str) -> None: ...

        def moment(self, moment: Any) -> None: ...

        def end_of_outing(self) -> None: ...

        def progress(self, done: int, total: int, what: str) -> None: ...

    chosen = job.SEED if seed is None else seed
    result = job.demo(Silent() if as_json else Screen(), folder=folder, seed=chosen)
    if as_json:
        click.echo(to_json(result))
