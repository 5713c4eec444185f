"""The console's way to the host: a USB serial buffer as on a Pico.

The board has 256 bytes. While a program has the port open they wait there until it
reads; a write that finds no room holds the board, 500 ms for each 64 bytes, which are
then thrown away. While the port is closed everything is thrown away. Source: TinyUSB's
CDC glue in MicroPython (shared/tinyusb/mp_usbd_cdc.c), read; not measured on a board.
"""

from __future__ import annotations

ROOM = 256
CHUNK = 64
BLOCK_US = 500_000


class UsbBuffer:
    """Bytes on their way from the board. Times are virtual, us."""

    def __init__(self) -> None:
        self._bytes = bytearray()
        self._stuck_since: int | None = None
        self.lost = 0

    def __len__(self) -> int:
        return len(self._bytes)

    def put(self, data: bytes, is_open: bool) -> None:
        if is_open:
            self._bytes += data
        else:
            self.clear()

    def clear(self) -> None:
        self._bytes.clear()
        self._stuck_since = None

    def take(self, most: int) -> bytes:
        """Bytes for the host, at most `most`."""
        out = bytes(self._bytes[:most]) if most > 0 else b""
        if out:
            del self._bytes[: len(out)]
            self._stuck_since = None
        return out

    def holds(self, t_us: int, unread: int) -> bool:
        """Is the board held in its write? `unread`: bytes the host has not read yet, which
        stand for the front of the board's buffer."""
        room = max(0, ROOM - unread)
        if len(self._bytes) <= room:
            self._stuck_since = None
            return False
        if self._stuck_since is None:
            self._stuck_since = t_us
        while t_us - self._stuck_since >= BLOCK_US and len(self._bytes) > room:
            over = min(CHUNK, len(self._bytes) - room)
            del self._bytes[room : room + over]
            self.lost += over
            self._stuck_since += BLOCK_US
        return len(self._bytes) > room
