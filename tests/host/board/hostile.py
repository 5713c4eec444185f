"""Boards that do their worst over the link, each behind FakeBoard's face."""

from __future__ import annotations

import struct
from collections.abc import Callable

from fake_board import FakeBoard, page
from steadyturn.board.framing import frame
from steadyturn_fw import frames

ESCAPES = b"\x1b[2J\x1b]0;owned\x07\x9b31m\x1b[6n\r\n\x00"
SCRIPT = "<script>alert(1)</script>\\u001b]0;owned\\u0007\\u009b31m\\r\\u202e"


def settings_of(text: str) -> bytes:
    return b"head\n" + text.encode() + b"\ntail"


def endless_lines(board: FakeBoard) -> None:
    board.unasked = b"x" * 200 + b"\r\n"


def endless_starts(board: FakeBoard) -> None:
    board.unasked = b"\xa5\x53P\xdc"


def silence_after_each_byte(board: FakeBoard) -> None:
    board.gap_s = 0.06


def wrong_lengths(board: FakeBoard) -> None:
    good = board.answer
    turn = iter(range(10**9))

    def answer(line: bytes) -> bytes:
        out = bytearray(good(line))
        out[3] = (out[3] + (1, 255, 7, 100)[next(turn) % 4]) % 256
        return bytes(out)

    board.answer = answer  # type: ignore[method-assign]


def wrong_crc(board: FakeBoard) -> None:
    good = board.answer
    board.answer = lambda line: good(line)[:-1] + b"\x00"  # type: ignore[method-assign]


def escapes(board: FakeBoard) -> None:
    board.firmware = ESCAPES
    board.before = ESCAPES * 3
    board.settings = settings_of(f'{{"label": "{SCRIPT}", "rig": "{SCRIPT}"}}')


def huge_numbers(board: FakeBoard) -> None:
    board.state = {name: 256**size - 1 for name, _, size in frames.STATE_FIELDS}
    board.pages = {0: page(0, 2**24 - 1), 2**32 - 1: page(2**32 - 1, 2**24 - 1)}
    digits, brackets = "9" * 5000, "[" * 3000
    board.settings = settings_of(f'{{"low_dtpm": 1e400, "high": -{digits}, "rig": {brackets}}}')


def settings_without_end(board: FakeBoard) -> None:
    board.settings = bytes(65535)
    board.piece = 1


def other_totals(board: FakeBoard) -> None:
    lengths = iter(range(1000, 10**9))

    def piece(line: bytes) -> bytes:
        if line.startswith(frames.ASK_SETTINGS):
            offset = int(line.split()[1])
            return frame(frames.SETTINGS, struct.pack("<HH", offset, next(lengths) % 65536) + b"x")
        return FakeBoard.answer(board, line)

    board.answer = piece  # type: ignore[method-assign]


def _pages(board: FakeBoard, number: Callable[[int], int]) -> None:
    """Every question for a page is answered with the one numbered number(the count of them)."""
    count = iter(range(10**9))

    def answer(line: bytes) -> bytes:
        if line.startswith((frames.ASK_PAGE, frames.ASK_NEXT)):
            return frame(frames.PAGE, page(number(next(count))))
        return FakeBoard.answer(board, line)

    board.pages = {n: page(n) for n in (1, 40)}
    board.answer = answer  # type: ignore[method-assign]


def pages_backwards(board: FakeBoard) -> None:
    _pages(board, lambda n: max(5 - n, 1))


def the_same_page(board: FakeBoard) -> None:
    _pages(board, lambda n: 5)


def damaged_pages(board: FakeBoard) -> None:
    board.pages = {n: page(n)[:-1] + b"\x00" for n in range(1, 30)}


def pages_without_end(board: FakeBoard) -> None:
    _pages(board, lambda n: n + 1)
    board.pages = {1: b"", 2**32 - 1: b""}


KINDS = {
    made.__name__: made for made in (
        endless_lines, endless_starts, silence_after_each_byte, wrong_lengths, wrong_crc, escapes,
        huge_numbers, settings_without_end, other_totals, pages_backwards, the_same_page,
        damaged_pages, pages_without_end,
    )
}


def hostile(kind: str) -> FakeBoard:
    board = FakeBoard()
    KINDS[kind](board)
    return board
