"""Parts of a page in one file: escaped words, tables, and the shell that loads nothing.

Labels, notes, rig names and fault names come from files and boards and may hold anything:
every one of them goes through `esc` (or `name`, which also keeps its writing direction to
itself) on its way into a page.
"""

from __future__ import annotations

import base64
import hashlib
import re
import unicodedata
from collections.abc import Iterable, Sequence
from html import escape

MOST_LETTERS = 400  # of one word from outside: more says nothing more
_UNSEEN = "\N{REPLACEMENT CHARACTER}"
# marks that turn or embed the direction of what follows them (Unicode 9, "Bidirectional
# Algorithm", table 1): taken out, because a name must not turn round the page behind it
_TURNS = re.compile("[\u061c\u200e\u200f\u202a-\u202e\u2066-\u2069]")
# what XML and a browser do not allow or do not show: controls, halves of pairs, non-characters
_BLIND = {"Cc", "Cs", "Cn", "Co"}


def esc(value: object, most: int = MOST_LETTERS) -> str:
    """Text for a page, in an element or in a quoted attribute: markup escaped, control
    characters shown as a box, marks that turn the direction of writing left out.

    >>> esc('<b onclick="x()">\\x1b[31m\\u202e')
    '&lt;b onclick=&quot;x()&quot;&gt;\\ufffd[31m'
    """
    text = _TURNS.sub("", str(value))
    if len(text) > most:
        text = text[: most - 1] + "\N{HORIZONTAL ELLIPSIS}"
    if not text.isascii() or not text.isprintable():
        text = "".join(c if c in "\n\t" or unicodedata.category(c) not in _BLIND else _UNSEEN
                       for c in text)
    return escape(text, quote=True)


def name(value: object, most: int = 120) -> str:
    """A name from outside, set apart from the direction of the words round it."""
    return f"<bdi>{esc(value, most)}</bdi>"


def table(
    caption: str, head: Sequence[str], rows: Iterable[Sequence[str]], *,
    right: Iterable[int] = (), row_heads: bool = True, kind: str = "",
) -> str:
    """A table. caption, head and rows are HTML already (use `esc`); right: columns flush
    right; row_heads: the first cell of each row is its heading."""
    right = set(right)

    def mark(n: int) -> str:
        return ' class="n"' if n in right else ""

    def cell(n: int, value: str) -> str:
        if n == 0 and row_heads:
            return f'<th scope="row"{mark(n)}>{value}</th>'
        return f"<td{mark(n)}>{value}</td>"

    heads = "".join(f'<th scope="col"{mark(n)}>{h}</th>' for n, h in enumerate(head))
    lines = ["<tr>" + "".join(cell(n, v) for n, v in enumerate(row)) + "</tr>" for row in rows]
    shape = f' class="{kind}"' if kind else ""
    return (f"<table{shape}><caption>{caption}</caption><thead><tr>{heads}</tr></thead><tbody>\n"
            + "\n".join(lines) + "\n</tbody></table>")


def items(lines: Iterable[str]) -> str:
    """An unordered list of HTML lines; "" where there are none."""
    found = "".join(f"<li>{line}</li>\n" for line in lines)
    return f"<ul>\n{found}</ul>" if found else ""


def policy(style: str, script: str = "") -> str:
    """The Content-Security-Policy of a page with this one style and at most one script, by
    their hashes (W3C, "Content Security Policy Level 3", 2.3.1): nothing else may run, load
    or be sent."""
    parts = ["default-src 'none'", f"style-src {_hash(style)}"]
    if script:
        parts.append(f"script-src {_hash(script)}")
    return "; ".join([*parts, "base-uri 'none'", "form-action 'none'"])


def _hash(text: str) -> str:
    digest = base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()
    return f"'sha256-{digest}'"


def document(
    title: str, body: str, style: str, *, about: str = "", script: str = "",
    scheme: str = "light",
) -> str:
    """The whole page. title and about are plain text; body is HTML; style and script stand in
    it as they are. scheme: the colour schemes that the style knows."""
    run = f"<script>{script}</script>" if script else ""
    return (
        '<!doctype html>\n<html lang="en"><head><meta charset="utf-8">\n'
        f'<meta http-equiv="Content-Security-Policy" content="{policy(style, script)}">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f'<meta name="color-scheme" content="{scheme}">\n'
        '<meta name="referrer" content="no-referrer">\n'
        f'<meta name="description" content="{esc(about)}">\n'
        f"<title>{esc(title, 120)}</title>\n<style>{style}</style></head><body>\n"
        f"{body}{run}\n</body></html>\n")
