"""Which pages belong together: boots, and the boots between two meetings with a laptop.

Each rest of the arm cuts the board's power, so one evening of cranking is many boots. The
time between two boots is unknown: nothing on the board ran.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from steadyturn_fw import pages as layout

from steadyturn.sessions.decode import Pages, covered_from
from steadyturn.sessions.library import Contact


@dataclass(frozen=True, slots=True)
class Outing:
    """Boots since the last laptop contact before them.

    contacts: the pulls that brought its pages, oldest first (several when one was broken
    off); previous: the finished pull before them; latest: the newest contact of all;
    latest_brought_none: that one found nothing new.
    """

    contacts: tuple[Contact, ...]
    previous: Contact | None
    latest: Contact
    latest_brought_none: bool

    @property
    def unfinished(self) -> bool:
        """The last pull was broken off: more may be on the board."""
        return not self.contacts[-1].finished


def last_outing(contacts: Sequence[Contact]) -> Outing | None:
    """The pages that the most recent pull brought; if it brought none, those of the last one
    that did. A pull that was broken off counts as one with the pull that went on from it.
    None: no pull ever brought a page. contacts: oldest first; those that were no pulls are
    passed over."""
    contacts = [c for c in contacts if c.kind == "pull"]
    brought = [i for i, c in enumerate(contacts) if c.pages]
    if not brought:
        return None
    end = first = brought[-1]
    while first > 0 and not contacts[first - 1].finished:
        first -= 1
    return Outing(
        tuple(c for c in contacts[first : end + 1] if c.pages),
        contacts[first - 1] if first else None,
        contacts[-1],
        end != len(contacts) - 1 and contacts[-1].finished == 1,
    )


@dataclass(frozen=True, slots=True)
class Span:
    """One boot as far as it was written.

    first, stop: its rows in Pages.pages, stop excluded; begin_ms, end_ms: from the first
    sample's begin to the last one's end, since this boot. missing: pages absent from it or
    just before it. ended: "faded" (closed in time as the supply went), "host" (the laptop
    asked for the page being filled), or "cut" (power went without notice, so up to the
    last few seconds were not written). first_boot: below boot where one summary stands for
    several boots.
    """

    boot: int
    first_boot: int
    first: int
    stop: int
    begin_ms: int
    end_ms: int
    missing: int
    ended: str


def spans(pages: Pages) -> tuple[Span, ...]:
    """The boots in these pages, in order."""
    table = pages.pages
    if not len(table):
        return ()
    starts = np.flatnonzero(np.diff(table["boot"], prepend=table["boot"][0] - 1))
    begins = covered_from(table)
    before = np.append(begins[0] - 1, table["seq"][:-1])
    gaps = np.maximum(0, begins - before - 1)
    out = []
    for first, stop in zip(starts, [*starts[1:], len(table)], strict=True):
        last = table[stop - 1]
        # a burst stands for no time of its own
        whole = table[first:stop][table["flags"][first:stop] & layout.FLAG_BURST == 0]
        if len(whole):
            last = whole[-1]
        flags = int(last["flags"])
        if flags & layout.FLAG_FADING:
            ended = "faded"
        elif flags & layout.FLAG_FLUSHED:
            ended = "host"
        else:
            ended = "cut"
        out.append(Span(
            boot=int(last["boot"]), first=int(first), stop=int(stop),
            begin_ms=int(table["t0_ms"][first]),
            end_ms=int(last["t0_ms"] + last["length_ms"]),
            missing=int(gaps[first:stop].sum()), ended=ended,
            first_boot=int(table["first_boot"][first:stop].min()),
        ))
    return tuple(out)
