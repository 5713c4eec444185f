"""Commands on a library as a person runs them, a board in memory at the other end of `pull`."""

from __future__ import annotations

import contextlib
import io
import json
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from types import SimpleNamespace

import pytest
from shelves import Shelf, settings_text
from steadyturn.board.link import Link
from steadyturn.cli.main import code
from steadyturn.jobs import pull as job
from steadyturn_fw import pages as layout

sys.path.insert(0, str(Path(__file__).parents[1] / "board"))
from fake_board import FakeBoard, MemoryStream

SIZE = layout.PAGE_BYTES
# each looks at all that a library holds, in another way
LOOKS = (["review"], ["review", "--more"], ["review", "--all", "--json"], ["sessions"],
         ["sessions", "--per", "rig", "--json"], ["export"], ["export", "--raw"])
CHANGES = (["pull"], ["sessions", "--rebuild"], ["sessions", "--note", "1", "cold hands"])


@dataclass(frozen=True)
class Said:
    status: int
    out: str
    err: str


class Board(FakeBoard):
    """In the boot whose number is told."""

    boot = 1

    def who(self) -> bytes:
        raw = super().who()
        return raw[:6] + self.boot.to_bytes(3, "little") + raw[9:]


class Bench:
    """A library folder, and commands run on it."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder / "library"
        self.file = self.folder / "library.sqlite"
        self.shelf = Shelf(self.folder, uid=bytes(range(8)).hex(), format_id=0xC0FFEE,
                           settings=settings_text())  # as FakeBoard says of itself
        self.fresh = 9  # pages cranked before each pull
        self._out = folder / "out"
        self._count = 0

    def fill(self, evenings: int = 3) -> None:
        """Evenings of two boots each, pulled one by one; decoded as a reader leaves it."""
        for n in range(evenings):
            self.shelf.crank(pages=6, boots=2, pace_tpm=50 + n)
            self.shelf.crank(pages=1, events=[(layout.EV_FAULT, 5, layout.FAULT_SENSOR)])
            self.shelf.pull()
            self.shelf.later(86_400)
        assert self.run(["sessions"]).status == 0

    @contextlib.contextmanager
    def board(self, line: list[str]) -> Iterator[None]:
        """`pull` finds a board with all the pages that were ever cranked, and some more."""
        if line[0] != "pull":
            yield
            return
        board = Board()
        every = list(self.shelf.every)
        self.shelf.crank(pages=self.fresh)
        fresh = self.shelf.every[len(every) :]
        self.shelf.waiting.clear()
        board.pages = {int.from_bytes(page[4:8], "little"): page for page in [*every, *fresh]}
        board.settings, board.boot = self.shelf.settings, self.shelf.recorder.boot

        @contextlib.contextmanager
        def connected(port: object) -> Iterator[SimpleNamespace]:
            yield SimpleNamespace(link=Link(MemoryStream(board), answer_s=0.2, tries=2),
                                  name="here")

        with pytest.MonkeyPatch.context() as patch:
            patch.setattr(job, "connect", connected)
            yield

    def run(self, line: list[str]) -> Said:
        """Run it; any exception that gets through is the failure looked for."""
        out, err = io.StringIO(), io.StringIO()
        if line[0] == "export":
            self._count += 1
            line = [*line, "--out", str(self._out.with_name(f"out{self._count}"))]
        with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err), self.board(line):
            status = code([line[0], "--library", str(self.folder), *line[1:]])
        said = Said(status, out.getvalue(), err.getvalue())
        if "--json" in line and status == 0:
            json.loads(said.out)
        return said

    def kept(self) -> set[bytes]:
        """Pages whose bytes stand somewhere in the library's files, damaged or not."""
        raw = b"".join(path.read_bytes() for path in sorted(self.folder.glob("library.sqlite*")))
        return {page for page in self.shelf.every if page in raw}


def told(said: Said) -> None:
    """An answer "no" as every command gives it: what, and the remedy, and no traceback."""
    assert said.status == 1, said
    assert "Traceback" not in said.err
    lines = said.err.splitlines()
    begin = next(i for i, line in enumerate(lines) if line.startswith("failed: "))
    assert any(line.startswith(" " * 8) for line in lines[begin + 1 :]), said.err
    assert max(map(len, lines)) <= 80 or "/" in said.err  # a folder's name may be longer
