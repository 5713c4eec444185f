"""Bursts of many outings: the arm differs, the machine does not, and its interval shrinks."""

from __future__ import annotations

from dataclasses import replace
from math import exp, log

import numpy as np
import pytest
from steadyturn.model import bank, gears
from steadyturn.rig.examples import example_path
from steadyturn.rig.file import read_rig
from steadyturn.rig.types import RPM
from steadyturn.sessions.burst import ARM_S, bursts, resistance, sagging
from steadyturn.sessions.burst_pool import SLOPES, known_slopes, pooled, slope_of
from steadyturn.sessions.decode import decode
from steadyturn.sessions.learned import Taught, learn
from steadyturn.sessions.lesson import Lesson
from test_burst import BUS_F, machine, page

EMF_V_S, EFFICIENCY = 1.4, 0.8


def outing(chance, ohm, inertia, times=3):
    """What the bursts of one outing tell."""
    return pooled(bursts_of(chance, ohm, inertia, times), capacitor_f=BUS_F)


def bursts_of(chance, ohm, inertia, times=3):
    """Bursts of one outing: an arm of another droop each."""
    slope = slope_of(EMF_V_S, EFFICIENCY, inertia)
    found = []
    while len(found) < times:
        lag_s = inertia / exp(chance.normal(log(0.9), 0.5))
        read = machine(ohm, slope * lag_s, lag_s, int(chance.integers(1 << 30)))
        if np.isfinite(read).all() and read.min() > 0:  # else it collapsed: no burst
            found += bursts(decode(page(read)))
    return found


def known(told, guess=None):
    """(low, value, high) of what these outings teach; guess: c as a rig's inertia tells it."""
    weights = known_slopes(guess, 2.0, [one.evidence for one in told])
    lessons = [Lesson("source_ohm", "second_load", one.log_ohm, one.sd, one.evidence, 0.0, 0.1,
                      60.0, 0.0, one.count) for one in told]
    hut = read_rig(example_path("lakeside-hut"))
    if guess is not None:  # of that inertia
        emf_v_s = bank.emf_v_per_tpm(hut) / RPM
        inertia = emf_v_s**2 / (gears.efficiency(hut.stages) * guess)
        hut = replace(hut, motor=replace(hut.motor, inertia_kg_m2=0.0),
                      crank=replace(hut.crank, inertia_kg_m2=inertia))
    rig = replace(hut, air=replace(hut.air, cold_c=20.0, hot_c=20.0), origins={})
    learned = learn([Taught(n, float(n), "", (one,)) for n, one in enumerate(lessons)], rig)[0]
    return weights, (learned.low, learned.value, learned.high)


def test_many_lags_at_once_are_each_as_alone():
    (burst,) = bursts(decode(page(machine(2.0, 1.0, 0.05, 3))))
    y, moves = sagging(burst, burst.amps, ARM_S[:3], 0.002)
    for n, lag_s in enumerate(ARM_S[:3]):
        alone, moved = sagging(burst, burst.amps, float(lag_s), 0.002)
        assert y[:, n] == pytest.approx(alone)
        assert moves[:, n] == pytest.approx(moved)


def test_a_heavy_handle_tells_its_resistance_and_its_slope():
    chance = np.random.default_rng(2)
    told = [outing(chance, 2.0, 0.08, times=2) for _ in range(3)]
    true = slope_of(EMF_V_S, EFFICIENCY, 0.08)
    weights, (low, value, high) = known(told, 1.5 * true)
    assert value == pytest.approx(2.0, rel=0.15)
    assert low < 2.0 < high
    likely = float(np.exp(weights @ np.log(SLOPES)))
    assert likely == pytest.approx(true, rel=0.25)


def test_a_known_inertia_tells_more_than_none():
    chance = np.random.default_rng(5)
    (one,) = [outing(chance, 2.0, 0.03, times=2)]

    def spread(weights):
        middle = weights @ np.array(one.log_ohm)
        return float(np.sqrt(weights @ (np.array(one.log_ohm) - middle) ** 2))

    true = slope_of(EMF_V_S, EFFICIENCY, 0.03)
    assert spread(known_slopes(true, 1.5, [one.evidence])) < spread(
        known_slopes(None, 1.0, [one.evidence]))


def test_nothing_in_them_teaches_nothing():
    (flat,) = bursts(decode(page(machine(2.0, 0.0, 0.05, 3)[:1].repeat(23, axis=0))))
    assert pooled([flat], capacitor_f=BUS_F) is None
    assert pooled([], capacitor_f=BUS_F) is None


@pytest.mark.soak
@pytest.mark.timeout(1800)
def test_intervals_over_many_outings_shrink_and_hold():
    """Random machines of 10-100 g m2, the rig's slope known within a factor of two; for those of
    30 and more a tenth outing halves what a single burst leaves open, and more."""
    widths, inside = {1: [], 10: []}, {1: 0, 10: 0}
    alone = []
    machines = 40
    for seed in range(machines):
        chance = np.random.default_rng(seed)
        ohm, inertia = chance.uniform(0.8, 3.0), exp(chance.uniform(log(0.01), log(0.1)))
        guess = slope_of(EMF_V_S, EFFICIENCY, inertia) * exp(chance.normal(0, log(2) / 1.96))
        made = [bursts_of(chance, ohm, inertia) for _ in range(10)]
        told = [pooled(one, capacitor_f=BUS_F) for one in made]
        for count, found in widths.items():
            _, (low, _, high) = known(told[:count], guess)
            inside[count] += low <= ohm <= high
            if inertia >= 0.03:
                found.append((high - low) / ohm)
        if inertia >= 0.03:
            one = resistance(made[0][0], capacitor_f=BUS_F)
            alone.append((one.high_ohm - one.low_ohm) / ohm)
    median = {count: float(np.median(found)) for count, found in widths.items()}
    print(f"width over R: a burst {np.median(alone):.2f}, outings {median}; "
          f"inside of {machines}: {inside}")
    assert median[10] < 0.85 * median[1] < 0.85 * np.median(alone)
    assert min(inside.values()) >= 0.9 * machines


@pytest.mark.soak
@pytest.mark.timeout(1800)
def test_gears_that_lose_more_are_seen_and_others_are_not():
    """Twenty outings of handles of 20-100 g m2; the efficiency falls by 35 % from the sixth on."""
    odds = {0.0: [], 0.35: []}
    for falls, found in odds.items():
        for seed in range(12):
            chance = np.random.default_rng(seed)
            ohm, inertia = chance.uniform(0.8, 3.0), exp(chance.uniform(log(0.02), log(0.1)))
            told = [outing(chance, ohm, inertia * (1 - falls * max(0, n - 5) / 15))
                    for n in range(20)]
            lessons = [Lesson("source_ohm", "second_load", one.log_ohm, one.sd, one.evidence, 0.0,
                              0.1, 60.0, 0.0, one.count) for one in told]
            learned = learn([Taught(n, float(n), "", (one,)) for n, one in enumerate(lessons)],
                            None)
            slope = next(one for one in learned if one.name == "slope")
            found.append(slope.odds if slope.trend != "falling" else 0.0)
    print({falls: np.round(sorted(found), 1).tolist() for falls, found in odds.items()})
    assert max(odds[0.0]) < 15
    assert np.median(odds[0.35]) > 10
