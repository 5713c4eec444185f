"""Bands of many builds: against find_band one by one, in seconds, and how it grows.

    python tests/speed/batch_speed.py

Tolerance: 1e5 builds of an example with 28 values varied. Searching: 1e6 candidates that
differ in motor, bank, ratio and converter, coarse. Ratios are of times in this run; the
smallest of several counts, in seconds of this processor.
"""

import sys
import time

import numpy as np
from steadyturn.model.band import find_band
from steadyturn.model.batch import bands
from steadyturn.model.tolerance_draw import draw, values, varying
from steadyturn.rig.examples import example_path
from steadyturn.rig.file import read_rig

HUT = read_rig(example_path("lakeside-hut"))
LEAST_RATIO = {"tolerance": 5000.0, "search": 5000.0}  # at least so many times find_band


def least(function, times=3):
    """Seconds of this processor, the smallest of so many."""
    found = []
    for _ in range(times):
        start = time.process_time()
        function()
        found.append(time.process_time() - start)
    return min(found)


def builds(count):
    """At least so many builds by their tolerances, 28 values varied."""
    vary = varying(HUT)[:28]
    exponent = int(np.ceil(np.log2(count)))
    drawn = values(vary, draw(len(vary), 1 << exponent, 1))
    return {key: column[:count] for key, column in drawn.items()}


def candidates(count):
    """Wide apart: most of them do not work."""
    pick = np.random.default_rng(1)
    one = pick.uniform
    return {
        "motor.emf_v_per_krpm": HUT.motor.emf_v_s * one(0.4, 2.5, count),
        "motor.terminal_ohm": one(0.5, 8, count), "motor.no_load_a": one(0.03, 0.3, count),
        "bank.series": pick.integers(1, 5, count), "bank.parallel": pick.integers(1, 4, count),
        "train.ratio": one(5, 60, count), "train.efficiency": one(0.6, 0.85, count),
        "converter.start_v": one(3.2, 6, count), "converter.max_in_v": one(12, 30, count),
        "converter.loss_v": one(0.1, 0.5, count),
    }


def main():
    failed = []
    single = least(lambda: find_band(HUT, deep=False))
    print(f"find_band of one rig: {1000 * single:.0f} ms")
    for name, make, count, fine in (("tolerance", builds, 100_000, True),
                                    ("search", candidates, 1_000_000, False)):
        many = make(count)
        small = {key: column[:count // 100] for key, column in many.items()}
        whole = least(lambda many=many, fine=fine: bands(HUT, many, fine=fine,
                                                         target=not fine), 2)
        part = least(lambda small=small, fine=fine: bands(HUT, small, fine=fine,
                                                          target=not fine), 5)
        works = np.isfinite(bands(HUT, small, fine=fine, target=False).low_tpm).mean()
        ratio = single / (whole / count)
        print(f"{name}: {count} builds in {whole:.2f} s ({1e6 * whole / count:.1f} us each, "
              f"{100 * works:.0f} % have a band): {ratio:.0f} times find_band; a hundredth of "
              f"them takes 1/{whole / part:.0f} of it")
        if ratio < LEAST_RATIO[name]:
            failed.append(f"{name}: less than {LEAST_RATIO[name]:.0f} times")
        if not 40 < whole / part < 250:
            failed.append(f"{name}: does not grow in proportion")
    if failed:
        sys.exit("; ".join(failed))


if __name__ == "__main__":
    main()
