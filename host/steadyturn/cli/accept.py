"""The yes before something is written to a board: one question, and for a machine that can harm
what is connected to it the word itself."""

from __future__ import annotations

import click

from steadyturn.errors import Failed, Problem, WrongInput


def accept(*, dangerous: bool, yes: bool, despite_danger: bool, may_ask: bool, check: str,
           question: str) -> bool:
    """Whether it may be written. check: the command that says what the danger is. Raises
    WrongInput where no question can be asked and --yes is missing, Failed for a dangerous
    machine there."""
    if despite_danger:
        return True
    if not dangerous:
        if not (yes or may_ask):
            raise WrongInput(Problem(
                "--yes", "", "", "is needed here, where no question can be asked; nothing "
                "was written.", "'--dry-run' shows what would change."))
        return yes or click.confirm(question, default=True)
    if not may_ask:
        raise Failed(
            "This machine can harm what is connected to it; nothing was written.",
            f"'{check}' says what and what to do; --despite-danger writes all the same.",
        )
    return bool(click.prompt("Type 'yes' to write it all the same", default="no") == "yes")
