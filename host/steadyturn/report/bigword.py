"""A word in letters five rows high, to be read across a room."""

from __future__ import annotations

_LETTERS = {
    "A": (" ### ", "#   #", "#####", "#   #", "#   #"),
    "D": ("#### ", "#   #", "#   #", "#   #", "#### "),
    "E": ("#####", "#    ", "#### ", "#    ", "#####"),
    "F": ("#####", "#    ", "#### ", "#    ", "#    "),
    "H": ("#   #", "#   #", "#####", "#   #", "#   #"),
    "L": ("#    ", "#    ", "#    ", "#    ", "#####"),
    "O": (" ### ", "#   #", "#   #", "#   #", " ### "),
    "P": ("#### ", "#   #", "#### ", "#    ", "#    "),
    "R": ("#### ", "#   #", "#### ", "#  # ", "#   #"),
    "S": (" ####", "#    ", " ### ", "    #", "#### "),
    "T": ("#####", "  #  ", "  #  ", "  #  ", "  #  "),
    "U": ("#   #", "#   #", "#   #", "#   #", " ### "),
    "W": ("#   #", "#   #", "# # #", "## ##", "#   #"),
}


def big(word: str, indent: str = "  ") -> str:
    """Five lines; a word with a letter that is not drawn here stays in plain capitals."""
    letters = word.upper()
    if not letters or any(c not in _LETTERS for c in letters):
        return f"\n\n{indent}{letters}\n\n"
    rows = (" ".join(_LETTERS[c][row] for c in letters) for row in range(5))
    return "\n".join((indent + row).rstrip() for row in rows)
