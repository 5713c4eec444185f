"""`steadyturn size PARTS`."""

from __future__ import annotations

import sys
import time
from pathlib import Path

import click

from steadyturn.cli import complete
from steadyturn.cli.common import Number, json_option, rig_path, show
from steadyturn.errors import Failed, Problem, WrongInput

EVERY_S = 0.2  # how often the progress is written


@click.command(short_help="What can be built from what is at hand.")
@click.argument("parts", metavar="PARTS", required=False, default=None,
                shell_complete=complete.drawers)
@click.option("--from", "rig", metavar="RIG", default=None, shell_complete=complete.rigs,
              help="Rank the single changes of this machine instead.")
@click.option("--typical", is_flag=True,
              help="Add typical motors and converters; without PARTS, those alone.")
@click.option("--why", type=Number("a row of the list", int), default=None, metavar="N",
              help="Explain row N in full.")
@click.option("--write", "into", type=click.Path(path_type=Path), default=None, metavar="FILE",
              help="Write a row as a rig file.")
@click.option("--row", type=Number("a row of the list", int), default=None, metavar="N",
              help="Which row --write writes (the first).")
@click.option("--new", type=click.Path(path_type=Path), default=None, metavar="FILE",
              help="Write a parts file to fill in, and search nothing.")
@click.option("--force", is_flag=True, help="Write over a file that is already there.")
@json_option
def command(
    parts: str | None, rig: str | None, typical: bool, why: int | None, into: Path | None,
    row: int | None, new: Path | None, force: bool, as_json: bool,
) -> int:
    """Search every motor, number of them, gear ratio and converter of a parts file,
    and list the machines worth a choice: none of them is beaten in everything.

    \b
      steadyturn size --new drawer.toml        a parts file to fill in
      steadyturn size attic-drawer             an example that ships
      steadyturn size attic-drawer --why 2     one row in full
      steadyturn size attic-drawer --write my.toml --row 2

    With --from, which single change would help a machine most that stands already:
    a motor more, another ratio, converter, handle, cable ... Converters are those of
    PARTS, or typical ones; what is measured in RIG counts with its interval.

    \b
      steadyturn size --from my.toml
      steadyturn size drawer.toml --from my.toml --write changed.toml --row 1

    Exit code 0: something works. 1: nothing does; then it says what to buy, print or
    change. 2: the file is wrong. Ctrl-C shows the best so far, with exit code 1.
    """
    from steadyturn.jobs import size as job
    from steadyturn.report import size as report

    _check_options(parts, typical, why, into, row, new)
    if rig is not None:
        if new is not None:
            raise click.UsageError("--new writes a parts file and searches nothing: give it "
                                   "alone.")
        return _from(rig, parts, typical, why, into, row or 1, force, as_json)
    if new is not None:
        show(job.new_parts(new, force=force), as_json, report.new_text)
        return 0
    if into is not None:
        job.refuse_existing(into, force)
    progress = _Progress()
    try:
        result = job.size(None if parts is None else job.parts_path(parts), typical=typical,
                          say=progress.say)
    finally:
        progress.end()
    if not result.choices or not result.complete:  # rows of a part have numbers of their own
        show(result, as_json, report.text)
        if result.complete and (why is not None or into is not None):
            asked = f"row {why or row or 1}"
            raise Failed(f"There is no {asked}" + ("" if into is None else
                         f", so nothing was written to {into}") + ".")
        return 1
    if why is not None:
        show(job.why(result, why), as_json, report.why_text)
    elif into is not None:
        written = job.write(result, 1 if row is None else row, into, report.command(result),
                            force=force)
        show(written, as_json, report.written_text)
    else:
        show(result, as_json, report.text)
    return 0


def _from(rig: str, parts: str | None, typical: bool, why: int | None, into: Path | None,
          row: int, force: bool, as_json: bool) -> int:
    """Single changes of a rig."""
    from steadyturn.jobs import size as sizing
    from steadyturn.jobs import size_change as job
    from steadyturn.report import size_change as report

    path = rig_path(rig)
    if into is not None:
        sizing.refuse_existing(into, force)
    progress = _Progress("Ctrl-C ends it")
    try:
        result = job.size_from(path, None if parts is None else sizing.parts_path(parts),
                               typical=typical, say=progress.say)
    finally:
        progress.end()
    if why is not None:
        show(job.why(result, why), as_json, report.why_text)
    elif into is not None:
        show(job.write(result, row, into, force=force), as_json, report.written_text)
    else:
        show(result, as_json, report.text)
        return 0 if result.helps else 1
    return 0


def _check_options(parts: str | None, typical: bool, why: int | None, into: Path | None,
                   row: int | None, new: Path | None) -> None:
    """Options that contradict each other."""
    if new is not None and (parts or typical or into or why is not None):
        raise click.UsageError("--new writes a parts file and searches nothing: give it alone.")
    if row is not None and into is None:
        raise click.UsageError("--row goes with --write FILE; --why N explains a row.")
    if why is not None and into is not None:
        raise click.UsageError("--why and --write: one at a time.")
    for option, number in (("--row", row), ("--why", why)):
        if number is not None and number < 1:
            raise WrongInput(Problem(option, "", str(number), "rows are counted from 1."))


class _Progress:
    """One line on stderr, where that is a terminal."""

    def __init__(self, stop: str = "Ctrl-C: the best so far") -> None:
        self.shown, self.stop = sys.stderr.isatty(), stop
        self.last = 0.0
        self.width = 0

    def say(self, what: str, done: int, of: int) -> None:
        now = time.monotonic()
        if not self.shown or (now - self.last < EVERY_S and done < of):
            return
        self.last = now
        line = f"{what}: {done:,} of {of:,} ({self.stop})"
        click.echo("\r" + line.ljust(self.width), nl=False, err=True)
        self.width = len(line)

    def end(self) -> None:
        if self.width:
            click.echo("\r" + " " * self.width + "\r", nl=False, err=True)
