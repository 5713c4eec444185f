"""One journal page as bytes: whether it can be used, and what its head says. Imports no numpy:
what only copies pages has no need of it."""

from __future__ import annotations

import zlib
from dataclasses import dataclass
from typing import Any

from steadyturn_fw import pages as layout

MAGIC = bytes((layout.MAGIC_0, layout.MAGIC_1))
SIZE = layout.PAGE_BYTES
# CRC-32/ISO-HDLC of anything followed by its own CRC, low byte first. Source: that CRC's
# residue in the RevEng catalogue, 0xDEBB20E3, inverted as its other results are.
RESIDUE = 0x2144DF1C
WIDER = layout.FLAG_BURST | layout.FLAG_SUMMARY
REASONS = ("", "version", "contents")
KEEP_PLACE = frozenset(REASONS[1:])  # the next page follows them


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


def totals_of(page: bytes) -> tuple[int, int]:
    """Totals at the end of one page: turns in thousandths, energy in in uJ."""
    return (int.from_bytes(page[layout.AT_TURNS : layout.AT_TURNS + 5], "little"),
            int.from_bytes(page[layout.AT_ENERGY_IN : layout.AT_ENERGY_IN + 6], "little"))


# The same rules for one page's numbers and for columns of many.


def impossible(version: Any, samples: Any, events: Any, flags: Any) -> Any:
    """Contents that no board writes."""
    wider = flags & WIDER
    return (
        (samples > layout.SAMPLES) | (events > layout.EVENTS)
        | (wider > 0) & (version == layout.VERSION) | (wider == WIDER)
        | (wider == layout.FLAG_SUMMARY) & (samples > 0)
    )


def impossible_summary(seq: Any, boot: Any, first: Any, pages: Any, first_boot: Any) -> Any:
    """It would stand for pages that are not before it."""
    return (first_boot > boot) | (pages < 1) | (pages > seq - first + 1)


HEAD = ((layout.AT_VERSION, 1), (layout.AT_N_SAMPLES, 1), (layout.AT_N_EVENTS, 1),
         (layout.AT_FLAGS, 1))
SPAN = ((layout.AT_SEQ, 4), (layout.AT_BOOT, 3), (layout.AT_FIRST, 4),
         (layout.AT_STANDS_FOR, 4), (layout.AT_FIRST_BOOT, 3))


def fault(raw: bytes, at: int = 0) -> str:
    """Why no usable page stands at byte `at`; empty if one does."""
    reason = broken(raw, at)
    if reason:
        return reason

    def here(fields: tuple[tuple[int, int], ...]) -> list[int]:
        return [int.from_bytes(raw[at + i : at + i + size], "little") for i, size in fields]

    head = here(HEAD)
    if head[0] not in layout.VERSIONS:
        return "version"
    odd = impossible(*head)
    if head[3] & layout.FLAG_SUMMARY:
        odd |= impossible_summary(*here(SPAN))
    return "contents" if odd else ""


def broken(raw: bytes, at: int) -> str:
    """Why no whole page stands there."""
    if raw[at : at + 2] != MAGIC:
        return "stray"
    if at + SIZE > len(raw):
        return "length"
    return "" if zlib.crc32(raw[at : at + SIZE]) == RESIDUE else "crc"
