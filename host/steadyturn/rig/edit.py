"""Changes to a rig file: in its tree, to see what comes of them, and in its text, where comments
and order stay and what a line said before stands above the new one as a comment."""

from __future__ import annotations

import copy
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from steadyturn.errors import Failed
from steadyturn.rig import rules
from steadyturn.rig.file import Walk
from steadyturn.rig.lines import Path as KeyPath
from steadyturn.rig.lines import scan
from steadyturn.rig.toml_text import load
from steadyturn.rig.types import Rig


@dataclass(frozen=True)
class Edit:
    """One key of a section (("motor",), ("stage", 0)); value: as the file's reader takes it, a
    number, a text or a table such as {"measured": 1.3, "low": 1.2, "high": 1.4}; None: the key
    goes."""

    section: KeyPath
    key: str
    value: Any


@dataclass(frozen=True)
class Tables:
    """All [[name]] tables (("stage",), ("converter", "points")), replaced by these."""

    name: tuple[str, ...]
    rows: tuple[Mapping[str, Any], ...]


Change = Edit | Tables


def tree_of(text: str) -> dict[str, Any]:
    """The tree of a rig file that reads without a fault.

    >>> tree_of("[bank]\\nseries = 2\\n")
    {'bank': {'series': 2}}
    """
    return load(text, "").tree or {}


def rig_with(tree: Mapping[str, Any], changes: Iterable[Change], name: str = "") -> Rig | None:
    """The rig of a tree with these changes, None where a rig file may not say that. name: of
    the file."""
    made = copy.deepcopy(dict(tree))
    for change in changes:
        if isinstance(change, Tables):
            at = made
            for part in change.name[:-1]:
                at = at.setdefault(part, {})
            at.pop(change.name[-1], None)
            if change.rows:
                at[change.name[-1]] = [dict(row) for row in change.rows]
            continue
        node: Any = made
        for step in change.section:
            node = node.setdefault(step, {}) if isinstance(node, dict) else node[step]
        if change.value is None:
            node.pop(change.key, None)
        else:
            node[change.key] = change.value
    walk = Walk(name, {}, set(), headless=False)
    rig = walk.rig(made)
    return None if walk.problems or rules.faults(rig) else rig


def text_with(text: str, changes: Iterable[Change], on: str, name: str | Path) -> str:
    """The text with these changes. on: the date they are made, which stands before what was
    there; name: of the file. Failed where a section is in a form that cannot be kept (an inline
    table).

    >>> print(text_with("[bank]\\nseries = 2  # both\\n", [Edit(("bank",), "series", 3)],
    ...                 "2026-05-01", "my.toml"), end="")
    [bank]
    # until 2026-05-01: series = 2  # both
    series = 3
    """
    eol = "\r\n" if "\r\n" in text else "\n"
    for change in changes:
        if isinstance(change, Tables):
            lines = _tables(text, change, on, str(name))
        else:
            lines = _key(text, change, on, str(name))
        text = eol.join(lines)
    return text


def value_text(value: Any) -> str:
    """A value as the file has it.

    >>> value_text({"assumed": 0.9, "low": 0.85, "high": 0.95}), value_text("bridge")
    ('{ assumed = 0.9, low = 0.85, high = 0.95 }', '"bridge"')
    """
    import tomlkit  # slow to load

    if isinstance(value, dict):
        return "{ " + ", ".join(f"{k} = {value_text(v)}" for k, v in value.items()) + " }"
    return str(tomlkit.item(value).as_string())


def _key(text: str, edit: Edit, on: str, name: str) -> list[str]:
    new = None if edit.value is None else f"{edit.key} = {value_text(edit.value)}"
    return _line(text, edit.section, edit.key, new, on, name)


def text_with_line(text: str, section: KeyPath, key: str, new: str, on: str,
                   name: str | Path) -> str:
    """As text_with, for one key whose whole line is given."""
    eol = "\r\n" if "\r\n" in text else "\n"
    return eol.join(_line(text, section, key, new, on, str(name)))


def _line(text: str, section: KeyPath, key: str, new: str | None, on: str,
          name: str) -> list[str]:
    found, lines = scan(text), text.replace("\r\n", "\n").split("\n")
    head = found.lines.get(section)
    if head is None and len(section) == 1:
        if new is None:
            return lines
        while lines and not lines[-1].strip():
            lines.pop()
        return [*lines, "", f"[{section[0]}]", new, ""]
    if head is None or not lines[head - 1].lstrip().startswith("["):
        raise Failed(f"{name} has its [{section[0]}] in a form that cannot be changed in "
                     "place.", f"Write it by hand: {new or f'without {key}'}")
    at = found.lines.get((*section, key))
    if at is None:
        if new is not None:
            lines.insert(_end(found.statements, lines, head), new)
        return lines
    first, last = next((a, b) for a, b in found.statements if a <= at <= b)
    if not lines[first - 1].lstrip().startswith((key, f'"{key}"')):
        raise Failed(f"{name}:{at} cannot be changed in place.",
                     f"Write it by hand: {new or f'without {key}'}")
    before = _kept(lines, first, last, on)
    lines[first - 1 : last] = before if new is None else [*before, new]
    return lines


def _kept(lines: list[str], first: int, last: int, on: str) -> list[str]:
    """A statement as a comment."""
    return [f"# until {on}: {lines[first - 1].strip()}",
            *(f"#   {line.strip()}" for line in lines[first:last])]


def _tables(text: str, change: Tables, on: str, name: str) -> list[str]:
    found, lines = scan(text), text.replace("\r\n", "\n").split("\n")
    heads = [found.lines[(*change.name, i)] for i in range(len(lines))
             if (*change.name, i) in found.lines]
    if any(not lines[head - 1].lstrip().startswith("[[") for head in heads):
        raise Failed(f"{name} has its [[{'.'.join(change.name)}]] in a form that cannot be "
                     "changed in place.", "Write each as a table in double brackets.")
    new = []
    for row in change.rows:
        new += [f"[[{'.'.join(change.name)}]]",
                *(f"{key} = {value_text(value)}" for key, value in row.items()), ""]
    if not heads:
        return [*lines, *([""] if lines and lines[-1].strip() else []), *new]
    behind = 0
    for first, last in sorted(found.statements, reverse=True):
        if not any(head <= first <= _end(found.statements, lines, head) for head in heads):
            continue
        if not behind:
            behind = last
            lines[last:last] = ["", *new[:-1]] if new else []
        lines[first - 1 : last] = _kept(lines, first, last, on)
    return lines


def _end(statements: list[tuple[int, int]], lines: list[str], head: int) -> int:
    """The line after which a key of the section that begins at `head` may stand."""
    last = head
    for first, end in statements:
        if first <= head:
            continue
        if lines[first - 1].lstrip().startswith("["):
            break
        last = end
    return last
