"""The fit of 200 readings with its intervals, and of ten times fewer. Run by hand:

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
from steadyturn.bench.fit import fit  # noqa: E402
from steadyturn.bench.posterior import believe  # noqa: E402
from steadyturn.bench.result import analyse, constants_for  # noqa: E402
from steadyturn.bench.rows import make  # noqa: E402
from steadyturn.bench.setup import Setup  # noqa: E402

MOST_S = 0.5


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
    if whole > MOST_S:
        sys.exit("too slow")


if __name__ == "__main__":
    main()
