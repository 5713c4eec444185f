"""What a pull did, in words."""

from __future__ import annotations

from typing import Any

from steadyturn.report.style import duration, wrap


def text(result: Any) -> str:
    """result: jobs.pull.Pulled."""
    lines = [f"Board {result.board} on {result.port}, firmware {result.firmware}."]
    if result.reformatted:
        lines.append(wrap(
            "Its journal was made anew since the last pull, so its pages count from the start "
            "again. What was pulled before is kept apart from them."))
    elif not result.known:
        lines.append("It is new to this library.")
    lines.append("")
    if result.pages_new:
        rate = f"{result.bytes / 1000:.1f} kB in {duration(result.seconds)}"
        lines.append(f"{result.pages_new} new pages ({rate}): {_boots(result.boots)}, "
                     f"numbers {result.first_seq} to {result.last_seq}.")
        if result.pages_already:
            lines.append(f"{result.pages_already} more were here before.")
    elif result.pages_already:
        lines.append(f"Nothing new: all {result.pages_already} pages on the board are here "
                     "already.")
    elif result.damaged:
        lines.append("No page could be used.")
    else:
        lines.append("The board has no pages yet: its journal begins when it is cranked.")
    if result.damaged:
        lines.append(wrap(
            f"{_count(result.damaged, 'page')} came damaged or in a layout this version does not "
            "know; kept aside. The totals in the pages after them still cover their energy."))
    if result.missing:
        lines.append(wrap(
            f"{_count(result.missing, 'page')} in between are no longer on the board; the totals "
            "still cover their energy."))
    if result.thinned:
        lines.append(wrap(
            f"Of {_count(result.thinned, 'page')} the board kept a summary a boot only, for want "
            "of room: energy, turns and times are all there, the samples are not. Pull now and "
            "then, with --make-room, and none are given up."))
    if result.forgotten is not None:
        lines.append(wrap(
            f"The board gave up {_count(result.forgotten, 'page number')}; all are in the "
            "library." if result.forgotten else
            "The board had no whole file to give up, or the phone is connected: it removes "
            "nothing then."))
    if not result.settings:
        lines.append(wrap(
            "The board has no valid settings, so it keeps the phone disconnected. 'steadyturn "
            "flash RIG' writes them."))
    lines += ["", f"Library: {result.library}"]
    if result.pages_new or result.pages_already:
        lines.append("Next: 'steadyturn review' shows what was delivered.")
    return "\n".join(lines) + "\n"


def _count(number: int, noun: str) -> str:
    return f"1 {noun}" if number == 1 else f"{number} {noun}s"


def _boots(boots: tuple[int, ...]) -> str:
    if len(boots) == 1:
        return f"boot {boots[0]}"
    return f"{len(boots)} boots ({boots[0]} to {boots[-1]})"
