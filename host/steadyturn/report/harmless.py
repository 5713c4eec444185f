"""Words that came from outside, made fit to be shown."""

from __future__ import annotations

import unicodedata

# what turns the direction of the text after it (Unicode's bidirectional classes)
TURNS = {"LRE", "RLE", "LRO", "RLO", "PDF", "LRI", "RLI", "FSI", "PDI"}


def unfit(c: str) -> bool:
    """Whether a character may do something to a terminal or turn the text round: controls,
    halves of pairs, separators of lines, marks of direction (Unicode's categories)."""
    return unicodedata.category(c) in {"Cc", "Cs", "Zl", "Zp"} or \
        unicodedata.bidirectional(c) in TURNS


def harmless(text: str) -> str:
    """On one line, with a question mark for each unfit character."""
    return "".join("?" if unfit(c) else c for c in " ".join(text.split()))
