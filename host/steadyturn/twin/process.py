"""The child process in which the firmware runs, and the two pipes to it.

`UnixChild` runs MicroPython on a terminal of its own; `PlainChild` runs CPython, whose
console travels over the pipes. Both end with this process: the pipes close, and the
terminal goes. Messages are those of `stand_ins._ops`.
"""

from __future__ import annotations

import contextlib
import os
import select
import signal
import struct
import subprocess
import sys
from collections.abc import Mapping
from pathlib import Path

from steadyturn.errors import Failed
from steadyturn.twin.interpreter import Interpreter
from steadyturn.twin.stand_ins import _ops

STAND_INS = Path(__file__).with_name("stand_ins")
ASK = struct.Struct(f"={_ops.ASK_WORDS}q")
ANSWER = struct.Struct(f"={_ops.ANSWER_WORDS}q")
HEAP = "512k"
_SIGINT_CAUGHT = 1 << (signal.SIGINT - 1)

Question = tuple[tuple[int, ...], bytes]


class Child:
    """What both kinds share. `environment`: TWIN_... variables for the stand-ins."""

    console: int | None = None  # the terminal's master side

    def __init__(self) -> None:
        self._held = b""
        self.process: subprocess.Popen[bytes]
        self.from_child: int
        self.to_child: int
        self._poll = select.poll() if hasattr(select, "poll") else None

    def ready(self, timeout_ms: int) -> bool:
        """Is a question (or the end) there? Waits at most timeout_ms."""
        if len(self._held) >= ASK.size:
            return True
        if self._poll is None:
            return True  # a system without poll: ask() waits
        return bool(self._poll.poll(timeout_ms))

    def ask(self) -> Question | None:
        """The next question and the bytes behind it; None: the child has ended."""
        while True:
            if len(self._held) >= ASK.size:
                words = ASK.unpack_from(self._held)
                size = ASK.size
                if words[_ops.A_OP] in _ops.WITH_DATA:
                    size += words[_ops.A_2]
                if len(self._held) >= size:
                    data = self._held[ASK.size : size]
                    self._held = self._held[size:]
                    return words, data
            try:
                got = os.read(self.from_child, 65536)
            except OSError:
                return None
            if not got:
                return None
            if len(got) == ASK.size and not self._held:  # nearly always
                words = ASK.unpack(got)
                if words[_ops.A_OP] not in _ops.WITH_DATA:
                    return words, b""
            self._held += got

    def answer(self, words: tuple[int, ...], data: bytes = b"") -> None:
        with contextlib.suppress(OSError):  # it has just ended: the next ask() tells
            os.write(self.to_child, ANSWER.pack(*words) + data)

    def kill(self) -> None:
        self.process.kill()
        self.close()

    def close(self) -> None:
        """Wait for the end and give back what it held. At most once."""
        fds = self.from_child, self.to_child
        self.from_child = self.to_child = -1
        for fd in fds:
            if fd >= 0:
                os.close(fd)
        try:
            self.process.wait(timeout=5)
        except subprocess.TimeoutExpired:
            self.process.kill()
            self.process.wait()

    def catches_interrupt(self) -> bool | None:
        """Would Ctrl-C reach the program as an exception? None: cannot be told here."""
        return None

    def interrupt(self) -> None:
        with contextlib.suppress(OSError):
            self.process.send_signal(signal.SIGINT)


class UnixChild(Child):
    """MicroPython's Unix port on a fresh pseudo-terminal."""

    def __init__(
        self, interpreter: Interpreter, environment: Mapping[str, str], script: Path | None = None
    ) -> None:
        import pty
        import tty

        super().__init__()
        self.console, terminal = pty.openpty()
        self.console_name = os.ttyname(terminal)
        tty.setraw(terminal)
        their_in, self.to_child = os.pipe()
        self.from_child, their_out = os.pipe()
        arguments = ["-X", f"heapsize={HEAP}", "-i", str(script or STAND_INS / "_start.py")]
        try:
            self.process = subprocess.Popen(
                [sys.executable, "-I", "-S", str(Path(__file__).with_name("launch.py")),
                 interpreter.where, *arguments],
                stdin=terminal, stdout=terminal, stderr=terminal,
                pass_fds=[their_in, their_out], start_new_session=True, close_fds=True,
                env={
                    "PATH": os.environ.get("PATH", os.defpath),
                    "MICROPYPATH": f"{STAND_INS}:.frozen",
                    "TWIN_FROM": str(their_in), "TWIN_TO": str(their_out), **environment,
                },
            )
        except OSError as error:
            os.close(self.console)
            os.close(self.to_child)
            os.close(self.from_child)
            raise Failed(f"{interpreter.where} cannot be started: {error.strerror}.") from None
        finally:
            os.close(terminal)
            os.close(their_in)
            os.close(their_out)
        os.set_blocking(self.console, False)
        if self._poll is not None:
            self._poll.register(self.from_child, select.POLLIN)

    def read_console(self) -> bytes:
        """What it has printed; b"" for nothing."""
        if self.console is None:
            return b""
        try:
            return os.read(self.console, 65536)
        except OSError:  # nothing there, or the child has ended
            return b""

    def write_console(self, data: bytes) -> None:
        if self.console is not None:
            with contextlib.suppress(OSError):
                os.write(self.console, data)

    def close(self) -> None:
        console, self.console = self.console, None
        if console is not None:
            os.close(console)
        super().close()

    def catches_interrupt(self) -> bool | None:
        try:
            with open(f"/proc/{self.process.pid}/status") as status:
                for line in status:
                    if line.startswith("SigCgt:"):
                        return bool(int(line.split()[1], 16) & _SIGINT_CAUGHT)
        except (OSError, ValueError):
            pass
        return None
