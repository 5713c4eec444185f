"""steadyturn sessions"""

from __future__ import annotations

from pathlib import Path

import click

from steadyturn.cli.common import Number, json_option, library_option, plot_option, show
from steadyturn.errors import Problem, WrongInput
from steadyturn.jobs.sessions_totals import PERIODS


@click.command()
@library_option
@click.option("--board", default=None, metavar="ID",
              help="Only this board: its label, its id, or the last digits of it.")
@click.option("--rig", default=None, metavar="NAME", help="Only rigs with this in their name.")
@click.option("--since", default=None, metavar="DATE",
              help="Only what was pulled since then and is not known to be older.")
@click.option("--best", type=Number("how many outings", int), default=None, metavar="N",
              help="Only the N with the most energy out.")
@click.option("--faults", is_flag=True, help="Only those with faults, and which.")
@click.option("--per", type=click.Choice(PERIODS), default=None, help="Totals instead of a list.")
@click.option("--trend", is_flag=True, help="What the outings taught of the machine: resistance, "
              "EMF and losses at 20 degC, and the odds that they change.")
@click.option("--note", type=(Number("an outing's number", int), str), default=None,
              metavar="N TEXT", help="Put your own words to outing N ('' takes them away).")
@click.option("--rebuild", is_flag=True, help="Decode all stored pages again first.")
@plot_option
@json_option
def command(
    library: Path | None, board: str | None, rig: str | None, since: str | None,
    best: int | None, faults: bool, per: str | None, trend: bool, note: tuple[int, str] | None,
    rebuild: bool, plot: Path | None, as_json: bool,
) -> None:
    """The outings in the library: when, how long, and what each delivered.

    An outing is all that was cranked between two meetings of board and computer. A board has
    no clock that runs without power: what it was cranked away from a computer is undated, but
    after the meeting before it.
    """
    if trend:
        others = {"--rig": rig, "--since": since, "--best": best, "--faults": faults or None,
                  "--per": per, "--note": note, "--rebuild": rebuild or None}
        _alone("--trend", [name for name, value in others.items() if value is not None])
        from steadyturn.jobs.learned import learned_machine
        from steadyturn.report import trend as words

        show(learned_machine(library, board=board, plot=plot), as_json, words.text)
        return
    if plot is not None:
        raise WrongInput(Problem("--plot", "", str(plot), "with --trend: its curves.",
                                 "'steadyturn review --plot FILE' draws one outing."))
    from steadyturn.jobs.sessions import sessions
    from steadyturn.report.sessions import Progress, text

    show(sessions(library, board=board, rig=rig, since=since, best=best, faults=faults, per=per,
                  note=note, rebuild=rebuild, progress=Progress(quiet=as_json)),
         as_json, text)


def _alone(option: str, others: list[str]) -> None:
    if others:
        raise WrongInput(Problem(option, "", " ".join(others), "alone, or with --board: it tells "
                                 "of one machine as a whole.", "Leave one of the two out."))
