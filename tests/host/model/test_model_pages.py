"""The pages of the model and its code say the same."""

from __future__ import annotations

import dataclasses
import doctest
import fnmatch
import importlib
import inspect
import io
import pkgutil
import re
import tokenize
from pathlib import Path

import pytest
import steadyturn.model
from steadyturn.rig.types import PARTS, Rig, Stage, specs

MODEL = Path(next(iter(steadyturn.model.__path__)))
RIG = MODEL.parent / "rig"
MODULES = {m.name for m in pkgutil.iter_modules(steadyturn.model.__path__)}
ROWS = re.findall(r"^\| \[(\w+\.md)\]\(\1\) \| ([^|]*) \|", (MODEL / "README.md").read_text(),
                  re.MULTILINE)
COVERS = {page: sorted(name for pattern in re.findall(r"`([\w*]+)`", modules)
                       for name in fnmatch.filter(MODULES, pattern)) for page, modules in ROWS}
PAGES = sorted(COVERS)
SECTIONS = ("Equations", "Symbols", "Source", "Valid", "Left out")

UNIT = re.compile(r"\[[^\]\d]+\]|turns/min|\w+_(tpm|v|a|w|c|nm|s)\b|[Ss]hare|[Ww]atts|volts"
                  r"|Motor turns|Turns of|Power out|[Tt]he same|at each pace|Pace of|elementwise")


def text(page: str) -> str:
    return (MODEL / page).read_text()


def module(name: str):
    return importlib.import_module(f"steadyturn.model.{name}")


def words() -> set[str]:
    """Every name and every word in a string of the model and the rig's types."""
    found: set[str] = set(MODULES)
    for path in (*MODEL.glob("*.py"), *RIG.glob("*.py")):
        for token in tokenize.generate_tokens(io.StringIO(path.read_text()).readline):
            if token.type == tokenize.NAME:
                found.add(token.string)
            elif token.type == tokenize.STRING:
                found.update(re.findall(r"\w+", token.string))
    return found


KNOWN = words()


def part(name: str) -> type | None:
    """The rig's part of that name in the file; stages are numbered."""
    return Stage if re.fullmatch(r"stage\[\d+\]", name) else PARTS.get(name)


def test_every_module_has_a_page() -> None:
    covered = [name for modules in COVERS.values() for name in modules]
    assert sorted(covered) == sorted(MODULES)
    assert {path.name for path in MODEL.glob("*.md")} == {*PAGES, "README.md"}


def is_there(page: str, section: str) -> bool:
    """As a heading, or as the bold words that open a paragraph."""
    return re.search(rf"^(#+ .*\b{section}\b|\*\*{section}\b)", text(page),
                     re.MULTILINE | re.IGNORECASE) is not None


@pytest.mark.parametrize("page", PAGES)
def test_sections(page) -> None:
    missing = {section for section in SECTIONS if not is_there(page, section)}
    tests = doctest.DocTestParser().get_examples(text(page))
    if not tests:
        missing.add("example")
    assert not missing


@pytest.mark.parametrize("page", PAGES)
def test_examples_run(page) -> None:
    assert doctest.testfile(str(MODEL / page), module_relative=False).failed == 0


@pytest.mark.parametrize("page", PAGES)
def test_names_in_backticks_exist(page) -> None:
    """`part.key` is a key of the rig file, `module.name` a name of the model, others a name
    or a word of their sources."""
    wrong = []
    for inside in re.findall(r"`([^`\n]+)`", text(page)):
        if inside.endswith((".md", ".py")):
            good = (MODEL / inside).exists()
        elif dotted := re.fullmatch(r"(\w+(?:\[\d+\])?)\.(\w+)", inside):
            prefix, name = dotted.groups()
            names: set[str] = set()
            if kind := part(prefix):
                names |= {spec.key for spec in specs(kind).values()}
                names |= {field.name for field in dataclasses.fields(kind)}
            if prefix in MODULES:
                names |= set(vars(module(prefix)))
            good = name in names if names else {prefix, name} <= KNOWN
        elif re.fullmatch(r"\w+", inside):
            good = inside in KNOWN
        else:
            good = True
        if not good:
            wrong.append(inside)
    assert not wrong


@pytest.mark.parametrize("page", PAGES)
def test_units_of_rig_keys(page) -> None:
    """In a table of symbols a rig key is followed by its unit in the file."""
    table = text(page).partition("## Symbols")[2].partition("\n## ")[0]
    wrong = []
    for prefix, key, unit in re.findall(r"`(\w+(?:\[\d+\])?)\.(\w+)`(?: \(([^)]*)\))?", table):
        kind = part(prefix)
        assert kind is not None, prefix
        spec = next((spec for spec in specs(kind).values() if spec.key == key), None)
        if spec is None or unit != (spec.unit or "-"):
            wrong.append((f"{prefix}.{key}", unit, spec and spec.unit))
    assert not wrong


@pytest.mark.parametrize("page", PAGES)
def test_constants(page) -> None:
    """`NAME = 1.23` is the constant of one of the page's modules."""
    for name, value in re.findall(r"`([A-Z][A-Z0-9_]*) = ([^`]+)`", text(page)):
        held = [getattr(module(one), name) for one in COVERS[page] if hasattr(module(one), name)]
        assert held, name
        assert held[0] == float(value), name


def public(name: str):
    return [(key, what) for key, what in vars(module(name)).items()
            if not key.startswith("_") and getattr(what, "__module__", "") == module(name).__name__
            and (inspect.isfunction(what) or inspect.isclass(what))]


@pytest.mark.parametrize("name", sorted(MODULES))
def test_public_names_are_described(name) -> None:
    """Module, classes and functions have a docstring, functions an example in it."""
    assert module(name).__doc__
    bare, plain = set(), set()
    for key, what in public(name):
        told = what.__doc__ or ""
        if not told or told.startswith(f"{key}("):  # what dataclasses make up
            bare.add(key)
        elif inspect.isfunction(what) and ">>>" not in told:
            plain.add(key)
    assert not bare
    assert not plain


@pytest.mark.parametrize("name", sorted(MODULES))
def test_numbers_have_units(name) -> None:
    """A function that takes or gives numbers says in which unit."""
    silent = set()
    for key, what in public(name):
        if inspect.isfunction(what):
            kinds = " ".join(str(kind) for kind in what.__annotations__.values())
            told = (what.__doc__ or "").partition(">>>")[0]
            if re.search(r"Floats|ArrayLike|float", kinds) and not UNIT.search(told):
                silent.add(key)
    assert not silent


def test_the_rig_has_no_part_without_a_page() -> None:
    """Each part of a rig that the model reads has keys on some page; the board is the
    firmware's, and what is printed is the gears'."""
    told = "\n".join(text(page) for page in PAGES)
    parts = {field.name for field in dataclasses.fields(Rig)} & set(PARTS)
    assert not {name for name in parts - {"board", "gears"} if f"`{name}." not in told}
