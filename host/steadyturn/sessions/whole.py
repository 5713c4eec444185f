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
    SIZE,
    SPAN,
    WIDER,
    Damage,
    broken,
    impossible,
    impossible_summary,
)

MOST = 4096  # pages looked at together
FEWEST = 4  # after damage: more of it may be near
# Pages under one CRC: it runs on over whole pages to a value that does not depend on what they
# say. Damage in a run passes it as rarely as damage in a page passes that page's own, once in
# 2**32, and up to three wrong bits never do: that holds to 91,606 bits (Koopman, 32-Bit Cyclic
# Redundancy Codes for Internet Applications, 2002, from memory).
RUN = 50


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


def _run_value() -> int:
    page = bytes(SIZE - 4)
    page += zlib.crc32(page).to_bytes(4, "little")
    return zlib.crc32(page * RUN)


_RUN_VALUE = _run_value()


def _whole(raw: bytes, at: int, count: int) -> int:
    """How many whole pages follow one another from there, of at most `count`."""
    if count <= 0:
        return 0
    magic = np.ndarray(count, "<u2", raw, at, SIZE) == int.from_bytes(MAGIC, "little")
    count = count if magic.all() else int(magic.argmin())
    view, good = memoryview(raw), 0
    while good + RUN <= count:
        begin = at + SIZE * good
        if zlib.crc32(view[begin : begin + SIZE * RUN]) != _RUN_VALUE:
            break
        good += RUN
    # one by one: a run that has damage, or the last pages
    while good < count and not broken(raw, at + SIZE * good):
        good += 1
    return good
