"""Where clients reach the virtual board's console: a serial port, or the process itself.

Both look the same to the engine: `client` tells whether somebody is there, `said`
takes what the board prints, `listen` waits for whatever comes next and hands input on.
"""

from __future__ import annotations

import select
import threading
import time
from typing import TYPE_CHECKING

from steadyturn.twin.usb import UsbBuffer

if TYPE_CHECKING:
    from steadyturn.twin.live import LiveEngine
    from steadyturn.twin.process import Child, UnixChild


class PortWires:
    """A pseudo-terminal that stays, whatever the board does: a client's serial port."""

    def __init__(self) -> None:
        from steadyturn.twin.console import Port, Prompt  # not on systems without terminals

        self.port = Port()
        self.prompt = Prompt()
        self.usb = UsbBuffer()
        self.client = False
        self._early = b""  # from a client that was faster than the board

    @property
    def raw(self) -> bool:
        return self.prompt.raw

    def look(self) -> bool:
        """Look whether a client is there; True when that has changed."""
        here = self.port.is_open()
        if here == self.client:
            return False
        self.client = here
        if not here:
            self.usb.clear()
            self._early = b""
        return True

    def started(self, child: UnixChild, raw: bool) -> None:
        self.prompt.raw = False
        if raw:
            child.write_console(b"\x01")

    def said(self, data: bytes) -> None:
        if data:
            self.prompt.saw(data)
            self.usb.put(data, self.client)

    def waiting(self) -> int:
        """Input that waits and is not in the board's own terminal: none here."""
        return 0

    def holds(self, t_us: int) -> bool:
        """Is the board held because nobody reads what it writes?"""
        return bool(len(self.usb)) and self.usb.holds(t_us, self.port.unread())

    def listen(self, engine: LiveEngine, wait_s: float) -> None:
        child, port = engine.child, self.port
        console = None if child is None else child.console
        readers = [port.fd] if self.client else []
        if child is not None and console is not None:
            readers.append(console)
            if not engine.asked:
                readers.append(child.from_child)
        t_us = engine.plant.t_us
        self._pump(t_us)
        if len(self.usb):
            wait_s = min(wait_s, max(self.usb.due_us() - t_us, 50) / 1e6)
        # not poll: it waits whole milliseconds
        ready, _, _ = select.select(readers, [], [], wait_s)
        if child is not None and console in ready:
            self.said(child.read_console())
        if child is not None and engine.child is child and child.from_child in ready:
            engine.take()
        if port.fd in ready:
            self._input(engine, port.read())
        elif self._early:
            self._input(engine, b"")

    def _input(self, engine: LiveEngine, data: bytes) -> None:
        """Hand input on, or keep it: for a board that is not there yet (a real port would
        not be either), and behind a Ctrl-C that has not arrived."""
        data = self._early + data
        self._early = b""
        while data:
            if not engine.takes_input:
                self._early = data
                return
            text, ctrl_c, data = data.partition(b"\x03")
            if text:
                engine.type(text)
            if ctrl_c:
                engine.ctrl_c()

    def _pump(self, t_us: int) -> None:
        """Console bytes on to the client, as far as it reads them."""
        data = self.usb.carry(t_us, self.port.unread() if len(self.usb) else 0)
        if data:
            self.port.write(data)

    def close(self) -> None:
        self.port.close()


class DirectWires:
    """Without a terminal: the client is in this process and calls `read` and `write`."""

    raw = False

    def __init__(self) -> None:
        self.usb = UsbBuffer()
        self.client = False
        self.clients = 0
        self.readers = 0
        self._turn = threading.Condition()
        self._input = bytearray()
        self._interrupts = 0

    def look(self) -> bool:
        here = self.clients > 0
        changed = here != self.client
        self.client = here
        if changed and not here:
            self.usb.clear()
            self._input.clear()
        return changed

    def started(self, child: Child, raw: bool) -> None:
        """Input that came early waits for the new program, as with a port."""

    def said(self, data: bytes) -> None:
        if data:
            with self._turn:
                self.usb.put(data, self.client)
                self._turn.notify_all()

    def waiting(self) -> int:
        return len(self._input)

    def give(self) -> bytes:
        """Input for the board: all that waits."""
        with self._turn:
            data = bytes(self._input)
            self._input.clear()
        return data

    def holds(self, t_us: int) -> bool:
        return bool(len(self.usb)) and self.usb.holds(t_us, 0)

    def listen(self, engine: LiveEngine, wait_s: float) -> None:
        child = engine.child
        if child is not None and not engine.asked:
            if child.ready(max(1, int(wait_s * 1000))):
                engine.take()
        elif wait_s > 0:
            time.sleep(wait_s)
        while self._interrupts and engine.takes_input:
            self._interrupts -= 1
            engine.ctrl_c()

    # ---- the client's side, from its own thread

    def read(self, most: int, timeout_s: float) -> bytes:
        end = time.monotonic() + timeout_s
        with self._turn:
            while not len(self.usb):
                left = end - time.monotonic()
                if left <= 0 or not self._turn.wait(left):
                    break
            return self.usb.take(most)

    def write(self, data: bytes) -> None:
        with self._turn:
            self._interrupts += data.count(b"\x03")
            self._input += data.replace(b"\x03", b"")

    def close(self) -> None:
        """Nothing to give back."""
