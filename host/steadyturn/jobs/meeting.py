"""A meeting of board and computer, noted in the library: it ties the board's clock, which
counts from each boot, to the world's, and parts what was cranked before it from what comes
after. Only a help to what is really being done, so it fails nothing."""

from __future__ import annotations

import time
from pathlib import Path

from steadyturn.board.link import Link
from steadyturn.errors import Failed
from steadyturn.jobs.pull_place import newest_row
from steadyturn.sessions.library import Library

WAIT_S = 3.0  # another program may be writing; whoever flashes or watches does not wait long


def note(
    link: Link, *, kind: str, library: Path | None = None, rig_text: str | None = None,
    rig_of: bytes | None = None,
) -> str:
    """Leave a contact of the running board on `link` in the library folder (None: the user's).

    kind: "flash" or "watch" (`pull` notes its own). rig_text: the rig file that the settings
    in force were made from; rig_of: settings before, whose rig file theirs still is. Returns "",
    or why it could not be noted, as a sentence.
    """
    try:
        who = link.who()
        now_s = time.time()
        settings = link.settings()
        with Library(library, wait_s=WAIT_S) as shelf:
            board = newest_row(shelf, who, now_s)
            if rig_text is None and rig_of is not None:
                rig_text = shelf.rig_text_of(rig_of)
            contact = shelf.begin(
                board, kind=kind, host_s=now_s, boot=who.boot, t_ms=who.t_ms,
                firmware=who.firmware, rig_text=rig_text, settings=settings,
                seqs=(who.first_seq, who.last_seq) if who.stored else None,
            )
            shelf.finish(contact)
    except Failed as failed:
        return f"This meeting is not in the library, so it dates no outing: {failed.what}"
    return ""
