"""Pages of hardware/ that are written by hand, with blocks that are made from tables.

A block stands between `<!-- made: NAME ARGUMENT -->` and `<!-- end -->`; what is between is
made anew by `python -m steadyturn.jobs.drawings`, and a test compares.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path

from steadyturn.drawings import cautions_page, listed, usb_output

MAKERS: dict[str, Callable[[str], str]] = {
    "cautions": cautions_page.box,
    "usb": usb_output.table,
    "shopping": listed.shopping,
    "built": listed.table,
}
BLOCK = re.compile(r"(<!-- made: (\w+) ?([^\n]*?) -->\n)(?:.*?\n)??(<!-- end -->)", re.DOTALL)


def filled(text: str) -> str:
    """The page with each block as it is made today; KeyError for an unknown one."""
    return BLOCK.sub(lambda found: f"{found[1]}{MAKERS[found[2]](found[3])}\n{found[4]}", text)


def pages(root: Path) -> list[Path]:
    """The pages that have such blocks."""
    return sorted(path for path in (root / "hardware").glob("*.md")
                  if "<!-- made: " in path.read_text(encoding="utf-8"))


def write(root: Path) -> list[Path]:
    """Fill them; returns those that changed."""
    changed = []
    for path in pages(root):
        old = path.read_text(encoding="utf-8")
        new = filled(old)
        if new != old:
            path.write_text(new, encoding="utf-8", newline="\n")
            changed.append(path)
    return changed
