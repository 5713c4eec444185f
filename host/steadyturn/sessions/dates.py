"""When an outing was, as far as the meetings with a laptop tell."""

from __future__ import annotations

from typing import Any

from steadyturn.sessions.anchors import Anchors
from steadyturn.sessions.rows import Contact
from steadyturn.sessions.store import Store

_REST: tuple[Any, ...] = ("", None, None, b"", 1, 0)  # of a Contact, what dates nothing


def write(store: Store, board: int) -> None:
    """Date the board's outings anew: a later meeting may show that an earlier clock was
    wrong. Inside a transaction."""
    contacts = store.rows(
        "nntsnnv", "SELECT id, board, kind, host_s, boot, t_ms, doubt FROM contact "
        "WHERE board = ? ORDER BY id", board)
    anchors = Anchors([Contact(*row[:-1], *_REST) for row in contacts])
    for id, *_, doubt in contacts:
        if doubt != anchors.doubts.get(id):
            store.db.execute("UPDATE contact SET doubt = ? WHERE id = ?",
                             (anchors.doubts.get(id), id))
    trusted = {row[0]: row[3] for row in contacts if row[0] not in anchors.doubts}
    order = [row[0] for row in contacts]
    rows = store.rows(
        "nnnnnoouuuu", "SELECT id, begin_boot, begin_ms, end_boot, end_ms, after_contact, "
        "until_contact, begin_s, end_s, after_s, until_s FROM outing WHERE board = ?", board)
    earlier = _nearest(order, trusted)
    later = _nearest(order[::-1], trusted)
    for id, begin_boot, begin_ms, end_boot, end_ms, after, until, *known in rows:
        now = [anchors.host_s(begin_boot, begin_ms), anchors.host_s(end_boot, end_ms),
               earlier.get(after), later.get(until)]
        if now != known:
            store.db.execute(
                "UPDATE outing SET begin_s = ?, end_s = ?, after_s = ?, until_s = ? "
                "WHERE id = ?", (*now, id))


def _nearest(order: list[int], trusted: dict[int, float]) -> dict[int | None, float | None]:
    """For each contact its time, or that of the nearest one before it in `order` whose clock
    is believed."""
    found: dict[int | None, float | None] = {}
    last: float | None = None
    for id in order:
        last = trusted.get(id, last)
        found[id] = last
    return found
