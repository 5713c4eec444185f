"""Operating points against scipy's brentq on equations written out separately."""

from __future__ import annotations

import numpy as np
import pytest
from independent import Machine
from random_rigs import random_rig
from steadyturn.model.point import operate

TOLERANCE = 1e-6


def compare(seed: int) -> tuple[bool, str]:
    """Whether this seed could be judged (at least 1 % from a fold or threshold), and what
    is wrong with it."""
    rig = random_rig(seed)
    pace = 20 + 110 * ((seed * 0.6180339887) % 1)
    near = [Machine(rig, pace * share).solve() for share in (0.99, 1.0, 1.01)]
    at = operate(rig, pace)
    runs = [one.runs for one in near]
    if len(set(runs)) > 1:
        return False, ""
    ours = str(at.regime)
    if not runs[1]:
        return True, "" if ours in ("idle", "collapse") else f"{ours} where nothing runs"
    there = near[1]
    pairs = {name: (float(getattr(at, name)), getattr(there, name))
             for name in ("motor_a", "bus_v", "bus_a", "arm_w")}
    wrong = [f"{name} {a} not {b}" for name, (a, b) in pairs.items()
             if not abs(a - b) <= TOLERANCE * abs(b) + 1e-12]
    if ours != there.regime and near[0].regime == near[2].regime:
        wrong.append(f"{ours} not {there.regime}")
    return True, "; ".join(wrong) and f"{pace} turns/min: {'; '.join(wrong)}\n{rig}"


def check(seeds: range) -> None:
    judged, wrong = 0, []
    for seed in seeds:
        fit, message = compare(seed)
        judged += fit
        if message:
            wrong.append(f"seed {seed}: {message}")
    assert not wrong, "\n".join(wrong[:3]) + f"\n{len(wrong)} of {judged}"
    assert judged > 0.9 * len(seeds)


def test_share_of_the_random_rigs() -> None:
    check(range(120))


@pytest.mark.soak
def test_all_random_rigs() -> None:
    check(range(1000))


def test_residual_at_the_fold() -> None:
    """Right at the fold a root is ill-conditioned in volts; its power balance is not."""
    for seed in range(60):
        rig = random_rig(seed)
        pace, first = np.linspace(1.0, 150.0, 120), 0
        for _ in range(7):
            runs = operate(rig, pace).bus_a > 0
            if runs.all() or not runs.any() or runs[0]:
                break
            first = int(np.argmax(runs))
            pace = np.linspace(pace[first - 1], pace[first], 120)
            # the last pace runs, the first does not
        if not first:
            continue
        high = float(pace[-1])
        at = operate(rig, high)
        machine = Machine(rig, high)
        lost = at.losses_w["converter"]
        balance = at.in_v * at.bus_a - at.converter_v * at.out_a - lost
        assert abs(balance) < 1e-12
        residual = machine.excess(float(at.motor_a))
        slides = str(at.regime) == "pass_through" or at.losses_w["clamp"] > 0
        assert slides or abs(residual) < 1e-7 * (1 + at.bus_a), (rig, high, residual)


def test_what_the_independent_solver_covers() -> None:
    """The random rigs reach every regime, so that the comparison means something."""
    seen = {str(regime) for seed in range(150)
            for regime in np.unique(operate(random_rig(seed), np.linspace(5, 150, 30)).regime)}
    assert seen == {"idle", "regulating", "limited", "dropout", "pass_through", "collapse"}
