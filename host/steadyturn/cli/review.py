"""steadyturn review"""

from __future__ import annotations

from pathlib import Path

import click

from steadyturn.cli import complete
from steadyturn.cli.common import (
    Number,
    html_option,
    json_option,
    library_option,
    plot_option,
    rig_path,
    show,
)
from steadyturn.errors import Problem, WrongInput


@click.command()
@library_option
@click.option("--board", default=None, metavar="ID",
              help="Which board: its label, its id, or the last digits of it.")
@click.option("--outing", type=Number("the number of an outing", int), default=None, metavar="N",
              help="One outing, by its number in 'steadyturn sessions'.")
@click.option("--all", "everything", is_flag=True,
              help="All that the library has of it, not just the last pull.")
@click.option("--rig", default=None, metavar="RIG", shell_complete=complete.rigs,
              help="Hold it against this rig file, not the one that flash left.")
@click.option("--more", is_flag=True, help="All figures with their ranges, and what to change.")
@click.option("--against", default=None, metavar="N",
              help="Set it beside another outing: its number, or 'previous'.")
@plot_option
@html_option
@json_option
def command(
    library: Path | None, board: str | None, outing: int | None, everything: bool,
    rig: str | None, more: bool, against: str | None, plot: Path | None, html: Path | None,
    as_json: bool,
) -> None:
    """What was delivered, what it cost, and what to change.

    Six lines about everything since the last pull that brought turning; --more has all figures.
    --plot draws these outings; what all of a machine's outings have taught is drawn by --html
    and by 'steadyturn sessions --trend --plot FILE'.
    """
    from steadyturn.jobs.review import review
    from steadyturn.report import review as brief
    from steadyturn.report import review_against, review_more

    if more and against is not None:
        raise WrongInput(Problem("--more", "", f"--against {against}", "one of the two.",
                                 "--against sets all figures side by side already."))
    found = review(
        library, board=board, everything=everything, outing=outing,
        rig=None if rig is None else rig_path(rig), plot=plot, html=html,
        against=against)
    if against is not None:
        show(found, as_json, review_against.text)
    else:
        show(found, as_json, review_more.text if more else brief.text)
