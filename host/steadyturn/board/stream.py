"""A board's serial port as a stream of bytes, with errors a person can act on.

`Stream` is all that the link needs, so a virtual board without a serial port can
offer one too.
"""

from __future__ import annotations

import contextlib
import errno
import os
import select
import sys
import time
from collections.abc import Sequence
from typing import Any, Protocol

from steadyturn.board.holders import Holder, holders
from steadyturn.board.permission import remedy
from steadyturn.board.text import printable
from steadyturn.errors import Failed

BAUD = 115_200  # ignored by boards with their own USB; others expect this rate
LET_GO_S = 0.6  # a program that is just ending, or starting a child, holds it a moment longer
WRITE_S = 2.0  # a board that drains nothing for so long is stuck


class Stream(Protocol):
    def read(self, max_bytes: int, timeout_s: float) -> bytes:
        """What has come, at most max_bytes; waits at most timeout_s for the first
        byte; b"" when none came. Raises Gone when the board is no longer there."""
        ...

    def write(self, data: bytes) -> None: ...

    def close(self) -> None: ...


class Gone(Failed):
    """The board was there and is no longer: unplugged, or without power."""


class Busy(Failed):
    """Another program has the port."""


class Denied(Failed):
    """This user may not open the port."""


class Stuck(Failed):
    """The board is there, but takes or gives nothing."""


def gone(port: str) -> Gone:
    return Gone(
        f"{port}: the board has gone (unplugged, or it lost its power).",
        "Plug it in again; what it acknowledged before is kept.",
    )


def open_serial(port: str) -> Any:
    """The port, opened for this program alone. Raises Failed (Busy when in use)."""
    import serial

    end = time.monotonic() + LET_GO_S
    while True:
        try:
            return serial.Serial(port, BAUD, timeout=0, write_timeout=WRITE_S, exclusive=True)
        except (OSError, ValueError, OverflowError) as error:  # SerialException is an OSError
            failed = _explained(port, error)
        if not isinstance(failed, Busy):
            raise failed
        if time.monotonic() > end:
            raise busy(port, holders(port))
        time.sleep(0.05)


def busy(port: str, by: Sequence[Holder]) -> Busy:
    """by: who has it, as far as the system tells."""
    name = printable(port, 80)
    if by:
        who = ", ".join(str(holder) for holder in by)
        return Busy(f"{name}: another program has this port: {who}.", "Close it and try again.")
    how = "Close the serial monitor, editor or second steadyturn that uses it, and try again."
    if sys.platform.startswith("linux"):  # ModemManager asks every new port whether it is a modem
        how += (" If none is open: the system's modem service looks at a new port for some "
                f"seconds, so wait ten and try again; 'sudo lsof {name}' names who has it.")
    return Busy(f"{name}: another program has this port.", how)


class SerialStream:
    """A Stream over one serial port, held exclusively until close()."""

    def __init__(self, port: str) -> None:
        self.port = port
        self._serial = open_serial(port)

    def read(self, max_bytes: int, timeout_s: float) -> bytes:
        try:
            if sys.platform == "win32":
                return self._read_windows(max_bytes, max(timeout_s, 0.0))
            # two calls to the system where pyserial makes six: a pull asks 400 times a second
            number = self._serial.fileno()
            if not select.select([number], [], [], max(timeout_s, 0.0))[0]:
                return b""
            with contextlib.suppress(BlockingIOError):
                data = os.read(number, max_bytes)
                if not data:
                    raise gone(self.port)
                return data
            return b""
        except (OSError, TypeError, ValueError):
            # SerialException is an OSError; the others: a descriptor that has just been closed
            raise gone(self.port) from None

    def _read_windows(self, max_bytes: int, timeout_s: float) -> bytes:
        self._serial.timeout = timeout_s
        first: bytes = self._serial.read(1)
        if not first or max_bytes == 1:
            return first
        waiting = min(self._serial.in_waiting, max_bytes - 1)
        return first + self._serial.read(waiting) if waiting > 0 else first

    def write(self, data: bytes) -> None:
        import serial

        try:
            self._serial.write(data)
        except serial.SerialTimeoutException:
            raise Stuck(
                f"{self.port}: the board takes no more bytes.",
                "Press its reset button, or unplug it and plug it in again.",
            ) from None
        except (OSError, TypeError):
            raise gone(self.port) from None

    def close(self) -> None:
        with contextlib.suppress(OSError):  # the port may have gone
            self._serial.close()


def _explained(port: str, error: BaseException) -> Failed:
    """What went wrong on opening, by error number; pyserial's texts differ by system."""
    number = getattr(error, "errno", None)
    text = str(error)
    name = printable(port, 80)
    missing = (errno.ENOENT, errno.ENODEV, errno.ENXIO, errno.EIO)
    windows = sys.platform == "win32"
    if number in missing or "FileNotFoundError" in text:
        return Failed(f"{name}: there is no such port now.{_foreign_name(port, windows)}",
                      "Plug the board in with a cable that carries data (many only charge), and "
                      "leave --port out to have it found; 'steadyturn ports' lists them.")
    if number in (errno.ENOTTY, errno.EISDIR) or "ENOTTY" in text or f"({errno.ENOTTY}, " in text:
        return Failed(f"{name}: this is no serial port.",
                      "'steadyturn ports' lists them; leave --port out to have it found.")
    if number in (errno.EACCES, errno.EPERM) and not windows:
        return Denied(f"{name}: you may not open this port.", remedy(port))
    busy_numbers = (errno.EBUSY, errno.EAGAIN, errno.EWOULDBLOCK)
    # Windows says "access is denied" where another program has the port
    if number in busy_numbers or "exclusively lock" in text or "PermissionError" in text:
        return busy(port, ())
    if number == errno.EACCES:
        return Denied(f"{name}: you may not open this port.", remedy(port))
    return Failed(
        f"{name}: the port cannot be opened ({printable(text, 120)}).",
        "Unplug the board, plug it in again, and leave --port out to have it found.",
    )


def _foreign_name(port: str, windows: bool) -> str:
    """Said of a name as another system has them."""
    if windows and port.startswith("/dev/"):
        return " On Windows ports are named COM3 or so (Device Manager, 'Ports')."
    if not windows and port[:3].upper() == "COM" and port[3:].isdigit():
        return " COM names are those of Windows; here they begin with /dev/."
    return ""
