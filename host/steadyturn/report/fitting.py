"""Blocks of lines, the important ones kept where a terminal has few rows."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from steadyturn.report.style import wrap
from steadyturn.report.terminal import Line

LABEL = 8  # columns of the words before the values
BLANK_RANK = 99


@dataclass(frozen=True)
class Block:
    """lines: shown together or not at all; rank: the higher, the sooner it is left out; short:
    what stands there instead, from short_rank on and before it is left out."""

    lines: Sequence[Line]
    rank: int
    short: Sequence[Line] = ()
    short_rank: int = 0


BLANK = Block([""], BLANK_RANK)


def fit(blocks: Sequence[Block], rows: int) -> list[Line]:
    """The lines of the blocks in their order, at most `rows` of them.

    >>> fit([Block(["a"], 1), BLANK, Block(["b1", "b2"], 2, ["b"], 5), Block(["c"], 3)], 3)
    ['a', 'b', 'c']
    >>> fit([Block(["a"], 1), Block(["b1", "b2"], 2), Block(["c"], 3)], 2)
    ['a', 'c']
    """
    shown = [list(block.lines) for block in blocks]
    # what goes first: (rank, is it only shortened, which)
    steps = sorted(
        [(block.rank, False, n) for n, block in enumerate(blocks)]
        + [(block.short_rank, True, n) for n, block in enumerate(blocks) if block.short],
        reverse=True)
    left_out = []
    for _, shortened, n in steps:
        if sum(map(len, shown)) <= rows:
            break
        shown[n] = list(blocks[n].short) if shortened else []
        if not shortened:
            left_out.append(n)
    for n in reversed(left_out):  # what is left after a block of several rows
        for form in (blocks[n].lines, blocks[n].short):
            if form and not shown[n] and sum(map(len, shown)) + len(form) <= rows:
                shown[n] = list(form)
    return [line for lines in shown for line in lines][:rows]


def labelled(label: str, text: str, columns: int, style: str = "") -> list[Line]:
    """A value behind its word, filled, later lines under the value."""
    room = max(columns - LABEL - 2, 16)
    filled = wrap(text, "", room).split("\n")
    return [[(f" {label if n == 0 else '':<{LABEL}}", "dim"), (line, style)]
            for n, line in enumerate(filled)]
