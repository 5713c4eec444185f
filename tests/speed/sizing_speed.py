"""How fast `size` searches, and that the work grows linearly. Run by hand:

    python tests/speed/sizing_speed.py

The same drawer with more and more motors: candidates from 10,000 to 100 times as many, the
time of each, and the peak of memory. Beside it the batch of bands on a sample of the same
machines, which is what searching without the heads' tables would cost.
"""

from __future__ import annotations

import sys
import time
import tracemalloc
from dataclasses import replace
from pathlib import Path

import numpy as np

ROOT = Path(__file__).parents[2]
sys.path[:0] = [str(ROOT / p) for p in ("host", "firmware")]

from steadyturn.model.batch import bands  # noqa: E402
from steadyturn.sizing.drawer import Build, rig_of  # noqa: E402
from steadyturn.sizing.heads import head_values  # noqa: E402
from steadyturn.sizing.parts_file import example_path, read_drawer  # noqa: E402
from steadyturn.sizing.search import MOST_BYTES, search  # noqa: E402

GOAL_S = 5.0  # for a million candidates
MANY = 12  # motors on a handle, so that each kind has 35 banks


def drawer(kinds: int):
    base = read_drawer(example_path("attic-drawer"), typical=True)
    motors = tuple(
        replace(motor, name=f"motor {i}", count=MANY, part=replace(
            motor.part, terminal_ohm=motor.part.terminal_ohm * (1 + 0.01 * (i // 9))))
        for i, motor in ((i, base.motors[i % len(base.motors)]) for i in range(kinds)))
    return replace(base, motors=motors, converters=base.converters[2:3],
                   limits=replace(base.limits, max_motors=MANY))


def best(action, times=3):
    """Shortest of several runs, in s, and the last result."""
    taken = []
    for _ in range(times):
        began = time.perf_counter()
        result = action()
        taken.append(time.perf_counter() - began)
    return min(taken), result


def main():
    search(drawer(1))  # the trains are made once
    rows = []
    for kinds in (1, 3, 10, 30, 100):
        of = drawer(kinds)
        taken, found = best(lambda of=of: search(of))
        tracemalloc.start()
        search(of)
        peak = tracemalloc.get_traced_memory()[1]
        tracemalloc.stop()
        rows.append((found.candidates, taken, peak))
        each = taken / found.candidates * 1e6
        print(f"{found.candidates:9,} candidates  {taken:6.3f} s  {each:5.2f} us each  "
              f"{peak / 1e6:5.1f} MB at most  {found.working:7,} work, {len(found.rows)} unbeaten")
    (few, short, _), (many, long_, peak) = rows[0], rows[-1]
    print(f"{many / few:.0f} times the work takes {long_ / short:.0f} times as long; "
          f"a million candidates {long_ / many * 1e6:.2f} s (goal {GOAL_S} s)")
    of = drawer(9)
    n = 20_000
    pick = np.random.default_rng(1)
    motor, series = pick.integers(0, 9, n), pick.integers(1, 5, n)
    values = head_values(of, motor, series, np.ones(n, dtype=np.int64))
    values["train.ratio"] = np.exp(pick.uniform(0, np.log(100), n))
    values["train.efficiency"] = np.full(n, 0.7)
    rig = rig_of(of, Build(0, 0, 1, 1, ((12, 12),)))
    each, _ = best(lambda: bands(rig, values, fine=False))
    print(f"one by one, by bands(fine=False), a candidate takes {each / n / (long_ / many):.0f} "
          "times as long")
    if peak > MOST_BYTES or long_ / many * 1e6 > GOAL_S:
        sys.exit("too slow, or too much memory")


if __name__ == "__main__":
    main()
