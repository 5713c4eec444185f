"""Operating points against scipy's brentq on equations written out separately."""

from __future__ import annotations

import itertools
from dataclasses import replace

import numpy as np
import pytest
from independent import Machine
from random_rigs import random_rig
from scipy.optimize import brentq
from steadyturn.model.point import operate
from steadyturn.rig.types import Protection, Switch

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


def idle_v(rig, pace: float) -> float | None:
    """Highest node volts at which an idle bus can stand with its board on: from the EMF
    down in small steps, then brentq. None: there are none that the board can live on."""
    machine = Machine(rig, pace)
    emf = rig.bank.series * machine.k * machine.speed
    least = rig.supply.drop_v + rig.supply.off_v

    def spare(volts: float) -> float:
        taken = machine.board(volts) + volts / rig.bus.bleed_ohm
        return machine.node(taken / rig.bank.parallel) - volts

    steps = [least + (emf - least) * (1 - (n / 400) ** 2) for n in range(401)]
    for above, volts in itertools.pairwise(steps):
        if emf > least and spare(volts) >= 0:
            return brentq(spare, volts, above, xtol=1e-14, rtol=1e-15)
    return None


def test_idle_bus_with_its_board() -> None:
    """Also where the board's current stands at the knee of the drops."""
    seen = 0
    for seed in (*range(20), 165, 166, 225, 262, 276, 287, 305, 328, 336):
        rig = random_rig(seed)
        if rig.supply.feed != "crank":
            continue
        rig = replace(rig, protection=Protection(), switch=Switch(place="bus_switch"))
        pace = np.linspace(15, 120, 30)
        at = operate(rig, pace, connected=False)
        for one, volts, board_w in zip(pace, at.node_v, at.losses_w["board_supply"], strict=True):
            there = idle_v(rig, one)
            assert (there is not None) == (board_w > 0), (rig, one)
            seen += there is not None
            assert there is None or abs(volts - there) < 1e-9, (rig, one)
    assert seen > 300


def test_what_the_independent_solver_covers() -> None:
    """The random rigs reach every regime, so that the comparison means something."""
    seen = {str(regime) for seed in range(150)
            for regime in np.unique(operate(random_rig(seed), np.linspace(5, 150, 30)).regime)}
    assert seen == {"idle", "regulating", "limited", "dropout", "pass_through", "collapse"}
