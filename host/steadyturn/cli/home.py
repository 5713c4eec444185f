"""steadyturn alone: where things stand, and one next step."""

from __future__ import annotations

from steadyturn.cli.common import show


def command(as_json: bool) -> None:
    from steadyturn.jobs.home import home
    from steadyturn.report.home import text

    show(home(), as_json, text)
