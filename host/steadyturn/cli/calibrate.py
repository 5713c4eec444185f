"""steadyturn calibrate: correct the board's volts and amps against a multimeter."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

import click

from steadyturn.cli.common import Number, json_option, library_option, port_option, show
from steadyturn.errors import Problem, WrongInput


def _points(name: str, what: str) -> Any:
    return click.option(f"--{name}", multiple=True, metavar="BOARD=METER",
                        help=f"A point of the {what}. May be given again.")


@click.command(short_help="Correct the board's volts and amps by a multimeter.")
@port_option
@_points("volts", "volts at the converter's input, as 5.02=5.07")
@_points("amps", "current into it, as 412mA=0.40, 412mA=4.01V/10ohm or 0mA=none")
@_points("out-volts", "volts at the output, where a second channel is fitted")
@_points("out-amps", "current there")
@click.option("--points", type=click.Path(path_type=Path), default=None, metavar="FILE",
              help="Points from a file.")
@click.option("--new", type=click.Path(path_type=Path), default=None, metavar="FILE",
              help="Write a file of points to fill in, and do nothing else.")
@click.option("--force", is_flag=True, help="With --new: write over a file that is there.")
@click.option("--meter", default=None, metavar="P+D/C",
              help="The meter's class of volts: percent, digits, counts (0.8+2/2000).")
@click.option("--meter-amps", type=Number("percent of amperes"), default=None, metavar="P",
              help="Its percent of amperes (1.5).")
@click.option("--show", "only_show", is_flag=True, help="Show what is in force; change nothing.")
@click.option("--undo", is_flag=True, help="Back to the correction before, or to none.")
@click.option("--anyway", is_flag=True,
              help="Also write what is doubtful, or what the meter cannot better.")
@click.option("--yes", is_flag=True, help="Do not ask.")
@library_option
@json_option
@click.pass_context
def command(
    ctx: click.Context, port: str | None, volts: tuple[str, ...], amps: tuple[str, ...],
    out_volts: tuple[str, ...], out_amps: tuple[str, ...], points: Path | None, new: Path | None,
    force: bool, meter: str | None, meter_amps: float | None, only_show: bool, undo: bool,
    anyway: bool, yes: bool, library: Path | None, as_json: bool,
) -> int:
    """Correct the readings of a board by a multimeter that stands beside it.

    \b
      steadyturn calibrate                              asks, step by step
      steadyturn calibrate --volts 5.02=5.035 --volts 9.11=9.135
      steadyturn calibrate --show
      steadyturn calibrate --undo

    Two points, far apart, tell gain and offset; the board's figure is averaged while
    you keep it steady and read the meter. A figure that neither data sheet nor meter
    explains is named with what may be the matter, never stored by itself. The
    correction is kept on the board, with its date and how well it is known; 'flash'
    leaves it there, 'review' reckons with it. While it is written the board's program
    stands still, so a load is released.
    """
    from steadyturn.jobs import calibrate as job
    from steadyturn.jobs.calibrate_points import given
    from steadyturn.report import calibrate as report

    typed = {"volts": volts, "amps": amps, "out_volts": out_volts, "out_amps": out_amps}
    any_points = points is not None or any(typed.values())
    if sum((new is not None, only_show, undo, any_points)) > 1:
        raise click.UsageError("Points, --new, --show and --undo: one at a time.")
    if new is not None:
        show(job.new_points(new, force=force), as_json, report.new_text)
        return 0
    may_ask = sys.stdin.isatty() and not as_json
    asking = _Asking(may_ask, yes, anyway, as_json)
    if undo:
        done = job.undo(port, asking.undo, library=library)
    elif only_show or not (any_points or may_ask):
        done = job.show(port)
    elif any_points:
        done = job.calibrate(port, *given(typed, points, meter, meter_amps), asking.choose,
                             library=library)
    else:
        from steadyturn.cli.calibrate_ask import Asking

        of_class, _ = given({}, None, meter, meter_amps)
        done = job.guided(port, of_class, Asking().collect, asking.choose, library=library)
    show(done, as_json, report.text)
    if done.outcome == "nothing":
        return 0 if all(one.verdict == "agrees" for one in done.judged) else 1
    return 1 if done.outcome == "declined" or done.in_force is False else 0


class _Asking:
    """The one question, or why it cannot be asked."""

    def __init__(self, may_ask: bool, yes: bool, anyway: bool, as_json: bool) -> None:
        self.may_ask, self.yes, self.anyway, self.as_json = may_ask, yes, anyway, as_json

    def choose(self, plan: Any) -> list[str] | None:
        """The quantities to write; None: there is nothing to ask."""
        from steadyturn.report import calibrate as report

        verdicts = {one.quantity: one.verdict for one in plan.judged}
        chosen = [name for name, verdict in verdicts.items() if verdict == "corrects" or (
            self.anyway and verdict in ("agrees", "doubtful"))]
        asked = [name for name, verdict in verdicts.items()
                 if verdict == "doubtful" and name not in chosen and self.may_ask]
        if not chosen and (not asked or self.yes):
            return None
        if not self.as_json:
            click.echo(report.plan_text(plan))
        if self.yes:
            return chosen
        if not self.may_ask:
            raise _needs_yes()
        if chosen and not click.confirm(report.question(chosen), default=True):
            return []
        if asked and click.prompt(report.all_the_same(asked), default="no") == "yes":
            chosen += asked
        return chosen

    def undo(self, plan: Any) -> bool:
        from steadyturn.report import calibrate as report

        if not self.as_json:
            click.echo(report.undo_text(plan))
        if self.yes:
            return True
        if not self.may_ask:
            raise _needs_yes()
        return click.confirm("Write this to the board?", default=True)


def _needs_yes() -> WrongInput:
    return WrongInput(Problem(
        "--yes", "", "", "is needed here, where no question can be asked; nothing was written.",
        "'--show' shows what is in force."))
