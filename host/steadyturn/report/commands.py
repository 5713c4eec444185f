"""Commands in a text, to be copied to a shell."""

from __future__ import annotations

import textwrap

from steadyturn.report.style import columns


def command_lines(command: str, indent: str = "  ") -> str:
    """The command on a line of its own; where it is wider than the terminal, on several that
    a shell reads as one, broken between words only.

    >>> print(command_lines("steadyturn pull"))
      steadyturn pull
    """
    if len(indent + command) <= columns():
        return indent + command
    rows = textwrap.wrap(command, columns() - 2, initial_indent=indent,
                         subsequent_indent=indent + "    ", break_long_words=False,
                         break_on_hyphens=False)
    return " \\\n".join(rows)
