"""The screen of `steadyturn` alone."""

from __future__ import annotations

from typing import Any

from steadyturn.report.style import duration, item, table, wrap


def text(home: Any) -> str:
    """See jobs.home.Home."""
    rows = [("rig file", _rigs(home.rigs)),
            *([("parts file", ", ".join(home.drawers[:4]))] if home.drawers else []),
            ("board" if len(home.boards) < 2 else "boards", _boards(home.boards)),
            ("last pull", _pull(home))]
    return (
        "steadyturn: plan, build, run and review a hand-turned phone charger\n\n"
        + table(rows) + "\n\n"
        + item(f"{home.next_step}", "next: ", "") + "\n"
        + wrap(home.because, "      ") + "\n\n"
        "'steadyturn --help' lists the commands.\n"
    )


def _rigs(rigs: Any) -> str:
    if not rigs:
        return "none in this folder"
    said = [
        r.file + (f" ({r.problems} problem{'s' if r.problems > 1 else ''})" if r.problems
                  else f" ({r.name})" if r.name else "")
        for r in rigs[:4]
    ]
    more = len(rigs) - len(said)
    return ", ".join(said) + (f" and {more} more" if more else "")


def _boards(boards: Any) -> str:
    if not boards:
        return "none plugged in"
    return "; ".join(_board(b) for b in boards)


def _board(board: Any) -> str:
    if board.firmware is None:
        why = board.problem.removeprefix(f"{board.port}: ").rstrip(".")
        return f"{board.port} ({board.what}): {why}"
    named = f"'{board.label}' on " if board.label else ""
    virtual = " (virtual)" if board.virtual else ""
    rig = f", rig {board.rig}" if board.rig else ""
    waiting = board.pages_waiting
    pages = f", {waiting} page{'s' if waiting > 1 else ''} to pull" if waiting else ""
    return f"{named}{board.port}{virtual}{rig}, firmware {board.firmware}{pages}"


def _pull(home: Any) -> str:
    if home.library_problem:
        return home.library_problem
    last = home.last_pull
    if last is None:
        return "none yet"
    cut = "" if last.finished else ", not to its end"
    days = last.seconds_ago / 86_400
    ago = f"{days:.0f} days" if days >= 2 else duration(last.seconds_ago)
    pages = "1 new page" if last.pages == 1 else f"{last.pages} new pages"
    return f"{ago} ago, {pages} of board {last.board[-6:]}{cut}"
