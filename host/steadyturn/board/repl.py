"""Files on a board through its raw REPL: the one file that knows mpremote's transport.

mpremote's transport is no public API, so its version is pinned and nothing else
imports it. Its own time-outs do not work on pseudo-terminals and have none for a
board that never stops sending; here its serial port is wrapped so that every
operation ends by its own deadline.
"""

from __future__ import annotations

import binascii
import contextlib
import io
import re
import struct
import time
from collections.abc import Iterator
from typing import Any

from steadyturn.board.files import Missing
from steadyturn.board.stream import SerialStream, Stuck, gone
from steadyturn.board.text import last_line, printable
from steadyturn.errors import Failed

CHUNK_BYTES = 768  # per exchange; its base64 text and a copy fit a small board's memory
ENTER_S = 12.0  # the program may still be saving a page when it is stopped
SILENT_S = 3.0  # a second try where nothing came in the first
PROMPT_S = 1.5  # until its prompt; none comes from a board that is in the raw REPL already
STEP_S = 6.0  # one exchange; a write may meet several erases of 0.4 s
READ_MOST = 1 << 20  # no file of ours is near this; a board that sends more is broken
LONG_WAIT = 1.0  # one read of the transport, at most

_WALK = """
import os,hashlib,binascii
def w(d):
 for e in os.ilistdir(d):
  p=d.rstrip('/')+'/'+e[0]
  if e[1]&0x4000:w(p)
  else:
   h=hashlib.sha256();b=bytearray(512);m=memoryview(b)
   with open(p,'rb') as f:
    while 1:
     n=f.readinto(b)
     if not n:break
     h.update(m[:n])
   print(binascii.hexlify(h.digest()).decode(),binascii.hexlify(p.encode()).decode())
try:os.stat(%r)
except OSError:pass
else:w(%r)
"""
_READ = """
import binascii
with open(%r,'rb') as f:
 while 1:
  b=f.read(%d)
  if not b:break
  print(binascii.b2a_base64(b).decode(),end='')
"""
# the low byte: the version; the others tell of native code, of which there is none here
_MPY = "import sys\nprint(getattr(sys.implementation,'_mpy',0)&255)"
_MKDIR = """
import os
p=''
for n in %r:
 p+='/'+n
 try:os.mkdir(p)
 except OSError as e:
  if e.args[0]!=17:raise
"""


class ReplFiles:
    """`board.files.Files` on a serial port. Opening it stops the board's program."""

    def __init__(self, port: str) -> None:
        self.port = port
        self._transport = _open(port)
        self._timed = _Timed(self._transport.serial)
        self._transport.serial = self._timed
        try:
            self._enter()
        except BaseException:
            self.close()
            raise

    # ---- Files

    def hashes(self, folder: str) -> dict[str, str]:
        folder = folder.rstrip("/") or "/"
        found = {}
        for line in self._run(_WALK % (folder, folder), folder, 60).splitlines():
            match = re.fullmatch(rb"([0-9a-f]{64}) ((?:[0-9a-f]{2})+)\s*", line)
            if not match:
                raise self._nonsense(folder, line)
            path = bytes.fromhex(match[2].decode()).decode("utf-8", "replace")
            found[path] = match[1].decode()
        return found

    def read(self, path: str) -> bytes:
        text = self._run(_READ % (path, CHUNK_BYTES), path, 60)
        try:
            return b"".join(binascii.a2b_base64(line) for line in text.splitlines())
        except binascii.Error:
            raise self._nonsense(path, text) from None

    def write(self, path: str, data: bytes) -> None:
        self._run(f"import binascii\na=binascii.a2b_base64\nf=open({path!r},'wb')", path)
        for at in range(0, len(data), CHUNK_BYTES):
            text = binascii.b2a_base64(data[at : at + CHUNK_BYTES], newline=False)
            self._run(f"n=f.write(a({text!r}))", path)
        self._run("f.close()", path)

    def rename(self, old: str, new: str) -> None:
        self._run(f"import os\nos.rename({old!r},{new!r})", new)

    def remove(self, path: str) -> None:
        self._run(f"import os\nos.remove({path!r})", path)

    def mkdir(self, path: str) -> None:
        self._run(_MKDIR % ([name for name in path.split("/") if name],), path)

    def mpy_version(self) -> int:
        text = self._run(_MPY, "sys.implementation")
        try:
            return int(text)
        except ValueError:
            raise self._nonsense("sys.implementation", text) from None

    def restart(self) -> None:
        """A soft reset from the prompt: main.py runs, and USB stays up. Ctrl-C first: an
        operation may have been broken off half-way."""
        with self._deadline(STEP_S):
            self._timed.write(b"\r\x03")
            self._transport.exit_raw_repl()
            self._transport.read_until(1, b">>> ", timeout_overall=PROMPT_S)
            self._timed.write(b"\x04")
            seen = self._transport.read_until(1, b"soft reboot\r\n", timeout=5, timeout_overall=10)
        if not seen.endswith(b"soft reboot\r\n"):
            raise Stuck(f"{self.port}: the board did not start again.", "Press its reset button.")
        self.close()

    def close(self) -> None:
        self._transport.serial = self._timed.serial
        with contextlib.suppress(OSError, TypeError):
            self._transport.close()

    # ---- the raw REPL

    def _enter(self) -> None:
        """Ctrl-C, then a soft reset that leaves main.py out. The program's end is waited
        for, since what is sent before it the program itself may read. Once more if it
        fails: a program may swallow the first Ctrl-C."""
        for last in (False, True):
            try:
                # nothing at all came at first: what saves its page would have been done by now
                short = last and not self._timed.came
                with self._deadline(SILENT_S if short else ENTER_S):
                    self._timed.write(b"\r\x03")
                    self._transport.read_until(1, b">>> ", timeout_overall=PROMPT_S)
                    self._transport.enter_raw_repl(soft_reset=True, timeout_overall=ENTER_S / 3)
                return
            except Stuck:
                if last:
                    raise Stuck(
                        f"{self.port}: the board's prompt cannot be reached.",
                        "Is MicroPython on it? Press its reset button and try again; a Pico that "
                        "shows up as a drive has no MicroPython yet (micropython.org/download).",
                    ) from None

    def _run(self, code: str, path: str, seconds: float = STEP_S) -> bytes:
        """What `code` prints on the board; an error there becomes Failed with the path."""
        out = bytearray()

        def collect(byte: bytes) -> None:
            if byte != b"\x04":
                out.extend(byte)
            if len(out) > READ_MOST:
                raise _Late

        with self._deadline(STEP_S):
            self._transport.exec_raw_no_follow(code)
        with self._deadline(seconds):
            _, error = self._transport.follow(seconds, data_consumer=collect)
        if error.strip():
            raise _device_error(path, last_line(error))
        return bytes(out)

    @contextlib.contextmanager
    def _deadline(self, seconds: float) -> Iterator[None]:
        from mpremote.transport import TransportError

        self._timed.deadline = time.monotonic() + seconds
        try:
            # on failure the transport prints what it got, unescaped
            with contextlib.redirect_stdout(io.StringIO()):
                yield
        except (_Late, TransportError, struct.error, IndexError):
            raise Stuck(
                f"{self.port}: the board's prompt does not answer as MicroPython does.",
                "Press its reset button, or unplug it and plug it in again.",
            ) from None
        except (OSError, TypeError):
            raise gone(self.port) from None

    def _nonsense(self, path: str, text: bytes) -> Failed:
        return Failed(
            f"{self.port}: about {printable(path)} the board says '{printable(text)}'.",
            "Something else prints on its console (a boot.py?), or the cable is bad.",
        )


class _Late(Exception):
    """The deadline of an operation has passed."""


class _Timed:
    """A serial port whose every call ends, and that reads ahead: the transport asks for
    one byte at a time."""

    def __init__(self, serial: Any) -> None:
        self.serial = serial
        self.deadline = 0.0
        self._held = b""
        self.came = 0  # bytes

    def read(self, size: int = 1) -> bytes:
        end = min(self.deadline, time.monotonic() + LONG_WAIT)
        while len(self._held) < size:
            left = end - time.monotonic()
            if left <= 0:
                break
            self.serial.timeout = left
            first = self.serial.read(1)
            more = first + self.serial.read(self.serial.in_waiting) if first else b""
            self._held += more
            self.came += len(more)
        self._check()
        out, self._held = self._held[:size], self._held[size:]
        return out

    def inWaiting(self) -> int:
        self._check()
        return len(self._held) + int(self.serial.in_waiting)

    def write(self, data: bytes) -> int:
        from serial import SerialTimeoutException

        self._check()
        try:
            return int(self.serial.write(data) or 0)
        except SerialTimeoutException:
            raise _Late from None

    def _check(self) -> None:
        if time.monotonic() > self.deadline:
            raise _Late


def _open(port: str) -> Any:
    """mpremote's transport, or why the port cannot be opened."""
    from mpremote.transport import TransportError
    from mpremote.transport_serial import SerialTransport

    try:
        transport = SerialTransport(port, timeout=LONG_WAIT)
    except (TransportError, OSError, ValueError):
        SerialStream(port).close()  # says why, in our words; if it opens now, so be it
        try:
            transport = SerialTransport(port, timeout=LONG_WAIT)
        except (TransportError, OSError, ValueError):
            raise gone(port) from None
    transport.is_pty = True  # have it wait in read(), which ends, and not poll every 10 ms
    transport.serial.write_timeout = 5
    return transport


def _device_error(path: str, line: str) -> Failed:
    name = printable(path, 80)
    if "ENOENT" in line or re.search(r"OSError: 2\b", line):
        return Missing(f"{name}: not on the board.")
    if "ENOSPC" in line or re.search(r"OSError: 28\b", line):
        return Failed(
            f"{name}: the board's flash is full.",
            "Pull the journal, then remove files that are not steadyturn's: "
            "'mpremote fs ls' lists them.",
        )
    if "MemoryError" in line:
        return Failed(f"{name}: the board ran out of memory.", "Reset the board and try again.")
    return Failed(f"{name}: the board reports '{line}'.", "Reset the board and try again.")


