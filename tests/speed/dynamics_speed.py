"""The machine in time: against real time, against scipy's integrators, for long, for many.

    python tests/speed/dynamics_speed.py [SECONDS OF THE BATCH]

One scene: an arm brings a buck's machine up from rest with the load connected, it starts, and
runs on with the arm's ripple. scipy integrates equations of its own, on plain floats, without
algebraic loops (the inductance makes the current a state), with the converter's thresholds as
its events. Times are the least of some runs of this process; ratios are what counts.
"""

import sys
import time
from dataclasses import replace
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1] / "host" / "model"))
from dynamics_rigs import BUCK, Droops, rig
from dynamics_whole import Whole
from steadyturn.model.dynamics import Machine
from steadyturn.model.dynamics_batch import Machines, ServoHands
from steadyturn.model.traces import STEP_S, Script, record
from steadyturn.rig.types import Supply

SECONDS = 20.0
SAMPLE_S = 2 * STEP_S
SCENE = rig(supply=Supply(feed="usb"), bus__capacitor_f=4.7e-3,
            converter=replace(BUCK, soft_start_s=0.01, start_v=8.0))
HAND = Droops(1.3, 80, ripple=0.3)
REST = (0.0, 0.0, 0.0, 0.0, 0.0)


def least(function, times=5):
    """Shortest of some runs [s], and what the last gave."""
    best, gave = float("inf"), None
    for _ in range(times):
        start = time.process_time()
        gave = function()
        best = min(best, time.process_time() - start)
    return best, gave


def machine_for(seconds, step_s=STEP_S):
    machine = Machine(SCENE, winding_c=20.0, step_s=step_s)
    machine.advance(seconds, HAND, True, True)
    return machine


def sampled():
    """Bus volts every SAMPLE_S, not timed."""
    machine = Machine(SCENE, winding_c=20.0, step_s=STEP_S)
    volts = []
    for n in range(1, round(SECONDS / SAMPLE_S) + 1):
        machine.advance(n * SAMPLE_S, HAND, True, True)
        volts.append(machine.state.bus_v)
    return np.array(volts)


def scipy_for(method, seconds):
    return Whole(SCENE, 20.0, HAND).run(REST, seconds, method=method, rtol=1e-6, atol=1e-6,
                                        max_step=np.inf)


def one_machine():
    failed = []
    times = {}
    for step_s in (0.002, STEP_S):
        times[step_s], machine = least(lambda s=step_s: machine_for(SECONDS, s))
        speed = SECONDS / times[step_s]
        print(f"one machine, steps of {step_s * 1e3:g} ms: {speed:.0f} times real time, "
              f"{times[step_s] / SECONDS * step_s * 1e6:.1f} us a step")
    volts = sampled()
    if SECONDS / times[STEP_S] < 300:
        failed.append("less than 300 times real time")
    spent, _ = least(lambda: record(SCENE, Script.keep(80), SECONDS), 3)
    print(f"a trace of a hand, 100 samples a second: {SECONDS / spent:.0f} times real time")
    late = round(3 / SAMPLE_S)  # samples: from 3 s on
    for method in ("BDF", "LSODA"):
        spent, (_, t, y) = least(lambda m=method: scipy_for(m, SECONDS), 2)
        at = np.interp(np.arange(1, len(volts) + 1) * SAMPLE_S, t, y[2])
        energy = machine.account.arm_j / y[5, -1] - 1
        out = machine.account.out_j / y[6, -1] - 1
        high = volts[late:].max() / at[late:].max() - 1
        low = volts[late:].min() / at[late:].min() - 1
        ratio = spent / times[STEP_S]
        print(f"{method}, rtol 1e-6: the machine is {ratio:.0f} times quicker; energy of the arm "
              f"{energy:+.3%}, of the device {out:+.3%}, highest volts {high:+.2%}, lowest "
              f"{low:+.2%}")
        if method == "BDF" and ratio < 20:
            failed.append("less than 20 times BDF")
        if max(abs(energy), abs(out)) > 0.001 or max(abs(high), abs(low)) > 0.01:
            failed.append(f"apart from {method}")
    return failed


def growth():
    print("growth:", end=" ")
    per_s = []
    for seconds in (5.0, 50.0, 500.0):
        spent, _ = least(lambda s=seconds: machine_for(s), 5 if seconds < 100 else 2)
        per_s.append(spent / seconds)
        print(f"{seconds:g} s in {spent * 1e3:.0f} ms", end="; ")
    print(f"a second costs {per_s[-1] / per_s[0]:.2f} times as much at 100 times the seconds")
    return ["not linear"] if per_s[-1] > 1.5 * per_s[0] else []


def many(seconds):
    """A thousand builds of one rig, each a little off, at paces of their own."""
    chance = np.random.default_rng(5)
    builds = []
    for _ in range(1000):
        k, ohm, farad = chance.normal(1, (0.05, 0.1, 0.1))
        builds.append(replace(
            SCENE, motor=replace(SCENE.motor, emf_v_s=SCENE.motor.emf_v_s * k,
                                 terminal_ohm=SCENE.motor.terminal_ohm * ohm),
            bus=replace(SCENE.bus, capacitor_f=SCENE.bus.capacitor_f * farad)))
    hands = ServoHands(chance.uniform(70, 95, 1000))

    def run():
        Machines(builds, step_s=STEP_S).advance(seconds, hands)

    spent, _ = least(run, 1 if seconds > 10 else 2)
    alone, _ = least(lambda: Machine(SCENE, step_s=STEP_S).advance(
        20.0, Steady(), True, True), 3)
    rate, one = 1000 * seconds / spent, 20.0 / alone
    print(f"1000 machines for {seconds:g} s: {rate:.0f} machine-seconds a second, "
          f"{rate / one:.1f} times one at a time")
    return ["the batch is no quicker"] if rate < one else []


class Steady:
    def torque_nm(self, t_s, theta_rad, crank_rad_s):
        push = 20.0 * (8.4 - crank_rad_s)
        return 30.0 if push > 30.0 else push if push > 0.0 else 0.0


if __name__ == "__main__":
    length = float(sys.argv[1]) if len(sys.argv) > 1 else 4.0
    wrong = one_machine() + growth() + many(length)
    if wrong:
        sys.exit("; ".join(wrong))
