"""No function that a tick can reach has a frame so large that it comes from the heap.

A locked heap and mem_total() see what a test runs; this sees every branch, also those that run
once in a year: from Loop.tick on, whatever a name can mean is followed.
"""

from __future__ import annotations

import ast
from functools import cache
from pathlib import Path

import pytest

from firmware_interpreters import FIRMWARE, scratch
from frames_of import MOST_WORDS, compiled

FILES = sorted((FIRMWARE / "steadyturn_fw").glob("*.py"))
# what a tick calls but no steady one, with the reason
NOT_STEADY = {
    "Sensor.start": "a lost chip is looked for once a second: it sets the bus up anew",
    "Link._who": "asked by a host once: what is left is collected",
    "Link._settings": "likewise",
    "Link._page": "likewise",
    "Bench.fill": "likewise",
}
# at boot, after the tick's edge: the flash, or what a host asks for of a bench. A tick in a
# locked heap does not get there.
APART = {"main", "note", "settings", "recovery", "reading", "store", "summary", "thinning",
         "writing", "bench_answers", "step"}
SCOPES = (ast.FunctionDef, ast.ClassDef, ast.Lambda, ast.ListComp, ast.GeneratorExp, ast.SetComp,
          ast.DictComp)


def scopes(node: ast.AST, inside: str = "") -> list[tuple[str, ast.AST]]:
    """All that is compiled by itself, in the order in which it is."""
    found: list[tuple[str, ast.AST]] = []
    for child in ast.iter_child_nodes(node):
        if isinstance(child, SCOPES):
            name = inside + getattr(child, "name", "<inner>")
            found += [(name, child), *scopes(child, name + ".")]
        else:
            found += scopes(child, inside)
    return found


@cache
def functions() -> dict[str, tuple[int, frozenset[str]]]:
    """file.Class.name -> words of its frame, words that it calls."""
    found = {}
    for path in FILES:
        frames = compiled(path, scratch()).frames[1:]
        named = scopes(ast.parse(path.read_text()))
        assert len(frames) == len(named), path.name
        for words, (name, node) in zip(frames, named, strict=True):
            if isinstance(node, ast.ClassDef):
                continue
            calls = [n.func for n in ast.walk(node) if isinstance(n, ast.Call)]
            used = {n.attr for n in calls if isinstance(n, ast.Attribute)}
            used |= {n.id for n in calls if isinstance(n, ast.Name)}
            found[f"{path.stem}.{name}"] = words, frozenset(used)
    return found


def short(name: str) -> str:
    return name.split(".", 1)[1]


def reached(*starts: str) -> set[str]:
    everything = functions()
    by_word: dict[str, list[str]] = {}
    for name in everything:
        if name.split(".")[0] not in APART:
            by_word.setdefault(name.rsplit(".", 1)[1], []).append(name)
    todo = [name for name in everything if short(name) in starts]
    assert len(todo) == len(starts)
    seen = set(todo)
    while todo:
        for word in everything[todo.pop()][1]:
            for name in by_word.get(word, []):
                if name not in seen and short(name) not in NOT_STEADY:
                    seen.add(name)
                    todo.append(name)
    return seen


def test_the_reader_knows_a_large_frame(tmp_path: Path) -> None:
    path = tmp_path / "known.py"
    path.write_text("def small(a, b):\n    return a + b\n\ndef large(a, b, c, d, e, f):\n"
                    "    g = a + b\n    return small(a, g * (b + c * (d + e * f)))\n\n"
                    "def tried(a):\n    try:\n        return a\n    except OSError:\n"
                    "        return 0\n")
    words = compiled(path, tmp_path).frames[1:]
    assert words[0] <= 5
    assert words[1] > MOST_WORDS
    assert words[2] >= 1 + 3


@pytest.mark.parametrize("start", ["Loop.tick", "Loop.idle", "Link._state"])
def test_no_frame_of_a_tick_comes_from_the_heap(start: str) -> None:
    found = reached(start)
    assert len(found) > 20 or start != "Loop.tick"
    large = {name: functions()[name][0] for name in found if functions()[name][0] > MOST_WORDS}
    assert not large, f"words above {MOST_WORDS}: fewer locals, or two functions"


def test_what_is_left_out_is_there() -> None:
    names = {short(name) for name in functions()}
    assert set(NOT_STEADY) <= names
