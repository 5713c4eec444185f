"""steadyturn alone: where things stand, and one next step."""

from __future__ import annotations

import click


def show() -> None:
    from steadyturn.jobs.home import home
    from steadyturn.report.home import text

    click.echo(text(home()), nl=False)
