"""Property tests draw the same examples in every run; `-m soak` series draw their own seeds.
No test finds or touches the library of whoever runs them."""

import os

import pytest
from hypothesis import settings

# no time limit an example: on a busy machine it says nothing (pytest has its own for a test)
settings.register_profile("steady", derandomize=True, database=None, deadline=None)
settings.load_profile("steady")


@pytest.fixture(scope="session", autouse=True)
def _library_of_nobody(tmp_path_factory):
    os.environ["STEADYTURN_LIBRARY"] = str(tmp_path_factory.mktemp("library") / "none")
