"""What stands in the journal on a virtual board's flash image, by littlefs-python."""

from __future__ import annotations

import zlib
from collections.abc import Iterator
from pathlib import Path

import littlefs
from steadyturn.twin.flash import BLOCK, BLOCKS
from steadyturn_fw import pages


def mounted(image: bytes | bytearray) -> littlefs.LittleFS:
    system = littlefs.LittleFS(
        block_size=BLOCK, block_count=BLOCKS, read_size=32, prog_size=256, cache_size=1024,
        lookahead_size=32, mount=False,
    )
    system.context.buffer = bytearray(image)
    system.mount()
    return system


def stored(image: bytes | bytearray) -> dict[int, bytes]:
    """Sound pages on an image, by number."""
    system = mounted(image)
    found = {}
    if "journal" not in system.listdir("/"):
        return {}
    for folder, _, names in system.walk("/journal"):
        for name in names:
            if name == "id":
                continue
            with system.open(f"{folder}/{name}", "rb") as file:
                data = file.read()
            found |= dict(sound_pages(data))
    return found


def sound_pages(data: bytes) -> Iterator[tuple[int, bytes]]:
    """Number and bytes of each whole page in a file."""
    for at in range(0, len(data) - pages.PAGE_BYTES + 1, pages.PAGE_BYTES):
        page = data[at : at + pages.PAGE_BYTES]
        crc = int.from_bytes(page[pages.AT_CRC :], "little")
        if page[:2] == b"St" and zlib.crc32(page[: pages.AT_CRC]) == crc:
            yield pages.get(page, pages.AT_SEQ, 4), page


def events(path: Path) -> list[tuple[int, int]]:
    """(code, argument) of all events in order, those that a page repeats left out."""
    found = []
    for _, page in sorted(stored(path.read_bytes()).items()):
        for i in range(page[pages.AT_N_EVENTS]):
            at = pages.AT_EVENTS + i * pages.EVENT_BYTES
            if page[at + 2] < 0x80:  # its time is not below zero
                found.append((page[at], pages.get(page, at + 3, 2)))
    return found
