"""Operating points per second, and against scipy's brentq called point by point on the
same equations. Run by hand:

    python tests/speed/point_speed.py [POINTS]

A point is the whole answer of `operate`: idle state and running state, regime, account of
all losses. The loop around brentq finds the running current alone (the equations of
tests/host/model/independent.py, bracketed from no current to the source's fold), so that
it has the easier task; `solved` is ours for that task. Closed form: the same rig without
brush and diode drops and with a board fed otherwise, where the power balance is a
quadratic. Every ratio is measured in one run; both answers are compared.
"""

from __future__ import annotations

import resource
import sys
import time
from dataclasses import replace
from pathlib import Path

ROOT = Path(__file__).parents[2]
sys.path[:0] = [str(ROOT / p) for p in ("host", "firmware", "tests/host/model")]

import numpy as np  # noqa: E402
from independent import Machine  # noqa: E402
from scipy.optimize import brentq  # noqa: E402
from steadyturn.model.band import find_band  # noqa: E402
from steadyturn.model.pair import Pair  # noqa: E402
from steadyturn.model.point import CHUNK, operate  # noqa: E402
from steadyturn.rig.examples import example_path  # noqa: E402
from steadyturn.rig.file import read_rig  # noqa: E402

LOOP = 300  # points of the slow loop in each round
ROUNDS = 7
RIGS = ("lakeside-hut", "night-ferry", "radio-tent")
WANTED_PER_S, WANTED_RATIO, WANTED_CLOSED = 1e6, 40.0, 200.0


def seconds(action):
    """CPU time of one call: what others do on this machine counts less."""
    began = time.process_time()
    action()
    return time.process_time() - began


def by_brentq(rig, paces):
    """Current of one motor [A] at each pace, one brentq each."""
    found = []
    for pace in paces.tolist():
        machine = Machine(rig, pace)
        emf = rig.bank.series * machine.k * machine.speed
        fold = emf / (2 * rig.bank.series * machine.ohm)
        found.append(brentq(machine.excess, 0.0, fold, xtol=1e-13, rtol=1e-12))
    return np.array(found)


def plain(rig):
    """The rig without what makes the balance more than a quadratic."""
    return replace(rig, motor=replace(rig.motor, brush_drop_v=0.0),
                   rectifier=replace(rig.rectifier, kind="none"),
                   supply=replace(rig.supply, feed="cell"))


def solve(rig, paces):
    """Currents and regimes of the running state alone."""
    for start in range(0, paces.size, CHUNK):
        Pair(rig, paces[start:start + CHUNK], np.array([20.0])).found  # noqa: B018


def compare(name, rig, paces, count):
    """Points per s, and how many times slower the loop is than the whole answer and than
    the current alone, shortest of some rounds."""
    few = np.linspace(*paces, LOOP)
    many = np.linspace(*paces, count)
    assert np.allclose(operate(rig, few).motor_a, by_brentq(rig, few), rtol=1e-8), name
    whole, alone, slow = [], [], []
    for _ in range(ROUNDS):  # by turns, so that all see the same machine
        whole.append(seconds(lambda: operate(rig, many)) / count)
        alone.append(seconds(lambda: solve(rig, many)) / count)
        slow.append(seconds(lambda: by_brentq(rig, few)) / LOOP)
    ratio, bare = min(slow) / min(whole), min(slow) / min(alone)
    print(f"{name:22} {1e-6 / min(whole):5.2f} million points/s; brentq "
          f"{1e6 * min(slow):3.0f} us: {ratio:4.0f} x slower, {bare:4.0f} x than solved")
    return 1 / min(whole), ratio, bare


def sweep(rig, count):
    """From rest to 150 turns/min, through every state."""
    pace = np.linspace(0, 150, count)
    return min(seconds(lambda: operate(rig, pace)) for _ in range(ROUNDS))


def main():
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 200_000
    rates, ratios, closed = [], [], []
    for name in RIGS:
        rig = read_rig(example_path(name))
        band = find_band(rig, deep=False)
        assert band.low_tpm
        assert band.high_tpm
        paces = (1.02 * band.low_tpm, band.high_tpm)
        rate, ratio, _ = compare(name, rig, paces, count)
        rates.append(rate)
        ratios.append(ratio)
        closed.append(compare("  without drops", plain(rig), paces, count)[2])
        rates.append(count / sweep(rig, count))
        print(f"{'  0-150 turns/min':22} {rates[-1] / 1e6:5.2f} million points/s")
    rig = read_rig(example_path("lakeside-hut"))
    small, large = count // 10, count * 10
    growth = sweep(rig, large) / sweep(rig, small)
    memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"{small} to {large} points: {growth:.0f} times the time for 100 times the points "
          f"({memory:.0f} MB at most)")
    for what, worst, wanted in (("points/s", min(rates), WANTED_PER_S),
                                ("times brentq", min(ratios), WANTED_RATIO),
                                ("times brentq, closed form", min(closed), WANTED_CLOSED)):
        print(f"worst {what}: {worst:.3g} (wanted {wanted:.3g})"
              f"{'' if worst >= wanted else '  MISSED'}")


if __name__ == "__main__":
    main()
