"""Every example in the docstrings and on the page of the power path holds."""

from __future__ import annotations

import doctest
import importlib
import pkgutil
from pathlib import Path

import pytest
import steadyturn.circuit

MODULES = sorted(m.name for m in pkgutil.iter_modules(steadyturn.circuit.__path__))


@pytest.mark.parametrize("name", MODULES)
def test_doctests(name: str) -> None:
    module = importlib.import_module(f"steadyturn.circuit.{name}")
    assert doctest.testmod(module).failed == 0


def test_the_page() -> None:
    page = Path(steadyturn.circuit.__path__[0], "circuit.md")
    found = doctest.testfile(str(page), module_relative=False)
    assert found.failed == 0
    assert found.attempted > 5


def test_there_are_examples() -> None:
    finder = doctest.DocTestFinder()
    found = [test for name in MODULES
             for test in finder.find(importlib.import_module(f"steadyturn.circuit.{name}"))
             if test.examples]
    assert len(found) > 8
