"""Which line of a TOML text says what: key paths to line numbers.

`tomllib` gives the values but no lines. This scanner finds only keys, in every
form TOML has: tables, arrays of tables, dotted and quoted keys, inline tables and
arrays, strings over several lines. Its paths equal those of tomllib's result (a
property test holds it to that). It never fails: what it cannot read it skips, for
tomllib says what is wrong there. A path is a tuple of keys and, for the elements
of arrays, indices from 0.

Grammar: the TOML 1.0.0 specification.
"""

from __future__ import annotations

import string
from dataclasses import dataclass, field

Path = tuple[str | int, ...]

_BARE = frozenset(string.ascii_letters + string.digits + "_-")
_ESCAPES = {"b": "\b", "t": "\t", "n": "\n", "f": "\f", "r": "\r", '"': '"', "\\": "\\"}
_DEEPEST = 60  # arrays in arrays; deeper ones are skipped


@dataclass
class Scan:
    """lines: key path -> line, from 1. duplicates: path, first line, line of the repeat.
    statements: first and last line of each header or key with its value."""

    lines: dict[Path, int] = field(default_factory=dict)
    duplicates: list[tuple[Path, int, int]] = field(default_factory=list)
    statements: list[tuple[int, int]] = field(default_factory=list)


def scan(text: str) -> Scan:
    """Key paths of a TOML text with their lines."""
    return _Scanner(text.replace("\r\n", "\n")).run()


class _Unsound(Exception):
    """Not TOML; the rest of the line is skipped."""


class _Scanner:
    def __init__(self, text: str) -> None:
        self.text = text
        self.at = 0
        self.line = 1
        self.counted = 0  # characters up to here are counted in `line`
        self.found = Scan()
        self.prefix: Path = ()
        self.arrays: dict[Path, int] = {}  # arrays of tables: elements so far
        self.headers: set[Path] = set()
        self.values: set[Path] = set()

    def run(self) -> Scan:
        while self._skip_blank():
            first = self._line()
            try:
                if self._char() == "[":
                    self._header(first)
                else:
                    self._pair(self.prefix, first, 0)
            except _Unsound:
                pass
            self._skip_line()
            self.found.statements.append((first, self._line()))
        return self.found

    # ------------------------------------------------------------- statements

    def _header(self, line: int) -> None:
        array = self.text.startswith("[[", self.at)
        self.at += 2 if array else 1
        keys = self._dotted()
        if not self.text.startswith("]]" if array else "]", self.at):
            raise _Unsound
        path: Path = ()
        for key in keys[:-1]:
            path = (*path, key)
            self.found.lines.setdefault(path, line)
            path = self._newest(path)
        path = (*path, keys[-1])
        if array:
            self.found.lines.setdefault(path, line)
            if path in self.values or path in self.headers:
                self._repeat(path, line)
            index = self.arrays.get(path, 0)
            self.arrays[path] = index + 1
            path = (*path, index)
        elif path in self.headers or path in self.values or path in self.arrays:
            self._repeat(path, line)
            path = self._newest(path)
        else:
            self.headers.add(path)
        self.found.lines[path] = line
        self.prefix = path

    def _newest(self, path: Path) -> Path:
        """Inside an array of tables, a header speaks of its newest element."""
        return (*path, self.arrays[path] - 1) if path in self.arrays else path

    def _pair(self, prefix: Path, line: int, depth: int) -> None:
        path = prefix
        keys = self._dotted()
        for key in keys[:-1]:
            path = (*path, key)
            self.found.lines.setdefault(path, line)
        path = (*path, keys[-1])
        if path in self.found.lines:
            self._repeat(path, line)
        self.found.lines.setdefault(path, line)
        self.values.add(path)
        if self._char() != "=":
            raise _Unsound
        self.at += 1
        self._skip_spaces()
        self._value(path, depth)

    def _repeat(self, path: Path, line: int) -> None:
        self.found.duplicates.append((path, self.found.lines[path], line))

    # ----------------------------------------------------------------- values

    def _value(self, path: Path, depth: int) -> None:
        if depth > _DEEPEST:
            raise _Unsound
        char = self._char()
        if char in ('"', "'"):
            self._string()
        elif char == "[":
            self._array(path, depth)
        elif char == "{":
            self._table(path, depth)
        else:
            stop = "#\n" if depth == 0 else ",]}#\n"
            while self.at < len(self.text) and self.text[self.at] not in stop:
                self.at += 1

    def _array(self, path: Path, depth: int) -> None:
        self.at += 1
        index = 0
        while self._skip_blank() and self._char() != "]":
            element = (*path, index)
            self.found.lines[element] = self._line()
            self._value(element, depth + 1)
            index += 1
            self._skip_blank()
            if self._char() == ",":
                self.at += 1
            elif self._char() != "]":
                raise _Unsound
        self.at += 1

    def _table(self, path: Path, depth: int) -> None:
        self.at += 1
        while self._skip_blank() and self._char() != "}":
            self._pair(path, self._line(), depth + 1)
            self._skip_blank()
            if self._char() == ",":
                self.at += 1
            elif self._char() != "}":
                raise _Unsound
        self.at += 1

    def _string(self) -> str:
        """Read a string of any of the four kinds; escapes are resolved for keys."""
        quote = self._char()
        whole = quote * 3 if self.text.startswith(quote * 3, self.at) else quote
        self.at += len(whole)
        got: list[str] = []
        while self.at < len(self.text):
            char = self.text[self.at]
            if self.text.startswith(whole, self.at):
                self.at += len(whole)
                for _ in range(2 if len(whole) == 3 else 0):
                    if self._char() == quote:  # one or two quotes may end the text itself
                        got.append(quote)
                        self.at += 1
                return "".join(got)
            if char == "\n" and len(whole) == 1:
                break
            if char == "\\" and quote == '"':
                got.append(self._escape())
            else:
                got.append(char)
                self.at += 1
        raise _Unsound

    def _escape(self) -> str:
        char = self.text[self.at + 1 : self.at + 2]
        digits = {"u": 4, "U": 8}.get(char, 0)
        self.at += 2 + digits
        if not digits:
            return _ESCAPES.get(char, "")
        try:
            return chr(int(self.text[self.at - digits : self.at], 16))
        except (ValueError, OverflowError):
            raise _Unsound from None

    # ------------------------------------------------------------------- keys

    def _dotted(self) -> list[str]:
        keys = []
        while True:
            self._skip_spaces()
            if self._char() in ('"', "'"):
                keys.append(self._string())
            else:
                start = self.at
                while self._char() in _BARE:
                    self.at += 1
                if start == self.at:
                    raise _Unsound
                keys.append(self.text[start : self.at])
            self._skip_spaces()
            if self._char() != ".":
                return keys
            self.at += 1

    # ------------------------------------------------------------------ space

    def _char(self) -> str:
        return self.text[self.at : self.at + 1]

    def _line(self) -> int:
        self.line += self.text.count("\n", self.counted, self.at)
        self.counted = max(self.counted, self.at)
        return self.line

    def _skip_spaces(self) -> None:
        while self._char() in (" ", "\t"):
            self.at += 1

    def _skip_line(self) -> None:
        end = self.text.find("\n", self.at)
        self.at = len(self.text) if end < 0 else end

    def _skip_blank(self) -> bool:
        """Skip space, line ends and comments; False at the end of the text."""
        while self.at < len(self.text):
            if self.text[self.at] == "#":
                self._skip_line()
            elif self.text[self.at] in " \t\n\r":
                self.at += 1
            else:
                return True
        return False
