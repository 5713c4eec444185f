"""A board on a port, or a virtual one without a port: its link, and its files.

Link and files take turns on one line. Using `.files` stops the board's program;
using `.link` after that starts it again; leaving a board with its program stopped
does not happen unless it was unplugged.
"""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Iterator
from typing import Protocol, runtime_checkable

from steadyturn.board.files import Files
from steadyturn.board.finding import find
from steadyturn.board.link import Link
from steadyturn.board.repl import ReplFiles
from steadyturn.board.stream import SerialStream, Stream
from steadyturn.errors import Failed

START_S = 15.0  # a board that starts compiles its program and looks through its journal


@runtime_checkable
class Direct(Protocol):
    """A board that is reached without a serial port."""

    def stream(self) -> Stream: ...

    def files(self) -> Files: ...


class Board:
    """name: the port, or what stands in for it."""

    def __init__(
        self, name: str, stream: Callable[[], Stream], files: Callable[[], Files]
    ) -> None:
        self.name = name
        self._open_stream = stream
        self._open_files = files
        self._link: Link | None = None
        self._files: Files | None = None

    @property
    def link(self) -> Link:
        """The link to the running program; it may take START_S to answer after a start
        (`link.wait`)."""
        if self._files is not None:
            self.restart()
        if self._link is None:
            self._link = Link(self._open_stream())
        return self._link

    @property
    def files(self) -> Files:
        """The board's files; the program is stopped from now on."""
        if self._link is not None:
            link, self._link = self._link, None
            link.close()
        if self._files is None:
            self._files = self._open_files()
        return self._files

    def restart(self) -> None:
        """Have the program run again, if it was stopped here."""
        if self._files is not None:
            files, self._files = self._files, None
            try:
                files.restart()
            finally:
                files.close()

    def close(self) -> None:
        if self._link is not None:
            self._link.close()
            self._link = None
        with contextlib.suppress(Failed):  # gone: nothing is left to be started
            self.restart()


@contextlib.contextmanager
def connect(port: str | Direct | None = None) -> Iterator[Board]:
    """The board on this port; without one, the one that is found. Raises Failed."""
    if port is None or isinstance(port, str):
        name = find(port)
        board = Board(name, lambda: SerialStream(name), lambda: ReplFiles(name))
    else:
        board = Board("virtual board", port.stream, port.files)
    try:
        yield board
    finally:
        board.close()
