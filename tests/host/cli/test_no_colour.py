"""NO_COLOR (https://no-color.org): the only view with colours goes without them."""

from __future__ import annotations

import io
import re
import sys
from pathlib import Path

import pytest
from rich.console import Console

sys.path.insert(0, str(Path(__file__).parents[1] / "board"))
from fake_board import FakeBoard, MemoryStream
from steadyturn.jobs.watch import watch
from steadyturn.report.watch import show_screen
from steadyturn_fw import pages

COLOUR = re.compile(r"\x1b\[(?:\d+;)*(?:3[0-8]|4[0-8]|9\d|10[0-7])[;m]")


class Direct:
    def stream(self):
        board = FakeBoard()
        board.state.update(boot=7, bus_mv=4920, bus_ma=830, pace_dtpm=523, cue=pages.STOP)
        return MemoryStream(board)

    def files(self):
        raise AssertionError("watching touches no file")


@pytest.mark.parametrize(("value", "coloured"), [(None, True), ("1", False)])
def test_the_live_view_honours_it(value, coloured, monkeypatch):
    if value is None:
        monkeypatch.delenv("NO_COLOR", raising=False)
    else:
        monkeypatch.setenv("NO_COLOR", value)
    screen = io.StringIO()
    console = Console(file=screen, force_terminal=True, color_system="truecolor", width=80,
                      height=24)
    show_screen(watch(Direct(), seconds=0.3), console)
    assert bool(COLOUR.search(screen.getvalue())) is coloured
    assert "V" in screen.getvalue()
