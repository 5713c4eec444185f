"""The screen that is drawn over: one write a frame, nothing raw, in order at any end."""

from __future__ import annotations

import io
import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))
from small_screen import SmallScreen
from steadyturn.report import paceband
from steadyturn.report.bigword import big
from steadyturn.report.fitting import BLANK, Block, fit
from steadyturn.report.terminal import Terminal, can_draw, plain


class Out(io.StringIO):
    """A terminal's stream that counts its writes."""

    encoding = "utf-8"

    def __init__(self):
        super().__init__()
        self.frames = []

    def write(self, text):
        self.frames.append(text)
        return super().write(text)


@pytest.fixture
def drawn(monkeypatch):
    """(terminal, its stream, what it shows); at 20 x 4."""
    monkeypatch.setattr(Terminal, "size", lambda self: (20, 4))
    out = Out()
    shown = SmallScreen(20, 4)
    terminal = Terminal(out, io.StringIO(), {"TERM": "xterm"})

    def draw(lines):
        before = len(out.frames)
        terminal.draw(lines)
        for frame in out.frames[before:]:
            shown.feed(frame)
        return len(out.frames) - before

    with terminal:
        yield draw, out, shown
    assert out.frames[-1].endswith("\x1b[?25h\x1b[?1049l")


def test_a_frame_is_one_write_and_a_frame_that_stands_is_none(drawn):
    draw, out, shown = drawn
    assert draw(["one", [("two", "bold red"), (" three", "")]]) == 1
    assert shown.text.splitlines()[:2] == ["one", "two three"]
    assert {"1", "31"} <= set(";".join(shown.sgr).split(";"))
    assert draw(["one", [("two", "bold red"), (" three", "")]]) == 0
    assert draw(["one", "2"]) == 1
    assert "one" not in out.frames[-1]
    assert shown.text.split("\n") == ["one", "2", "", ""]
    assert shown.wipes == 1  # nothing is wiped between frames: no flicker


def test_what_does_not_fit_is_cut(drawn):
    draw, _, shown = drawn
    draw(["x" * 50, "\N{CJK UNIFIED IDEOGRAPH-4E00}" * 20, *"abcdef"])
    assert shown.rows[0] == "x" * 20
    assert shown.rows[2].rstrip() == "a"
    assert len(shown.rows) == 4


def test_nothing_in_a_text_is_an_order_to_the_terminal(drawn):
    draw, out, shown = drawn
    draw(["\x1b]0;title\x07\x1b[2Jhi", [("\x9b31m\r\n\t\x00\u202e", "bold")]])
    assert shown.rows[0].startswith(".]0;title..[2Jhi")
    assert not any(c in out.frames[-1] for c in "\x07\x9b\r\n\t\x00\u202e")


def test_after_a_change_of_size_all_is_drawn_anew(drawn, monkeypatch):
    draw, out, _ = drawn
    draw(["one", "two"])
    monkeypatch.setattr(Terminal, "size", lambda self: (8, 2))
    narrow = SmallScreen(8, 2)
    assert draw(["one", "two is long"]) == 1
    narrow.feed(out.frames[-1])
    assert narrow.rows == ["one     ", "two is l"]


@pytest.mark.parametrize(("environ", "colours"), [
    ({}, True), ({"NO_COLOR": "1"}, False), ({"NO_COLOR": ""}, True)])
def test_no_color(environ, colours):
    out = Out()
    terminal = Terminal(out, io.StringIO(), {"TERM": "xterm", **environ})
    terminal.draw([[("word", "bold red")]])
    assert ("31" in out.getvalue()) is colours
    assert "\x1b[1" in out.getvalue()  # weight is no colour


def test_ascii_where_the_terminal_has_no_more():
    class Ascii(Out):
        encoding = "ascii"

    assert not Terminal(Ascii(), io.StringIO(), {}).unicode
    assert Terminal(Out(), io.StringIO(), {}).unicode


def test_a_dumb_terminal_and_a_file_get_no_screen(tmp_path):
    class Tty(Out):
        def isatty(self):
            return True

    assert can_draw(Tty(), {"TERM": "xterm"})
    assert not can_draw(Tty(), {"TERM": "dumb"})
    assert not can_draw(Out(), {"TERM": "xterm"})


# ---- the parts of a screen

BAND = paceband.Band(40.0, 50.0, 60.0)


def bar(pace, bound=False, width=48, band=BAND, unicode=False):
    return [plain(row) for row in paceband.rows(pace, bound, band, width, indent="",
                                                unicode=unicode)]


def test_the_bar_marks_low_target_high_and_where_the_pace_is():
    pointer, row, labels = bar(52.0)
    assert row == "-" * 20 + "[====|====]" + "-" * 17
    assert pointer == " " * 26 + "v 52"
    assert labels.split() == ["0", "40", "50", "60", "96"]
    assert labels.index("50") in (row.index("|") - 1, row.index("|"))
    assert bar(52.0, unicode=True)[1].translate(str.maketrans("─━┣╋┫", "-=[|]")) == row


def test_the_bar_says_a_bound_and_an_unknown_pace_by_shape():
    assert bar(31.0, bound=True)[0] == "<" + "-" * 14 + "| at most 31"
    assert bar(None)[0] == "? pace not known"
    assert bar(9000.0)[0].endswith("9000 and beyond v")
    assert "at most 9000" in bar(9000.0, bound=True)[0]


def test_every_bar_stays_in_its_width():
    for width in (8, 12, 20, 36, 76):
        for low, target, high in ((40, 50, 60), (50, 50, 50), (1, 2, 3), (50, 50.1, 50.2)):
            band = paceband.band_of(low, target, high)
            for pace in (None, 0.0, 0.1, 45.0, 97.0, 6553.5):
                for bound in (False, True):
                    assert all(len(row) <= max(width, 16)
                               for row in bar(pace, bound, width, band))


@pytest.mark.parametrize(("low", "target", "high"), [
    (None, 50, 60), (50, 40, 60), (0, 0, 0), (40, 50, 1e9), (60, 50, 40)])
def test_numbers_that_make_no_band_draw_none(low, target, high):
    assert paceband.band_of(low, target, high) is None


def test_a_big_word_fits_and_is_square_where_there_is_room():
    for word in ("rest", "faster", "hold", "slower", "STOP", "fault"):
        assert len(big(word, 38)) == 5
        assert max(map(len, big(word, 38))) <= 38
        assert 38 < max(map(len, big(word, 78))) <= 78 or word in ("rest", "hold", "STOP")
    assert big("hold", 10) == ["HOLD"]


def test_few_rows_keep_what_matters_in_order():
    blocks = [Block(["head"], 6), BLANK, Block(["B1", "B2"], 0, ["b"], 3), Block(["phone"], 2),
              Block(["more", "more"], 8)]
    assert fit(blocks, 99) == ["head", "", "B1", "B2", "phone", "more", "more"]
    assert fit(blocks, 4) == ["head", "B1", "B2", "phone"]
    assert fit(blocks, 2) == ["b", "phone"]
    assert fit(blocks, 1) == ["b"]
