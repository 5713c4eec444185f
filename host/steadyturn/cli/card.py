"""`steadyturn card RIG`."""

from __future__ import annotations

from pathlib import Path

import click

from steadyturn.cli.common import html_option, json_option, rig_argument, rig_path, show


@click.command(short_help="The card for inside the lid: lamp, pace, faults, bypass.")
@rig_argument
@html_option
@json_option
def command(rig: str | None, html: Path | None, as_json: bool) -> int:
    """One side for inside the lid, for somebody in the dark who never saw this
    program: the lamp's signals and faults, how fast to turn, what ten minutes
    bring, how to connect, what to do without light, the bypass, cautions.

    \b
      steadyturn card my.toml --html card.html   one side of A4 or letter

    Exit code 1: the machine is dangerous as built, or no pace works: a card for
    it would be a lie. 2: the file is wrong.
    """
    from steadyturn.jobs.card import card
    from steadyturn.report.card import text

    show(card(rig_path(rig), page=html), as_json, text)
    return 0
