"""From bytes to a TOML tree with lines, and every syntax error put in plain words.

`tomllib` stops at the first error. Where the faulty statement stands on one line,
it is blanked and the rest is read too, so that all the errors are told at once.
"""

from __future__ import annotations

import re
import tomllib
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from steadyturn.errors import Problem, WrongInput
from steadyturn.rig.lines import Scan, scan
from steadyturn.rig.values import shown

BIGGEST = 200_000  # bytes; a full rig file with comments has some 10,000
_NEW = "'steadyturn new FILE' writes a rig file."
_MOST_ERRORS = 25


def read_text(path: Path, what: str = "rig file", new: str = _NEW) -> str:
    """The file's text; WrongInput for anything that is no readable text file. what: the kind
    of file in words; new: how to get one."""

    def wrong(right: str, how: str = "") -> WrongInput:
        return WrongInput(Problem(str(path), "", "", right, how))

    try:
        if path.is_dir():
            raise wrong(f"this is a folder, not a {what}.", "Name the .toml file in it.")
        if path.exists() and not path.is_file():  # reading a pipe or a device may never end
            raise wrong(f"this is a device or a pipe, not a {what}.",
                        "Save the text to a file and name that.")
        with path.open("rb") as file:
            raw = file.read(BIGGEST + 1)
    except FileNotFoundError:
        raise wrong("there is no such file.", new) from None
    except (OSError, ValueError) as error:  # ValueError: a NUL in the name
        reason = getattr(error, "strerror", None) or str(error)
        raise wrong(f"it cannot be read: {reason}.") from None
    if len(raw) > BIGGEST:
        raise wrong(f"too big for a {what}: it has more than {BIGGEST // 1000} kB.",
                    f"A {what} is a short text. " + new)
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = raw.count(b"\n", 0, error.start) + 1
        raise WrongInput(Problem(
            f"{path}:{line}", "", "", f"not UTF-8 text: byte 0x{raw[error.start]:02x}.",
            "Save it from a text editor with the encoding UTF-8.")) from None


def is_parts_file(path: Path) -> bool:
    """Whether a file looks like a drawer for `size`, with several motors or converters to
    choose from, and not like a rig."""
    return _has(path, r"^\s*\[\[\s*(motor|converter)\s*\]\]")


def is_rig_file(path: Path) -> bool:
    """Whether a file looks like a rig: one motor and one converter."""
    return _has(path, r"^\s*\[\s*motor\s*\]") and _has(path, r"^\s*\[\s*converter\s*\]")


def _has(path: Path, line: str) -> bool:
    try:
        with path.open("rb") as file:
            text = file.read(BIGGEST).decode("utf-8", "replace")
    except (OSError, ValueError):
        return False
    return re.search(line, text, re.M) is not None


@dataclass
class Loaded:
    """tree: None where it could not be read at all. lost: lines left out of it for their
    syntax. headless: a section's header is among them, so what is missing is not known."""

    tree: dict[str, Any] | None
    found: Scan
    problems: list[Problem]
    lost: set[int]
    headless: bool = False


def load(text: str, name: str, arrays: tuple[str, ...] = ("stage",)) -> Loaded:
    """The tree of a text with its lines, and every syntax problem. arrays: sections that
    stand in double brackets, once for each."""
    text = text.removeprefix("\ufeff").replace("\r\n", "\n")
    got = Loaded(None, scan(text), [], set())
    repeats = {again: (path, first) for path, first, again in got.found.duplicates}
    for again, (path, first) in repeats.items():
        got.problems.append(Problem(
            f"{name}:{again}", dotted(path), "", f"given twice; the first is on line {first}.",
            f"Write [[{path[-1]}]] for each." if path[-1] in arrays else "Keep one of them."))
    while True:
        try:
            got.tree = tomllib.loads(text)
            return got
        except RecursionError:
            got.problems.append(Problem(f"{name}:1", "", "", "brackets inside brackets too deep.",
                                        "A rig file needs at most three."))
            return got
        except ValueError as error:  # TOMLDecodeError is one; so is an int of 5,000 digits
            line = _line_of(error, text)
            if line not in repeats:
                source = text.split("\n")[line - 1]
                got.problems.append(_syntax_problem(error, source, f"{name}:{line}"))
        without = _blank(text, line, got.lost)
        if without is None or len(got.problems) >= _MOST_ERRORS:
            return got
        got.headless |= line not in repeats and text.split("\n")[line - 1].lstrip()[:1] == "["
        text = without


def _line_of(error: ValueError, text: str) -> int:
    at = re.search(r"at line (\d+)", str(error))
    if at:
        return int(at[1])
    if "int" in str(error) and "digits" in str(error):
        long = re.search(r"\d{4000}", text.replace("_", ""))
        return text.count("\n", 0, long.start()) + 1 if long else 1
    return max(1, len(text.rstrip("\n").split("\n")))


def _blank(text: str, line: int, lost: set[int]) -> str | None:
    """Without the statement on `line`, of a header with its whole section; None where it
    does not stand on that line alone. Adds the lines to `lost`."""
    rows = text.split("\n")
    statements = scan(text).statements
    for number, (first, last) in enumerate(statements):
        if first != line:
            continue
        end = last
        if rows[first - 1].lstrip().startswith("["):
            following = [f for f, _ in statements[number + 1 :]
                         if rows[f - 1].lstrip().startswith("[")]
            end = following[0] - 1 if following else len(rows)
        elif first != last:
            return None
        lost |= set(range(first, end + 1))
        rows[first - 1 : end] = [""] * (end - first + 1)
        return "\n".join(rows)
    return None


_SLIPS = (
    (r'=\s*[-+]?\d+,\d+\s*(#.*)?$', "numbers have a decimal point, not a comma."),
    (r'=\s*[-+]?[\d.]+\s*[A-Za-z%°Ωµ]+', "a number stands alone; its unit ends the key."),
    (r'=\s*[-+]?\.\d', "a number begins with a digit: 0.5, not .5"),
    (r'=\s*[-+]?\d+\.\s*(#.*)?$', "a number ends with a digit: 5 or 5.0, not 5."),
    (r'=\s*[-+]?0\d', "a number does not begin with extra zeros."),
    (r'=\s*(True|False|TRUE|FALSE|yes|no|Yes|No|on|off)\b', "true or false, in small letters."),
    (r'[“”„‘’«»]', 'quotes are the plain " of the keyboard.'),
    (r'^\s*[^=#\[]+:', "a key and its value are joined by =, not by a colon."),
    (r'=\s*(#.*)?$', "there is no value behind the = sign."),
    (r'^\s*[\w.-]+\s*(#.*)?$', "a line is 'key = value' or a [section]."),
    (r'=\s*"[^"]*(#.*)?$', "a quote is opened and not closed on the line."),
    (r'=\s*[A-Za-z][\w ,-]*\s*(#.*)?$', 'text stands in quotes: "like this".'),
    (r'^\s*\[+[^\]]*$', "a section's bracket is not closed."),
)


def _syntax_problem(error: ValueError, source: str, where: str) -> Problem:
    for pattern, right in _SLIPS:
        if re.search(pattern, source):
            return Problem(where, "", "", right, f"The line reads: {_short(source)}")
    said = re.sub(r"\s*\(at [^)]*\)", "", str(error).split(";")[0])
    return Problem(where, "", "", f"not TOML here: {said[:1].lower()}{said[1:]}.",
                   f"The line reads: {_short(source)}" if source.strip() else
                   "Look at the lines above for an open bracket or quote.")


def _short(source: str) -> str:
    return shown(source.strip())[1:-1]


def dotted(path: tuple[str | int, ...]) -> str:
    """("stage", 0, "ratio") -> "stage[1].ratio": elements counted from 1."""
    text = ""
    for part in path:
        if isinstance(part, int):
            text += f"[{part + 1}]"
        else:
            text += ("." if text else "") + shown(part)[1:-1]
    return text if len(text) <= 80 else text[:77] + "..."
