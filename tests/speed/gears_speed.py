"""How fast `gears` searches, and how long a train's files take. Run by hand:

    python tests/speed/gears_speed.py

The same task with wider and wider tolerance: combinations, and the time for each thousand of
them once the table of stages is there. Then the bodies and all files of one train.
"""

from __future__ import annotations

import sys
import tempfile
import time
from dataclasses import replace
from pathlib import Path

ROOT = Path(__file__).parents[2]
sys.path[:0] = [str(ROOT / p) for p in ("host", "firmware", "tests/host/gears")]

from gear_tasks import task  # noqa: E402
from steadyturn.gears import search, stages  # noqa: E402
from steadyturn.jobs import gears_files  # noqa: E402
from steadyturn.jobs.gears import gears_of  # noqa: E402
from steadyturn.rig.examples import example_path  # noqa: E402

GOAL_S, GOAL_COUNT = 2.0, 100_000
GOAL_FILES_S = 1.0


def seconds(call, rounds: int = 3) -> float:
    best = float("inf")
    for _ in range(rounds):
        start = time.process_time()
        call()
        best = min(best, time.process_time() - start)
    return best


def main() -> None:
    base = task()
    start = time.process_time()
    stages.stages(base.given.pressure_rad)
    table = time.process_time() - start
    print(f"table of stages: {table:.2f} s of processor, once")
    for tolerance in (0.005, 0.01, 0.02, 0.045, 0.1):
        wide = replace(base, tolerance=tolerance)
        count = search.search(wide)[1]
        took = seconds(lambda wide=wide: search.search(wide))
        print(f"{count:8,} combinations: {took:.2f} s, {1e6 * took / count:.1f} us each")
        if count >= GOAL_COUNT and took + table > GOAL_S:
            sys.exit(f"more than {GOAL_S} s")
    result = gears_of(example_path("lakeside-hut"), listed=False)
    with tempfile.TemporaryDirectory() as folder:
        whole = seconds(lambda: gears_files.write(result, Path(folder)))
    bodies = seconds(lambda: gears_files.parts(result.chosen, result.given))
    print(f"one train: bodies {bodies:.2f} s, all files {whole:.2f} s (goal {GOAL_FILES_S})")


if __name__ == "__main__":
    main()
