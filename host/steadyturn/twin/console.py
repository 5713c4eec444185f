"""The serial port that clients open: a pseudo-terminal that stays, whatever the board does.

The board's own terminal is a fresh one at each start; this one lives as long as the
virtual board. No descriptor of its far side is kept, so that the near side tells whether
a client is there.
"""

from __future__ import annotations

import fcntl
import os
import pty
import select
import struct
import termios
import tty

CTRL_C = 3
INPUT_ROOM = 256  # of the board's input ring


def unread(name: str) -> int:
    """Bytes that wait at the far side of the terminal `name`, not yet read there."""
    try:
        fd = os.open(name, os.O_RDONLY | os.O_NOCTTY | os.O_NONBLOCK)
    except OSError:
        return 0
    try:
        return int(struct.unpack("i", fcntl.ioctl(fd, termios.FIONREAD, b"\0\0\0\0"))[0])
    except OSError:
        return 0
    finally:
        os.close(fd)


class Port:
    """name: what a client opens."""

    def __init__(self) -> None:
        self.fd, far = pty.openpty()
        try:
            tty.setraw(far)
            self.name = os.ttyname(far)
        finally:
            os.close(far)
        os.set_blocking(self.fd, False)
        self._poll = select.poll()
        self._poll.register(self.fd, select.POLLHUP)

    def is_open(self) -> bool:
        """Has a client the port open?"""
        if self.fd < 0:
            return False
        return not any(event & select.POLLHUP for _, event in self._poll.poll(0))

    def read(self) -> bytes:
        try:
            return os.read(self.fd, 4096)
        except OSError:
            return b""

    def write(self, data: bytes) -> int:
        """Bytes taken."""
        try:
            return os.write(self.fd, data)
        except OSError:
            return 0

    def unread(self) -> int:
        return unread(self.name)

    def close(self) -> None:
        fd, self.fd = self.fd, -1  # the number may be somebody else's soon
        if fd >= 0:
            os.close(fd)


class Prompt:
    """Which prompt the console shows, from what it prints: raw or friendly."""

    RAW = b"raw REPL; CTRL-B to exit\r\n>"
    FRIENDLY = b"\r\n>>> "

    def __init__(self) -> None:
        self.raw = False
        self._tail = b""

    def saw(self, data: bytes) -> None:
        text = self._tail + data
        raw, friendly = text.rfind(self.RAW), text.rfind(self.FRIENDLY)
        if raw != friendly:
            self.raw = raw > friendly
        self._tail = text[-(len(self.RAW) - 1) :]
