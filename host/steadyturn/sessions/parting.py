"""The contacts that part a board's outings, and the settings that each of them found."""

from __future__ import annotations

from dataclasses import dataclass

from steadyturn.sessions.grouping import Meeting, Meetings
from steadyturn.sessions.store import Store


@dataclass(frozen=True, slots=True)
class Met:
    """A contact with what its settings mean for the outings about it."""

    meeting: Meeting
    kind: str
    settings: int


class Contacts:
    """The board's contacts that part outings. They are looked up again only when there is
    another or one has come to its end."""

    def __init__(self, store: Store, board: int) -> None:
        self.store, self.board = store, board
        self.met: dict[int, Met] = {}
        self.meetings = Meetings(())
        self._known: tuple[int, ...] = ()

    def now(self) -> Contacts:
        known = self.store.rows("nn", "SELECT count(*), coalesce(sum(finished), 0) FROM contact "
                                "WHERE board = ?", self.board)[0]
        if known != self._known:
            self._known = known
            self.met = {m.meeting.id: m for m in _met(self.store, self.board)}
            self.meetings = Meetings([m.meeting for m in self.met.values()])
        return self


def _met(store: Store, board: int) -> list[Met]:
    """The board's contacts that part outings, in their order, with the highest page up to
    each. Watching again what is on since the contact before (a loose cable) parts nothing."""
    rows = store.rows(
        "ntnnonno", "SELECT id, kind, boot, t_ms, last_seq, settings, finished, "
        "(SELECT max(seq) FROM page WHERE contact = contact.id) FROM contact "
        "WHERE board = ? ORDER BY id", board)
    out: list[Met] = []
    highest, on = -1, None
    for id, kind, boot, t_ms, last_seq, settings, finished, brought in rows:
        highest = max(highest, -1 if brought is None else brought)
        if kind == "watch" and boot == on:
            continue
        edge, on = None, boot
        if kind == "pull":  # one that was broken off left pages for the next to bring
            edge = highest if finished else max(highest, -1 if last_seq is None else last_seq)
        out.append(Met(Meeting(id, boot, t_ms, edge), kind, settings))
    return out
