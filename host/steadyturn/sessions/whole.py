"""Whole pages in any bytes, and the damage between them.

A page is whole where its two magic bytes stand and its CRC holds. Pages that follow one another
are checked many at a time; after damage the search goes on at each next magic.
"""

from __future__ import annotations

import zlib
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from steadyturn_fw import pages as layout

MAGIC = bytes((layout.MAGIC_0, layout.MAGIC_1))
SIZE = layout.PAGE_BYTES
# CRC-32/ISO-HDLC of anything followed by its own CRC, low byte first. Source: that CRC's
# residue in the RevEng catalogue, 0xDEBB20E3, inverted as its other results are.
RESIDUE = 0x2144DF1C
MOST = 4096  # pages checked at once: their bytes are held as so many objects
FEWEST = 4  # after damage: more of it may be near
WIDER = layout.FLAG_BURST | layout.FLAG_SUMMARY


@dataclass(frozen=True, slots=True)
class Damage:
    """Bytes that could not be used.

    position, length: where, in bytes; pages: how many pages that is, rounded up.
    reason: "crc" (changed bytes), "length" (a page cut short at the end), "version" (whole,
    but of a layout this program does not know), "contents" (whole, but what it says of itself
    is impossible), "stray" (no page begins there).
    """

    position: int
    length: int
    reason: str

    @property
    def pages(self) -> int:
        return -(-self.length // SIZE)


def seq_of(page: bytes) -> int:
    """The sequence number of one page."""
    return int.from_bytes(page[layout.AT_SEQ : layout.AT_SEQ + 4], "little")


def first_of(page: bytes) -> int:
    """The number of the first page that this one stands for: its own, but for a summary."""
    if not page[layout.AT_FLAGS] & layout.FLAG_SUMMARY:
        return seq_of(page)
    return int.from_bytes(page[layout.AT_FIRST : layout.AT_FIRST + 4], "little")


def boot_of(page: bytes) -> int:
    """The boot number of one page."""
    return int.from_bytes(page[layout.AT_BOOT : layout.AT_BOOT + 3], "little")


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


# The same rules for one page's numbers and for columns of many.


def _impossible(version: Any, samples: Any, events: Any, flags: Any) -> Any:
    """Contents that no board writes."""
    wider = flags & WIDER
    return (
        (samples > layout.SAMPLES) | (events > layout.EVENTS)
        | (wider > 0) & (version == layout.VERSION) | (wider == WIDER)
        | (wider == layout.FLAG_SUMMARY) & (samples > 0)
    )


def _impossible_summary(seq: Any, boot: Any, first: Any, pages: Any, first_boot: Any) -> Any:
    """It would stand for pages that are not before it."""
    return (first_boot > boot) | (pages < 1) | (pages > seq - first + 1)


_HEAD = ((layout.AT_VERSION, 1), (layout.AT_N_SAMPLES, 1), (layout.AT_N_EVENTS, 1),
         (layout.AT_FLAGS, 1))
_SPAN = ((layout.AT_SEQ, 4), (layout.AT_BOOT, 3), (layout.AT_FIRST, 4),
         (layout.AT_STANDS_FOR, 4), (layout.AT_FIRST_BOOT, 3))
_KNOWN = np.isin(np.arange(256), layout.VERSIONS)


def faults(block: NDArray[Any]) -> NDArray[Any]:
    """Of whole pages, one a row of bytes: which of REASONS keeps them from being used."""
    head = [block[:, at] for at, _ in _HEAD]
    odd = _impossible(*head)
    many = np.flatnonzero(head[3] & WIDER == layout.FLAG_SUMMARY)
    if len(many):
        rows = block[many]
        odd[many] |= _impossible_summary(*(number(rows, at, size) for at, size in _SPAN))
    return np.where(_KNOWN[head[0]], 2 * odd, 1)


REASONS = ("", "version", "contents")
KEEP_PLACE = frozenset(REASONS[1:])  # the next page follows them


def fault(raw: bytes, at: int = 0) -> str:
    """Why no usable page stands at byte `at`; empty if one does."""
    reason = _broken(raw, at)
    if reason:
        return reason

    def here(fields: tuple[tuple[int, int], ...]) -> list[int]:
        return [int.from_bytes(raw[at + i : at + i + size], "little") for i, size in fields]

    head = here(_HEAD)
    if head[0] not in layout.VERSIONS:
        return "version"
    odd = _impossible(*head)
    if head[3] & layout.FLAG_SUMMARY:
        odd |= _impossible_summary(*here(_SPAN))
    return "contents" if odd else ""


def _broken(raw: bytes, at: int) -> str:
    """Why no whole page stands there."""
    if raw[at : at + 2] != MAGIC:
        return "stray"
    if at + SIZE > len(raw):
        return "length"
    return "" if zlib.crc32(raw[at : at + SIZE]) == RESIDUE else "crc"


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
        reason, begin = _broken(raw, at), at
        # from within the page before: if its last byte was lost, and was the next one's first,
        # both are whole and share it
        at = raw.find(MAGIC, max(at - SIZE, 0) + 1)
        while at >= 0 and _broken(raw, at):
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
