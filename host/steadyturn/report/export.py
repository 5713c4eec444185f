"""What an export wrote, in words."""

from __future__ import annotations

from typing import Any

from steadyturn.report.moments import moment as when
from steadyturn.report.style import table, wrap


def text(result: Any) -> str:
    """result: jobs.export.Exported."""
    lines = []
    if result.since_s is not None:
        lines += [wrap(f"Pages pulled since {when(result.since_s)} and not known to be older."),
                  ""]
    lines.append(table([
        (file.path.name, f"{file.rows:,} {'pages' if file.table == 'raw' else 'rows'}",
         f"{file.bytes / 1000:,.1f} kB") for file in result.files
    ], right=(1, 2)))
    lines.append(f"{result.about.name} says what they are.")
    undated = [b for b in result.boards if b.pages and not b.dated_boots]
    if undated and result.format != "raw":
        lines.append(wrap("No boot of "
                          f"{', '.join(sorted({b.board for b in undated}))} had a host connected, "
                          "so nothing dates it: time_utc is empty there."))
    damaged = sum(b.damaged for b in result.boards)
    if damaged:
        lines.append(f"Damaged pages in the library, left out: {damaged}.")
    lines += ["", f"Folder: {result.about.parent.absolute()}"]
    return "\n".join(lines) + "\n"
