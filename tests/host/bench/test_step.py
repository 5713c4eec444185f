"""R from quick bursts of a simulated machine: within 5 %, in its interval, or refused."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from bursts import Bench, hut, machine_of, true_ohm
from steadyturn.bench import step
from steadyturn.model import gears
from steadyturn.rig.types import RPM

CAPACITORS = (0.1e-3, 0.33e-3, 1e-3, 2.2e-3, 3.3e-3, 4.7e-3)
INERTIAS = (0.01, 0.03, 0.1)
CLOSE = 0.05


def fitted(rig, seed, count=2, share=1.15, **more):
    one = Bench(rig, seed=seed, **more)
    return step.fit([one.burst() for _ in range(count)], machine_of(rig, share))


@pytest.fixture(scope="module")
def burst():
    return Bench(hut(1e-3), seed=3).burst()


def test_a_burst_tells_resistance_capacitor_and_how_the_handle_gives_way(burst):
    rig = hut(1e-3)
    found = step.fit([burst], machine_of(rig, share=0.8))
    assert found.refused == ""
    assert found.ohm == pytest.approx(true_ohm(rig), rel=0.04)
    assert found.low_ohm < true_ohm(rig) < found.high_ohm
    assert found.share < CLOSE
    assert found.capacitor_f == pytest.approx(1e-3, rel=0.05)
    k = rig.motor.emf_v_s if rig.motor.emf_v_s else 3.06e-3 / RPM
    ratio = gears.ratio(rig.stages)
    gives = (rig.bank.series * k * ratio) ** 2 / (gears.efficiency(rig.stages) * 0.03)
    assert found.gives_ohm_s == pytest.approx(gives, rel=0.1)
    assert found.chord_ohm == pytest.approx(found.ohm, rel=1e-3)  # far above the drops' knees


def test_a_commutators_ripple_is_told_from_the_step(burst):
    rig = hut(1e-3)
    emf = burst.volts + true_ohm(rig) * burst.amps
    turned = np.cumsum(emf / emf.mean()) * 0.5e-3
    rippled = replace(burst, volts=burst.volts + 0.05 * np.sin(2 * np.pi * 231 * turned + 1))
    found = step.fit([rippled], machine_of(rig))
    assert found.refused == ""
    assert found.left < 1.3
    assert found.low_ohm < true_ohm(rig) < found.high_ohm
    assert found.ohm == pytest.approx(true_ohm(rig), rel=0.05)


def test_what_tells_nothing_is_refused(burst):
    machine = machine_of(hut(1e-3))
    assert step.fit([], machine).refused == "few"
    third = replace(burst, t_s=burst.t_s[:40], volts=burst.volts[:40], amps=burst.amps[:40])
    assert step.fit([third], machine).refused == "few"
    flat = replace(burst, amps=np.full_like(burst.amps, 0.25))
    assert step.fit([flat], machine).refused == "small"
    idle = replace(burst, amps=burst.amps - burst.amps.min())
    assert step.fit([idle], machine).refused == "blocked"
    shaken = replace(burst, volts=burst.volts + 0.3 * np.sin(6e4 * burst.t_s**2))
    assert step.fit([shaken], machine).refused == "structured"
    racing = replace(burst, volts=burst.volts * (1 + 4 * (burst.t_s - 0.01)))
    assert step.fit([racing], machine).refused == "unsteady"


def test_a_capacitor_that_is_too_slow_is_refused():
    assert fitted(hut(4.7e-3, 0.1), seed=1, count=1).refused == "slow"


@pytest.mark.soak
@pytest.mark.timeout(900)
def test_the_grid_of_capacitors_and_inertias():
    """R within 5 % over 0.1-4.7 mF and 0.01-0.1 kg m2, or a refusal, or an interval that says
    that it is not so near; three bursts, as the bench takes them."""
    close = said = inside = 0
    slow, lines = [], []
    for farad in CAPACITORS:
        for inertia in INERTIAS:
            for seed in range(5):
                rig = hut(farad, inertia)
                found = fitted(rig, seed, count=3, share=1 + 0.2 * np.sin(seed))
                off = found.ohm / true_ohm(rig) - 1
                inside += found.low_ohm <= true_ohm(rig) <= found.high_ohm
                if found.refused:
                    slow.append(farad)
                elif found.share > CLOSE:
                    said += 1
                else:
                    close += 1
                    lines.append((abs(off), farad, inertia, seed))
    total, refused = len(CAPACITORS) * len(INERTIAS) * 5, len(slow)
    print(f"\nstep: {total} machines: {close} within their interval of at most 5 %, {said} with a "
          f"wider one, {refused} refused; in the interval {inside / total:.1%}; worst "
          f"{max(lines)[0]:.2%}, median {np.median([x[0] for x in lines]):.2%}")
    assert max(lines)[0] <= CLOSE
    # 4.7 mF at 2.7 ohm are above 10 ms; 3.3 mF are at 8.9, and the range's end may be above
    assert min(slow) >= 3.3e-3
    assert refused <= 1.2 * total / len(CAPACITORS)
    assert close >= 0.75 * (total - refused)
    assert inside >= 0.92 * total


@pytest.mark.soak
@pytest.mark.timeout(900)
def test_random_machines():
    """Motors, arms, loads and paces drawn at random."""
    inside, shares, off = 0, [], []
    refused: dict[str, int] = {}
    count = 120
    for seed in range(count):
        rng = np.random.default_rng(seed)
        rig = hut(np.exp(rng.uniform(np.log(1e-4), np.log(4.7e-3))),
                  np.exp(rng.uniform(np.log(0.01), np.log(0.1))),
                  terminal_ohm=rng.uniform(0.5, 3.0), inductance_h=rng.uniform(0.2e-3, 3e-3))
        rig = replace(rig, arm=replace(rig.arm, droop_nm_s=np.exp(rng.uniform(np.log(0.3),
                                                                            np.log(2.0))),
                                       ripple=rng.uniform(0.1, 0.5)))
        found = fitted(rig, seed, count=3, share=rng.uniform(0.8, 1.2),
                       pace_tpm=rng.uniform(50, 90), first_ohm=rng.uniform(20, 60),
                       second_ohm=rng.uniform(12, 40))
        if found.refused:
            refused[found.refused] = refused.get(found.refused, 0) + 1
            continue
        inside += found.low_ohm <= true_ohm(rig) <= found.high_ohm
        shares.append(found.share)
        off.append(found.ohm / true_ohm(rig) - 1)
    told = np.array(shares) <= CLOSE
    off = np.abs(np.array(off))
    print(f"\nstep: {count} random machines, refused {refused}; of the other {len(off)} the "
          f"interval holds {inside / len(off):.1%}; {told.sum()} to 5 % or better: "
          f"{(off[told] <= CLOSE).mean():.1%} within 5 %, median {np.median(off[told]):.2%}, "
          f"worst {off[told].max():.2%}; half widths: median {np.median(shares):.1%}")
    assert inside >= 0.92 * len(off)
    assert (off[told] <= CLOSE).mean() >= 0.99
    assert sum(refused.values()) <= 0.3 * count
