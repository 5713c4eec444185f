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
    "-": ("     ", "     ", "#####", "     ", "     "),
}
ROWS = 5


def big(word: str, columns: int, full: str = "#") -> list[str]:
    """Five rows of at most `columns`, twice as wide where that fits; one row with the word in
    capitals where it does not, or where a letter is not drawn here.

    >>> print("\\n".join(big("hot", 20)))
    #   #  ###  #####
    #   # #   #   #
    ##### #   #   #
    #   # #   #   #
    #   #  ###    #
    >>> big("hold", 20), big("?", 80)
    (['HOLD'], ['?'])
    """
    letters = word.upper()
    width = 6 * len(letters) - 1
    if not letters or width > columns or any(c not in _LETTERS for c in letters):
        return [letters]
    rows = [" ".join(_LETTERS[c][row] for c in letters) for row in range(ROWS)]
    wide = 2 if 2 * width <= columns else 1
    return ["".join((full if c == "#" else c) * wide for c in row).rstrip() for row in rows]
