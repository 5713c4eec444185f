"""The link's frames: found in a stream of bytes, and made."""

from __future__ import annotations

import struct
import zlib

from steadyturn_fw import frames

START = bytes((frames.START_0, frames.START_1))


class Frames:
    """Finds frames in a stream of bytes; noise before, between and inside is skipped."""

    def __init__(self) -> None:
        self._held = b""

    def feed(self, data: bytes) -> list[tuple[int, bytes]]:
        """(kind, payload) of every whole frame up to now, in order.

        A start that only looks like one may claim bytes that never come, so later
        starts are tried too and a whole frame wins over an unfinished one.
        """
        held = self._held + data
        found = []
        unfinished: int | None = None
        at = held.find(START)
        while at >= 0:
            end = self._end(held, at)
            after = at + 1
            if end > len(held):
                unfinished = at if unfinished is None else unfinished
            elif end >= 0:
                body = held[at + 2 : end - frames.CRC_BYTES]
                if held[end - frames.CRC_BYTES : end] == struct.pack("<I", zlib.crc32(body)):
                    found.append((body[0], body[2:]))
                    unfinished = None
                    after = end
            at = held.find(START, after)
        if unfinished is None:  # the last byte may be half a start
            unfinished = len(held) - held.endswith(START[:1])
        self._held = held[unfinished:]
        return found

    @staticmethod
    def _end(held: bytes, at: int) -> int:
        """Where the frame that starts at `at` ends: -1 not a frame, past the end when it
        may still be under way."""
        if len(held) < at + frames.HEAD_BYTES:
            return len(held) + 1
        length = held[at + 3]
        if length > frames.PAYLOAD_MAX:
            return -1
        return at + frames.HEAD_BYTES + length + frames.CRC_BYTES


def frame(kind: int, payload: bytes) -> bytes:
    """One frame as the board writes it; for tests and for boards that are not real."""
    body = bytes((kind, len(payload))) + payload
    return START + body + struct.pack("<I", zlib.crc32(body))
