"""One outing's update: its lessons out of its pages, and what forty have taught. Run by hand:

    python tests/speed/learn_speed.py
"""

from __future__ import annotations

import sys
import time
from pathlib import Path

import numpy as np

ROOT = Path(__file__).parents[2]
sys.path[:0] = [str(ROOT / p) for p in ("host", "firmware", "tests/host/sessions")]

from model_outings import Maker, wander  # noqa: E402
from steadyturn.sessions.decode import decode  # noqa: E402
from steadyturn.sessions.figures import review  # noqa: E402
from steadyturn.sessions.learned import Taught, learn  # noqa: E402
from steadyturn.sessions.lessons import lessons  # noqa: E402
from steadyturn_fw import pages as layout  # noqa: E402
from test_burst import machine  # noqa: E402

MOST_S = 0.05
BOOTS, OUTINGS = 3, 40


def median_s(work, times=9):
    took = []
    for _ in range(times):
        begin = time.process_time()
        work()
        took.append(time.process_time() - begin)
    return sorted(took)[times // 2]


def main():
    maker = Maker()
    for boot in range(BOOTS):  # ten minutes with a turn sensor, a burst a boot
        maker.boot_of(wander(200, maker.target, seed=boot), connected=np.arange(1000) > 100,
                      events=[(100, layout.EV_CONNECTED, 9000)],
                      flags=layout.FLAG_PACE_MEASURED)
        maker.burst(machine(2.7, 1.0, 0.05, boot))
    pages = decode(maker.raw)
    figures = review(pages, maker.settings)
    told = lessons(pages, maker.settings, figures)
    outings = [Taught(n, float(n), "", told) for n in range(OUTINGS)]
    own = median_s(lambda: lessons(pages, maker.settings, figures))
    whole = median_s(lambda: learn(outings, maker.rig))
    plain = median_s(lambda: review(decode(maker.raw), maker.settings))
    print(f"an outing's lessons {1000 * own:.0f} ms, what {OUTINGS} outings taught "
          f"{1000 * whole:.0f} ms (both at most {1000 * MOST_S:.0f}); "
          f"{(own + whole) / plain:.1f} times decoding it and its figures")
    if own + whole > MOST_S:
        sys.exit("too slow")


if __name__ == "__main__":
    main()
