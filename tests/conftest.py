"""Property tests draw the same examples in every run; `-m soak` series draw their own seeds.
No test finds or touches the library of whoever runs them. What stands on the model asks it once
a process for the same rig."""

import functools
import os
import pickle
from pathlib import Path

import pytest
from hypothesis import settings
from steadyturn.model import band

# no time limit an example: on a busy machine it says nothing (pytest has its own for a test)
settings.register_profile("steady", derandomize=True, database=None, deadline=None)
settings.load_profile("steady")

HOST = Path(__file__).parent / "host"
LONGEST = Path(__file__).parent / "soak"
# Hundreds of tests of commands ask for the bands of the same few rigs, half a second to one and
# a half each. These functions are pure, and what they return cannot be changed.
PURE = {name: getattr(band, name) for name in ("find_edges", "guesses", "remedies")}


def _once(function):
    known = {}

    @functools.wraps(function)
    def found(*asked):
        key = pickle.dumps(asked)  # every number as it is: 12 and 12.0 are not the same
        if key not in known:
            known[key] = function(*asked)
        return known[key]

    return found


ONCE = {name: _once(function) for name, function in PURE.items()}


def pytest_collection_modifyitems(items):
    """The few longest tests come first: last of all, one core would wait for the other."""
    items.sort(key=lambda item: LONGEST not in item.path.parents)


@pytest.hookimpl(tryfirst=True)
def pytest_runtest_setup(item):
    """The model's own tests, and those against other people's figures, get the functions."""
    standing_on_it = HOST in item.path.parents and HOST / "model" not in item.path.parents
    for name, function in (ONCE if standing_on_it else PURE).items():
        setattr(band, name, function)


@pytest.fixture(scope="session", autouse=True)
def _library_of_nobody(tmp_path_factory):
    os.environ["STEADYTURN_LIBRARY"] = str(tmp_path_factory.mktemp("library") / "none")
