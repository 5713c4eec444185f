"""hardware/cautions.md, and the box with the cautions of one act in other pages."""

from __future__ import annotations

import textwrap

from steadyturn.cautions import CAUTIONS, DEFER, FOREWORD, of

WIDE = 92


def cautions_text() -> str:
    """The page as a whole."""
    lines = ["# Cautions", "", *textwrap.wrap(FOREWORD, WIDE)]
    for section, rows in CAUTIONS.items():
        lines += ["", f"**{section}**"]
        for text in rows.values():
            lines += textwrap.wrap(text, WIDE, initial_indent="- ", subsequent_indent="  ")
    return "\n".join(lines) + "\n"


def box(act: str) -> str:
    """The cautions of an act (steadyturn.cautions.ACTS) as a quoted block."""
    lines = ["> **Caution.**"]
    for text in of(act):
        lines += textwrap.wrap(text, WIDE, initial_indent="> - ", subsequent_indent=">   ")
    linked = DEFER.replace("cautions.md", "[cautions.md](cautions.md)")
    return "\n".join([*lines, ">", f"> {linked}"])
