"""What an export's tables hold: a row a column, and how each is made from decoded pages.

export.md beside this file says the same in words; a test compares the two. Within one VERSION
columns are neither renamed, nor moved, nor given another unit; new ones come at the end.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from steadyturn_fw import pages as layout

from steadyturn.sessions.anchors import Anchors
from steadyturn.sessions.decode import Pages
from steadyturn.sessions.library import BoardRow

VERSION = 1

Cells = list[Any]  # a value a row; None is written as an empty field
Rows = NDArray[Any]


@dataclass(frozen=True, slots=True)
class Column:
    """name ends in its unit where it has one; kind: its type in SQL and in a Parquet file;
    cells: its values of some rows of one board's decoded pages."""

    name: str
    kind: str
    cells: Callable[[Rows, BoardRow, Anchors], Cells]


def _plain(name: str, field: str = "", kind: str = "BIGINT") -> Column:
    return Column(name, kind, lambda rows, board, anchors: rows[field or name].tolist())


def _measured(name: str, field: str = "", kind: str = "BIGINT") -> Column:
    """Empty where nothing was measured."""

    def cells(rows: Rows, board: BoardRow, anchors: Anchors) -> Cells:
        return _blank(rows[field or name].tolist(), rows["no_data"])

    return Column(name, kind, cells)


def _word(name: str, field: str, names: Sequence[str]) -> Column:
    """A code by its name; "code 7" where this program knows none."""

    def cells(rows: Rows, board: BoardRow, anchors: Anchors) -> Cells:
        words = [_name(code, names) for code in rows[field].tolist()]
        if "no_data" in (rows.dtype.names or ()):
            return _blank(words, rows["no_data"])
        return words

    return Column(name, "VARCHAR", cells)


def _name(code: int, names: Sequence[str]) -> str:
    return names[code] if 0 <= code < len(names) else f"code {code}"


def _blank(cells: Cells, which: NDArray[Any]) -> Cells:
    for i in np.flatnonzero(which):
        cells[i] = None
    return cells


def _flag(name: str, bit: int) -> Column:
    return Column(name, "TINYINT", lambda rows, board, anchors:
                  (rows["flags"] & bit > 0).astype("i1").tolist())


def _whose(t_name: str, t_field: str) -> tuple[Column, ...]:
    """What every table begins with: whose row it is, and when it was."""
    return (
        Column("board", "VARCHAR", lambda rows, board, anchors: [board.unique_id] * len(rows)),
        Column("format_id", "BIGINT", lambda rows, board, anchors: [board.format_id] * len(rows)),
        _plain("boot"),
        _plain("page", "seq"),
        _plain(t_name, t_field),
        Column("time_utc", "TIMESTAMP", lambda rows, board, anchors:
               anchors.iso(rows["boot"], rows[t_field])),
    )


# events whose argument is a code of its own
_DETAILS = {
    layout.EV_RELEASED: layout.REASONS,
    layout.EV_FAULT: layout.FAULTS,
    layout.EV_FAULT_END: layout.FAULTS,
}


def _detail(rows: Rows, board: BoardRow, anchors: Anchors) -> Cells:
    return [
        _name(argument, _DETAILS[code]) if code in _DETAILS else None
        for code, argument in zip(rows["code"].tolist(), rows["argument"].tolist(), strict=True)
    ]


SAMPLES = (
    *_whose("t_ms", "t_ms"),
    _measured("bus_mv"),
    _measured("bus_ma"),
    _measured("pace_tpm", kind="DOUBLE"),
    _measured("bus_peak_mv"),
    _measured("bus_peak_ma", "amps_peak_ma"),
    _word("cue", "cue", layout.CUES),
    _measured("connected", kind="TINYINT"),
    _word("validity", "valid", layout.VALIDITY),
    Column("no_data", "TINYINT", lambda rows, board, anchors:
           rows["no_data"].astype("i1").tolist()),
)

EVENTS = (
    *_whose("t_ms", "t_ms"),
    _word("event", "code", layout.EVENT_NAMES),
    _plain("argument"),
    Column("detail", "VARCHAR", _detail),
)

PAGES = (
    *_whose("t0_ms", "t0_ms"),
    _plain("length_ms"),
    _plain("samples"),
    _plain("events"),
    _plain("events_lost"),
    _plain("peak_mv"),
    _plain("peak_ma"),
    _plain("energy_in_uj"),
    _plain("energy_out_uj"),
    _plain("charge_uc"),
    _plain("milliturns", "turns_m"),
    _plain("on_samples"),
    _plain("band_samples"),
    _plain("connected_samples"),
    _plain("connections"),
    _plain("faults"),
    _plain("rise_k"),
    _plain("first_page", "first_seq"),
    _plain("first_boot"),
    _plain("stands_for_pages", "stands_for"),
    _flag("out_measured", layout.FLAG_OUT_MEASURED),
    _flag("fading", layout.FLAG_FADING),
    _flag("volts_only", layout.FLAG_VOLTS_ONLY),
    _flag("saturated", layout.FLAG_SATURATED),
    _flag("flushed", layout.FLAG_FLUSHED),
    _flag("burst", layout.FLAG_BURST),
    _flag("summary", layout.FLAG_SUMMARY),
    _flag("pace_measured", layout.FLAG_PACE_MEASURED),
)

# in the order in which they are written
TABLES: dict[str, tuple[Column, ...]] = {
    "samples": SAMPLES, "events": EVENTS, "pages": PAGES, "bursts": SAMPLES,
}


def header(table: str) -> list[str]:
    return [column.name for column in TABLES[table]]


def columns_of(table: str, pages: Pages, board: BoardRow, anchors: Anchors) -> list[Cells]:
    """The table's columns of one board's pages, in the order of its header."""
    rows = getattr(pages, table)
    return [column.cells(rows, board, anchors) for column in TABLES[table]]
