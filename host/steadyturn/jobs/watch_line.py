"""The line to a watched board, in a thread of its own: one look at a time, each when asked for.

After the board has gone it is looked for: on its port, and where that fails on ports that
were not there while it was, since a board may come back under another name. No other port is
ever opened: opening one may reset what hangs there.
"""

from __future__ import annotations

import contextlib
import threading
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from steadyturn.board.asking import ask_all
from steadyturn.board.connect import Board, Direct, connect
from steadyturn.board.finding import find
from steadyturn.board.holders import virtual_boards
from steadyturn.board.link import NoAnswer, NotUnderstood, Who
from steadyturn.board.ports import Port, every_port
from steadyturn.errors import Failed

FIRST_S = 8.0  # a board that has just been plugged in needs some seconds
BACK_S = 2.0  # one that is back is asked again and again
SILENCES = 3  # then the port is opened anew
LEAVE_S = 1.0  # for the thread at the end; it does not keep the program

Look = tuple["Met | None", dict[str, int], bytes | None]


@dataclass(frozen=True)
class Met:
    """A board was met. moved: under another port's name than before; remark: why no time
    anchor was left in the library, "" for nothing to say."""

    who: Who
    moved: bool
    remark: str


class Line:
    """ask() begins a look, wait() waits for it, take() gives it or raises what went wrong."""

    def __init__(self, port: str | Direct | None, *, library: Path | None, anchor: bool,
                 first_s: float | None = None) -> None:
        """first_s: how long the first answer is waited for (None: FIRST_S)."""
        self._first_s = FIRST_S if first_s is None else first_s
        self.name = port if isinstance(port, str) else ""
        self.busy = False
        self._port = port
        self._library, self._anchor = library, anchor
        self._who: Who | None = None
        self._there: set[str] = set()  # port names while it was connected
        self._board: Board | None = None
        self._stack = contextlib.ExitStack()
        self._crc = 0  # of the settings that were read last
        self._silences = 0  # questions in a row without an answer
        self._go, self._done = threading.Event(), threading.Event()
        self._closing = False
        self._result: Look | BaseException | None = None
        self._thread = threading.Thread(target=self._run, name="line to the board", daemon=True)
        self._thread.start()

    # ---- for the watch

    def ask(self) -> None:
        self.busy = True
        self._done.clear()
        self._go.set()

    def wait(self, seconds: float) -> bool:
        return self._done.wait(seconds)

    def take(self) -> Look:
        """(who was met, the state, the settings where they have changed). Raises Failed."""
        self.busy = False
        result, self._result = self._result, None
        assert result is not None
        if isinstance(result, BaseException):
            raise result
        return result

    def close(self) -> None:
        """Give the port back; a thread that still waits for an answer is left behind."""
        self._closing = True
        self._go.set()
        self._thread.join(LEAVE_S)

    # ---- the thread

    def _run(self) -> None:
        while True:
            self._go.wait()
            self._go.clear()
            if self._closing:
                break
            try:
                self._result = self._look()
            except NoAnswer as silent:  # opening the port anew would reset some boards
                self._silences += 1
                if self._silences >= SILENCES:
                    self._leave()
                self._result = silent
            except BaseException as error:
                self._leave()
                self._result = error
            self._done.set()
            if self._closing:
                break
        self._leave()

    def _leave(self) -> None:
        self._board = None
        with contextlib.suppress(Failed, OSError):
            self._stack.close()

    def _look(self) -> Look:
        met = None
        if self._board is None:
            met = self._meet()
        board: Any = self._board
        state = board.link.state()
        self._silences = 0
        settings = None
        if met is not None or state["settings_crc"] != self._crc:
            try:
                settings = board.link.settings()
            except (NoAnswer, NotUnderstood):  # watched all the same, without a band
                settings = b""
            self._crc = state["settings_crc"]
        return met, state, settings

    def _meet(self) -> Met:
        before = self.name
        who = self._first() if self._who is None else self._again(self._who)
        moved = bool(self._who) and self.name != before
        self._who = who
        if isinstance(self._port, str | None):
            self._there = {port.device for port in _ports()}
        assert self._board is not None
        return Met(who, moved, self._note(self._board))

    def _first(self) -> Who:
        try:
            return self._open(self._port, self._first_s)
        except NoAnswer as silent:
            raise Failed(f"{silent.what} It was waited for {self._first_s:.2g} s.",
                         silent.how) from None

    def _again(self, known: Who) -> Who:
        """The same board where it was, else where a port is new, else, without --port,
        whatever board is found. Raises Failed: what its old port says."""
        if not isinstance(self._port, str | None):
            return self._open(self._port, BACK_S)
        try:
            who = self._open(self.name, BACK_S)
        except Failed as failed:
            elsewhere = self._elsewhere(known)
            if elsewhere is None and self._port is None:
                elsewhere = self._any_other()
            if elsewhere is None:
                raise failed
            return self._open(elsewhere, BACK_S)
        if who.unique_id != known.unique_id and self._port is None:
            elsewhere = self._elsewhere(known)
            if elsewhere is not None:
                self._leave()
                return self._open(elsewhere, BACK_S)
        return who

    def _elsewhere(self, known: Who) -> str | None:
        """The port on which the same board answers now."""
        new = [port for port in _ports() if port.device not in self._there]
        for asked in ask_all(new):
            if asked.who is not None and asked.who.unique_id == known.unique_id:
                return asked.port.device
        return None

    def _any_other(self) -> str | None:
        with contextlib.suppress(Failed):
            found = find(None)
            return None if found == self.name else found
        return None

    def _open(self, port: str | Direct | None, wait_s: float) -> Who:
        board = self._stack.enter_context(connect(port))
        self.name = board.name
        try:
            who = board.link.wait(wait_s)
        except BaseException:
            self._leave()
            raise
        self._board = board
        return who

    def _note(self, board: Board) -> str:
        """Leave a time anchor in the library; why not, if not."""
        if not self._anchor:
            return ""
        from steadyturn.jobs.meeting import note

        return note(board.link, kind="watch", library=self._library)


def _ports() -> list[Port]:
    """Ports that may be a board, and virtual boards."""
    return [port for port in every_port() if port.likely] + [
        Port(device, "virtual board", True) for device, _ in virtual_boards()]
