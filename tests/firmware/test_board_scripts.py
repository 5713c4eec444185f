"""Every test of on_board/, on each interpreter that a board may have."""

from __future__ import annotations

import pytest

from firmware_interpreters import SCRIPTS, names_in, verdict

NAMES = sorted(p.name for p in SCRIPTS.glob("check_*.py"))
# slow there; check_allocation presses the button and fits the second load on both builds in
# every run, and check_bench takes a step. The last three lock no heap, so that an integer which
# grew too large would not show in them: check_allocation meets the same faults of the bus with it
# locked; check_turn passes the wraps, and check_thinning and check_stream fill the journal.
SLOW_ON_32_BITS = {"check_burst.py", "check_button.py", "check_step.py",
                   "check_bus_faults.py", "check_journal.py", "check_wraps.py"}
UNIX_ONLY = {"check_memory_total.py"}  # asks the heap for figures that only this port has


@pytest.mark.parametrize(
    ("name", "test"), [(n, t) for n in NAMES for t in names_in(n)]
)
def test_unix_port(name: str, test: str) -> None:
    verdict("unix", name, test)


@pytest.mark.parametrize(
    ("name", "test"),
    [pytest.param(n, t, marks=[pytest.mark.soak] if n in SLOW_ON_32_BITS else [])
     for n in NAMES if n not in UNIX_ONLY for t in names_in(n)],
)
def test_32_bit_build(name: str, test: str) -> None:
    verdict("wasm", name, test)
