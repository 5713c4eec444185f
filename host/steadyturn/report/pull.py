"""What a pull did, in words."""

from __future__ import annotations

from typing import Any

from steadyturn_fw import frames, pages

from steadyturn import extras
from steadyturn.report.style import duration, wrap

# below what a board behind a serial chip at 115,200 baud reaches: 231 bytes of 10 bits a page
SLOW_KB_S = 5.0
SLOW_PAGES = 20
WENT_BACK = {
    "pages": "Its journal has gone back: it has fewer pages than the library, or other ones under "
             "the same numbers. An old copy of its flash may have been put back, or its newest "
             "pages were lost. What was pulled before is kept as it is, and what comes from now "
             "on apart from it.",
    "boot": "Its count of boots has gone back, so its journal is no longer that of the last pull. "
            "What was pulled before is kept as it is, and what comes from now on apart from it.",
    "clock": "Its clock has gone back within one boot since it was last met: times of that boot "
             "are uncertain. Its pages follow each other as they should.",
}


def text(result: Any) -> str:
    """result: jobs.pull.Pulled."""
    lines = [f"Board {result.board} on {result.port}, firmware {result.firmware}.",
             *_recognised(result), "", *_pages(result)]
    if result.late_ticks:
        lines.append(wrap(f"{_count(result.late_ticks, 'tick')} of the board's loop came late "
                          "meanwhile."))
    if result.forgotten is not None:
        lines.append(wrap(_forgotten(result)))
    if not result.settings:
        lines.append(wrap(
            "The board has no valid settings, so it keeps the phone disconnected. 'steadyturn "
            "flash RIG' writes them."))
    lines += ["", f"Library: {result.library}"]
    if result.pages_new or result.pages_already:
        lines.append("Next: 'steadyturn review' shows what was delivered.")
    return "\n".join(lines) + "\n"


def _recognised(result: Any) -> list[str]:
    """What is different about this board since it was met last."""
    lines = []
    if result.reformatted:
        lines.append(wrap(
            "Its journal was made anew since the last pull, so its pages count from the start "
            "again. What was pulled before is kept apart from them."))
    elif not result.known:
        lines.append("It is new to this library.")
    if result.went_back:
        lines.append(wrap(WENT_BACK[result.went_back]))
    if result.page_version > max(pages.VERSIONS):
        lines.append(wrap(
            f"Its firmware is newer than this program: it writes pages of layout "
            f"{result.page_version}, and only layouts up to {max(pages.VERSIONS)} can be read "
            f"here. Bring this program up to date: {extras.update()}."))
    elif result.protocol < frames.PROTOCOL:
        lines.append(wrap(
            f"Its firmware speaks version {result.protocol} of the link, which gives pages more "
            f"slowly than version {frames.PROTOCOL}: 'steadyturn flash RIG' brings it up to "
            "date."))
    return lines


def _pages(result: Any) -> list[str]:
    lines = []
    if result.pages_new:
        rate = f"{result.bytes / 1000:.1f} kB in {duration(result.seconds)}"
        lines.append(wrap(
            f"{_count(result.pages_new, 'new page')} ({rate}): {_boots(result.boots)}, "
            f"{_numbers(result.first_seq, result.last_seq)}."))
        if result.pages_already:
            lines.append(f"{result.pages_already} more were here before.")
        if _slow(result):
            lines.append(wrap(
                f"That was slow, {_rate(result):.1f} kB/s: a USB hub, a long or worn cable or a "
                "busy computer can be the cause. Nothing is lost by it."))
    elif result.pages_already:
        lines.append(f"Nothing new: all {result.pages_already} pages on the board are here "
                     "already.")
    elif result.damaged or result.unread:
        lines.append("No page could be used.")
    elif result.went_back:
        lines.append("It has no page yet that is not here.")
    else:
        lines.append("The board has no pages yet: its journal begins when it is cranked.")
    if result.unread:
        lines.append(wrap(
            f"{_count(result.unread, 'page')} of a layout that this version does not know are "
            "kept aside, whole; a newer steadyturn reads them at its next pull."))
    if result.damaged:
        lines.append(wrap(
            f"{_count(result.damaged, 'page')} came damaged; kept aside. The totals in the pages "
            "after them still cover their energy."))
    if result.missing:
        lines.append(wrap(
            f"{_count(result.missing, 'page')} in between are no longer on the board; the totals "
            "still cover their energy."))
    if result.thinned:
        lines.append(wrap(
            f"Of {_count(result.thinned, 'page')} the board kept a summary a boot only, for want "
            "of room: energy, turns and times are all there, the samples are not. Pull now and "
            "then, with --free, and none are given up."))
    return lines


def _rate(result: Any) -> float:
    """kB/s while pages came."""
    return float(result.bytes / 1000 / result.copying_s) if result.copying_s else 0.0


def _slow(result: Any) -> bool:
    return bool(result.pages_new >= SLOW_PAGES and _rate(result) < SLOW_KB_S)


def _forgotten(result: Any) -> str:
    if result.forgotten:
        return (f"The board gave up {_count(result.forgotten, 'page number')}; all are in the "
                "library, read again and found whole.")
    if result.connected:
        return ("The board gave up nothing, because the phone is connected: 'steadyturn pull "
                "--free' again when nobody cranks.")
    if result.damaged or result.unread:
        return ("The board gave up nothing: among its oldest pages are some that are kept aside "
                "only, or it had no whole file to give up.")
    return "The board had no whole file to give up: it keeps its newest one always."


def _count(number: int, noun: str) -> str:
    return f"1 {noun}" if number == 1 else f"{number} {noun}s"


def _numbers(first: int, last: int) -> str:
    return f"number {first}" if first == last else f"numbers {first} to {last}"


def _boots(boots: tuple[int, ...]) -> str:
    if len(boots) == 1:
        return f"boot {boots[0]}"
    return f"{len(boots)} boots ({boots[0]} to {boots[-1]})"
