"""Whole pages in any bytes, and the damage between them.

A page is whole where its two magic bytes stand and its CRC holds. Pages that follow one another
are checked many at a time; after damage the search goes on at each next magic.
"""

from __future__ import annotations

import zlib
from typing import Any

import numpy as np
from numpy.typing import NDArray
from steadyturn_fw import pages as layout

from steadyturn.sessions.one_page import (
    HEAD,
    MAGIC,
    REASONS,
    RESIDUE,
    SIZE,
    SPAN,
    WIDER,
    Damage,
    broken,
    impossible,
    impossible_summary,
)

MOST = 4096  # pages checked at once: their bytes are held as so many objects
FEWEST = 4  # after damage: more of it may be near


def number(block: NDArray[Any], at: int, size: int) -> NDArray[Any]:
    """The little-endian number of `size` bytes at byte `at` of each row, as int64."""
    if size in {1, 2, 4}:
        return block[:, at : at + size].view(f"<u{size}")[:, 0].astype("i8")
    if at + 8 <= block.shape[1]:  # the bytes above it come along and are cut off
        wide: NDArray[Any] = block[:, at : at + 8].view("<i8")[:, 0]
        return wide & ((1 << 8 * size) - 1)
    rows = np.zeros((len(block), 8), "u1")
    rows[:, :size] = block[:, at : at + size]
    return rows.view("<i8")[:, 0]


_KNOWN = np.isin(np.arange(256), layout.VERSIONS)


def faults(block: NDArray[Any]) -> NDArray[Any]:
    """Of whole pages, one a row of bytes: which of REASONS keeps them from being used."""
    head = [block[:, at] for at, _ in HEAD]
    odd = impossible(*head)
    many = np.flatnonzero(head[3] & WIDER == layout.FLAG_SUMMARY)
    if len(many):
        rows = block[many]
        odd[many] |= impossible_summary(*(number(rows, at, size) for at, size in SPAN))
    return np.where(_KNOWN[head[0]], 2 * odd, 1)


def find(raw: bytes, start: int = 0) -> tuple[NDArray[np.int64], list[Damage]]:
    """Positions of the usable pages in a stream of bytes, and the damage between them.

    A lost or added byte costs the page it stands in and no other, wherever the next begins. A
    whole page of an unknown version, or with impossible contents, keeps its place. start: the
    bytes before it end a page that is known already.
    """
    starts: list[NDArray[np.int64]] = [np.zeros(0, "i8")]
    damage: list[Damage] = []
    at, end, count = start, len(raw), FEWEST
    while at < end:
        good = _whole(raw, at, min(count, (end - at) // SIZE))
        if good:
            here = at + SIZE * np.arange(good)
            block = np.frombuffer(raw, "u1", SIZE * good, at).reshape(good, SIZE)
            why = faults(block)
            starts.append(here[why == 0])
            damage += [Damage(int(here[i]), SIZE, REASONS[why[i]]) for i in np.flatnonzero(why)]
            at += SIZE * good
            count = min(MOST, 2 * count) if good == count else count
            continue
        reason, begin = broken(raw, at), at
        # from within the page before: if its last byte was lost, and was the next one's first,
        # both are whole and share it
        at = raw.find(MAGIC, max(at - SIZE + 1, 0 if at else 1))
        while at >= 0 and broken(raw, at):
            at = raw.find(MAGIC, at + 1)
        at = end if at < 0 else at
        if at > begin:
            damage.append(Damage(begin, at - begin, reason))
        count = FEWEST
    return np.concatenate(starts), damage


def _whole(raw: bytes, at: int, count: int) -> int:
    """How many whole pages follow one another from there, of at most `count`."""
    if count <= 0:
        return 0
    pages = np.frombuffer(raw, f"V{SIZE}", count, at)
    good = np.fromiter(map(zlib.crc32, pages.tolist()), "u4", count) == RESIDUE
    good &= np.ndarray(count, "<u2", raw, at, SIZE) == int.from_bytes(MAGIC, "little")
    return count if good.all() else int(good.argmin())
