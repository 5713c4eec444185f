"""The console's way to the host: full-speed USB, and a serial buffer as on a Pico.

The board has 256 bytes. While a program has the port open they leave in packets of at most 64,
19 of them in a frame of 1 ms, and the host's program has each packet when it has passed. What
the host sends takes a packet's time, which is nothing here. A write that finds no room holds
the board, 500 ms for each 64 bytes, which are then thrown away. While the port is closed
everything is thrown away.

Sources: TinyUSB's CDC glue in MicroPython (shared/tinyusb/mp_usbd_cdc.c), read. Frames, packets,
and 19 bulk packets in a frame that nobody else uses: USB 2.0, 5.8, from memory. Not measured on
a board; host controllers that report at the frame's end only add up to a millisecond each way.
"""

from __future__ import annotations

ROOM = 256
CHUNK = 64
BLOCK_US = 500_000
FRAME_US = 1000
FRAME_PACKETS = 19


class UsbBuffer:
    """Bytes on their way from the board. Times are virtual, us."""

    def __init__(self) -> None:
        self._bytes = bytearray()
        self._since_us = 0  # what stands in the buffer has been under way from then on
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
        """Bytes for a host without frames between, at most `most`."""
        out = bytes(self._bytes[:most]) if most > 0 else b""
        if out:
            del self._bytes[: len(out)]
            self._stuck_since = None
        return out

    def carry(self, t_us: int, unread: int) -> bytes:
        """What has reached the host since the last call; nothing more does while its program
        has 256 bytes unread."""
        packets = (t_us - self._since_us) * FRAME_PACKETS // FRAME_US
        if not self._bytes or packets <= 0:
            self._since_us = self._since_us if self._bytes else t_us
            return b""
        self._since_us -= -packets * FRAME_US // FRAME_PACKETS
        return self.take(min(ROOM - unread, packets * CHUNK))

    def due_us(self) -> int:
        """When what waits, at most a full buffer, will have reached the host."""
        packets = -(-min(len(self._bytes), ROOM) // CHUNK)
        return self._since_us - (-packets * FRAME_US // FRAME_PACKETS)

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
