"""Every example in the docstrings of the circuit' room holds."""

from __future__ import annotations

import doctest
import importlib
import pkgutil

import pytest
import steadyturn.circuit

MODULES = sorted(m.name for m in pkgutil.iter_modules(steadyturn.circuit.__path__))


@pytest.mark.parametrize("name", MODULES)
def test_doctests(name: str) -> None:
    module = importlib.import_module(f"steadyturn.circuit.{name}")
    assert doctest.testmod(module).failed == 0


def test_there_are_examples() -> None:
    finder = doctest.DocTestFinder()
    found = [test for name in MODULES
             for test in finder.find(importlib.import_module(f"steadyturn.circuit.{name}"))
             if test.examples]
    assert len(found) > 8
