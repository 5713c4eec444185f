"""Tables of decoded pages as CSV (RFC 4180) and from there as Parquet, in flat memory: some
pages at a time, whatever the library's size."""

from __future__ import annotations

import csv
from collections.abc import Iterable
from contextlib import ExitStack
from pathlib import Path
from typing import Any

from steadyturn.errors import Failed
from steadyturn.sessions.anchors import Anchors
from steadyturn.sessions.columns import TABLES, columns_of, header
from steadyturn.sessions.decode import Pages
from steadyturn.sessions.library import BoardRow

ROW_GROUP = 61_440  # rows; half of DuckDB's own default: half the memory
# What Parquet's writer may take; beyond it spills beside the file.
MEMORY = "96MB"


class CsvTables:
    """CSV files of some tables, open for writing. Use as a context manager."""

    def __init__(self, files: dict[str, Path]) -> None:
        self.rows = dict.fromkeys(files, 0)
        self._files = files
        self._stack = ExitStack()
        self._writers: dict[str, Any] = {}

    def __enter__(self) -> CsvTables:
        try:
            for table, path in self._files.items():
                # the csv module ends lines with CR LF, as RFC 4180 has it
                file = self._stack.enter_context(path.open("x", encoding="utf-8", newline=""))
                self._writers[table] = csv.writer(file)
                self._writers[table].writerow(header(table))
        except BaseException:
            self._stack.close()
            raise
        return self

    def __exit__(self, *error: object) -> None:
        self._stack.close()

    def add(self, pages: Pages, board: BoardRow, anchors: Anchors) -> None:
        for table, writer in self._writers.items():
            columns = columns_of(table, pages, board, anchors)
            writer.writerows(zip(*columns, strict=True))
            self.rows[table] += len(columns[0])


def has_parquet() -> bool:
    """Whether what writes Parquet is installed."""
    try:
        import duckdb  # noqa: F401
    except ImportError:
        return False
    return True


def parquet(table: str, source: Path, target: Path) -> None:
    """The same table as a Parquet file; source: its CSV."""
    import duckdb

    names = ", ".join(f"'{c.name}': '{c.kind}'" for c in TABLES[table])
    # a single thread and rows in their order: what is held does not grow with the file
    config: dict[str, str | bool | int | float | list[str]] = {
        "threads": 1, "memory_limit": MEMORY, "temp_directory": str(target.parent),
        "autoinstall_known_extensions": False}
    try:
        with duckdb.connect(config=config) as db:
            db.execute(
                f"COPY (SELECT * FROM read_csv({_text(source)}, header = true, delim = ',', "
                f"quote = '\"', escape = '\"', auto_detect = false, columns = {{{names}}})) "
                f"TO {_text(target)} "
                f"(FORMAT parquet, COMPRESSION zstd, ROW_GROUP_SIZE {ROW_GROUP})")
    except duckdb.Error as error:  # a full disk, most of all
        raise Failed(f"The Parquet file of {table} could not be written: {error}.",
                     "Is there room on the disk? Without --parquet it writes CSV.") from error


def _text(path: Path) -> str:
    return "'" + str(path).replace("'", "''") + "'"


def raw(chunks: Iterable[bytes], path: Path) -> int:
    """Pages verbatim, one after the other; how many bytes."""
    size = 0
    with path.open("xb") as file:
        for chunk in chunks:
            size += file.write(chunk)
    return size
