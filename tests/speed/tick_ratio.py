"""Tick time on the Unix port as a ratio to a bare two-register read through the same fake.

    python tests/speed/tick_ratio.py

Prints, for each state of the loop, the mean tick and the ratio; and what import and start
take of the heap. A ratio says how much the program adds to the one thing every logger does;
the fake costs the same in both, and no wire time is in either.
"""

from __future__ import annotations

import sys
from pathlib import Path

HERE = Path(__file__).parent
sys.path.insert(0, str(HERE.parent / "firmware"))

from firmware_interpreters import run  # noqa: E402

if __name__ == "__main__":
    print(run("unix", HERE / "on_tick_ratio.py", heap="1M"), end="")
