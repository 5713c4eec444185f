"""hardware/'s generated files are what the code makes today."""

from pathlib import Path

import pytest
from steadyturn.drawings.files import FILES
from steadyturn.drawings.pins import MEANING
from steadyturn_fw.boards import BOARDS, COLUMNS

ROOT = Path(__file__).parents[3]


@pytest.mark.parametrize("name", FILES)
def test_file_is_current(name):
    assert (ROOT / name).read_text(encoding="utf-8") == FILES[name]()


def test_every_signal_has_a_meaning_and_every_board_a_value():
    assert set(MEANING) == set(COLUMNS)
    assert all(len(row) == len(COLUMNS) for row in BOARDS.values())


@pytest.mark.parametrize("board", BOARDS)
def test_no_pin_serves_twice(board):
    row = dict(zip(COLUMNS, BOARDS[board], strict=True))
    pins = [v for k, v in row.items() if k.endswith("_pin") and v >= 0]
    assert len(pins) == len(set(pins))
