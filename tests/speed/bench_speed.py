"""The fit of 200 readings with its intervals, of ten times fewer, and of three bursts round a load
step. Run by hand:

    python tests/speed/bench_speed.py
"""

from __future__ import annotations

import sys
import time
from dataclasses import replace
from pathlib import Path

ROOT = Path(__file__).parents[2]
sys.path[:0] = [str(ROOT / p) for p in ("host", "firmware", "tests/host/bench")]

from benches import recommended, world  # noqa: E402
from bursts import Bench, hut, machine_of  # noqa: E402
from steadyturn.bench import step  # noqa: E402
from steadyturn.bench.fit import fit  # noqa: E402
from steadyturn.bench.posterior import believe  # noqa: E402
from steadyturn.bench.result import analyse, constants_for  # noqa: E402
from steadyturn.bench.rows import make  # noqa: E402
from steadyturn.bench.setup import Setup  # noqa: E402

MOST_S = 0.5
MOST_STEP_S = 2.0  # nobody waits for it: there is one at the end of a bench of minutes


def many(count):
    one = world(4)
    items = []
    while len(items) < count:
        items += recommended(one).items
    return replace(recommended(one), items=tuple(items[:count]), where=("",) * count)


def median_s(work, times=7):
    took = []
    for _ in range(times):
        begin = time.process_time()
        work()
        took.append(time.process_time() - begin)
    return sorted(took)[times // 2]


def fitted(readings):
    rows = make(readings, Setup())
    return believe(rows, fit(rows, constants_for(Setup())))


def main():
    few, lots = many(20), many(200)
    short, long = median_s(lambda: fitted(few)), median_s(lambda: fitted(lots))
    whole = median_s(lambda: analyse(lots, Setup()))
    print(f"200 readings: {long:.3f} s (at most {MOST_S}), {long / short:.1f} times 20 readings; "
          f"with slips and proposals {whole:.3f} s")
    bench = Bench(hut(1e-3), seed=1)
    bursts = [bench.burst() for _ in range(3)]
    took = median_s(lambda: step.fit(bursts, machine_of(bench.rig)), times=3)
    print(f"three bursts: {took:.2f} s (at most {MOST_STEP_S}), {took / long:.1f} times 200 "
          "readings")
    if whole > MOST_S or took > MOST_STEP_S:
        sys.exit("too slow")


if __name__ == "__main__":
    main()
