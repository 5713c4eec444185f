"""The examples in the model's docstrings run as written."""

from __future__ import annotations

import doctest
import importlib
import pkgutil

import pytest
import steadyturn.model

MODULES = [m.name for m in pkgutil.iter_modules(steadyturn.model.__path__)]


@pytest.mark.parametrize("name", MODULES)
def test_doctests(name) -> None:
    module = importlib.import_module(f"steadyturn.model.{name}")
    assert doctest.testmod(module).failed == 0


def test_there_are_some() -> None:
    examples = [test for name in MODULES for test in doctest.DocTestFinder().find(
        importlib.import_module(f"steadyturn.model.{name}")) if test.examples]
    assert len(examples) >= 10
