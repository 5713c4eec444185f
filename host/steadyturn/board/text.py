"""What a board sent, made fit for a screen: no control bytes, no escapes, not endless."""

from __future__ import annotations


def printable(raw: bytes | str, most: int = 60) -> str:
    """At most `most` characters of printable ASCII; every other byte becomes a dot.

    A board can send anything, an escape sequence that rewrites the terminal included.
    """
    if isinstance(raw, bytes):
        raw = raw[: 4 * most].decode("ascii", "replace")
    clean = "".join(c if " " <= c <= "~" else "." for c in raw[: 4 * most])
    return clean if len(clean) <= most else clean[: most - 3] + "..."


def last_line(raw: bytes | str, most: int = 100) -> str:
    """The last line that says something: of a traceback, the error itself."""
    text = raw.decode("ascii", "replace") if isinstance(raw, bytes) else raw
    lines = [line for line in text.splitlines() if line.strip()]
    return printable(lines[-1].strip(), most) if lines else ""
