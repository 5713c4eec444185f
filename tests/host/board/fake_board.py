"""A small board that is not real: it speaks the link's frames in a thread, on a stream
in memory or on a pseudo-terminal. Each test changes what it answers."""

from __future__ import annotations

import contextlib
import os
import struct
import threading
import time

from steadyturn.board.framing import frame
from steadyturn.board.stream import gone
from steadyturn_fw import frames, pages


def page(seq: int, boot: int = 1, turns_m: int = 0, energy_uj: int = 0) -> bytes:
    """A page with only its number, boot and these totals in it, and a right CRC."""
    raw = bytearray(pages.PAGE_BYTES)
    raw[0], raw[1], raw[2] = pages.MAGIC_0, pages.MAGIC_1, pages.VERSION
    pages.put(raw, pages.AT_SEQ, 4, seq)
    pages.put(raw, pages.AT_BOOT, 3, boot)
    pages.put(raw, pages.AT_TURNS, 5, turns_m)
    pages.put(raw, pages.AT_ENERGY_IN, 6, energy_uj)
    crc = pages.Crc()
    crc.feed(raw, 0, pages.AT_CRC)
    crc.store(raw, pages.AT_CRC)
    return bytes(raw)


class FakeBoard:
    """answer(line) -> bytes to send; change its attributes, or override `answer`."""

    def __init__(self) -> None:
        self.settings = b""
        self.pages = {n: page(n) for n in (3, 4, 7)}
        self.firmware = b"0.1.0"
        self.protocol = frames.PROTOCOL
        self.state = {name: 0 for name, _, _ in frames.STATE_FIELDS}
        self.now = {name: 0 for name, _, _ in frames.NOW_FIELDS}
        self.asked: list[bytes] = []
        self.before = b""  # noise before each answer
        self.name = bytes(range(8))
        self.piece = 100  # settings bytes in one answer
        self.sent = -1  # number of the page sent last
        self.unasked = b""  # sent all the time, as fast as it goes (PtyBoard)
        self.gap_s = 0.0  # between the bytes of an answer (PtyBoard)

    def answer(self, line: bytes) -> bytes:
        self.asked.append(line)
        word, _, argument = line.partition(b" ")
        number = int(argument or b"0")
        if word in (frames.ASK_WHO, frames.ASK_FORGET):  # it gives up nothing
            return self.before + frame(frames.WHO, self.who())
        if word in (frames.ASK_STATE, frames.ASK_FLUSH, frames.ASK_RELEASE):
            if word == frames.ASK_RELEASE:
                self.state.update(connected=0, why=pages.WHY_ASKED)
            return self.before + frame(frames.STATE, self.state_bytes())
        if word == frames.ASK_NOW:
            return self.before + frame(frames.NOW, self.now_bytes())
        if word == frames.ASK_SETTINGS:
            piece = self.settings[number : number + self.piece]
            head = struct.pack("<HH", number, len(self.settings))
            return self.before + frame(frames.SETTINGS, head + piece)
        if word == frames.ASK_NEXT and self.protocol > 1 and self.sent >= 0:
            return self.page_from(self.sent + 1)
        if word == frames.ASK_PAGE:
            return self.page_from(number)
        return frame(frames.WRONG, line[:20])

    def page_from(self, number: int) -> bytes:
        later = [n for n in sorted(self.pages) if n >= number]
        if not later:
            return self.before + frame(frames.END, b"")
        self.sent = later[0]
        return self.before + frame(frames.PAGE, self.pages[later[0]])

    def who(self) -> bytes:
        first, last = (min(self.pages), max(self.pages)) if self.pages else (1, 0)
        return (
            struct.pack("<BBI", self.protocol, pages.VERSION, 0xC0FFEE) + (5).to_bytes(3, "little")
            + struct.pack("<III", 1234, first, last) + self.name + self.firmware
        )

    def state_bytes(self) -> bytes:
        raw = bytearray(frames.STATE_BYTES)
        for name, at, size in frames.STATE_FIELDS:
            raw[at : at + size] = self.state[name].to_bytes(size, "little")
        return bytes(raw)

    def now_bytes(self) -> bytes:
        raw = bytearray(frames.NOW_BYTES)
        for name, at, size in frames.NOW_FIELDS:
            value = self.now[name]
            raw[at : at + size] = value.to_bytes(size, "little", signed=value < 0)
        return bytes(raw)


class MemoryStream:
    """A Stream whose other end is a FakeBoard, answered at once in the caller's thread."""

    def __init__(self, board: FakeBoard, chop: int = 4096) -> None:
        self.board, self.chop = board, chop
        self.waiting = b""
        self.line = b""
        self.unplugged = False

    def read(self, max_bytes: int, timeout_s: float) -> bytes:
        if self.unplugged:
            raise gone("memory")
        size = min(max_bytes, self.chop)
        out, self.waiting = self.waiting[:size], self.waiting[size:]
        if not out:
            time.sleep(min(timeout_s, 0.01))
        return out

    def write(self, data: bytes) -> None:
        if self.unplugged:
            raise gone("memory")
        *lines, self.line = (self.line + data).split(b"\n")
        for line in lines:
            self.waiting += self.board.answer(line)

    def close(self) -> None:
        pass


class PtyBoard:
    """A FakeBoard behind a pseudo-terminal: `.port` is opened like a board's serial port."""

    def __init__(self, board: FakeBoard) -> None:
        import tty

        self.board = board
        self._master, self._slave = os.openpty()
        tty.setraw(self._slave)
        self.port = os.ttyname(self._slave)
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._serve, daemon=True)
        self._thread.start()

    def _serve(self) -> None:
        import select

        line = b""
        os.set_blocking(self._master, False)
        while not self._stop.is_set():
            wait_s = 0.0 if self.board.unasked else 0.02
            ready, _, _ = select.select([self._master], [], [], wait_s)
            if ready:
                *lines, line = (line + os.read(self._master, 4096)).split(b"\n")
                for each in lines:
                    self._send(self.board.answer(each))
            self._send(self.board.unasked)

    def _send(self, data: bytes) -> None:
        """A client that does not read loses what it finds no room for."""
        step = 1 if self.board.gap_s else max(len(data), 1)
        for at in range(0, len(data), step):
            if self._stop.wait(self.board.gap_s):
                return
            with contextlib.suppress(BlockingIOError):
                os.write(self._master, data[at : at + step])

    def unplug(self) -> None:
        """The port goes away while a program holds it."""
        self._stop.set()
        self._thread.join()
        os.close(self._slave)
        os.close(self._master)

    def __enter__(self) -> PtyBoard:
        return self

    def __exit__(self, *_: object) -> None:
        if not self._stop.is_set():
            self.unplug()
