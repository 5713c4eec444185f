"""Bursts: kept apart from other samples, and the resistance with an interval that holds."""

from __future__ import annotations

from math import sqrt

import numpy as np
import pytest
from page_maker import STEADY, make_page
from steadyturn.sessions.burst import bursts, resistance
from steadyturn.sessions.decode import decode
from steadyturn.sessions.figures import review
from steadyturn.sessions.outings import spans
from steadyturn_fw import pages as layout

TICK_S, DT = 0.02, 0.0002
POWER_W, SECOND_OHM = 3.25, 47.0
BUS_F = 1e-3
UNITS = (2, 1)  # 4 mV and 2 mA


def machine(ohm, slope_ohm, lag_s, seed):
    """Bus volts and amps of 23 ticks as an INA226 shows them, each the mean of the last of its
    cycles of 10.6 ms that is over: an EMF behind ohm, that an arm lets sag by slope_ohm with
    lag_s; a converter; the second load for 8 ticks."""
    chance = np.random.default_rng(seed)
    emf = 8.6 * (1 + 0.03 * chance.uniform(-1, 1))
    drift = 0.1 * chance.uniform(-1, 1)  # V/s
    volts, at_rest, sag = emf, 0.0, 0.0
    for _ in range(60):
        at_rest = POWER_W / volts
        volts = (volts + emf - ohm * at_rest) / 2
    read, window, cycle = [], [], None
    cycle_steps = round(0.010624 * chance.uniform(0.95, 1.05) / DT)
    phase = int(chance.integers(cycle_steps))
    for n in range(23 * round(TICK_S / DT)):
        t = n * DT
        on = 8 <= int(t / TICK_S + 1e-9) < 16
        sensed = POWER_W / volts + (volts / SECOND_OHM if on else 0.0)
        source = max(0.0, (emf + drift * t - sag - volts) / ohm)
        sag += (slope_ohm * (source - at_rest) - sag) * DT / lag_s
        volts += (source - sensed) / BUS_F * DT
        window.append((volts, sensed))
        if (n + phase) % cycle_steps == 0 and window:
            cycle = np.mean(window, axis=0)
            window.clear()
        if (n + 1) % round(TICK_S / DT) == 0:
            read.append(cycle)
    noise = chance.normal(0, (1.5e-3, 0.5e-3), (23, 2))
    return np.array(read) + noise


def page(readings, seq=2, t0_ms=20_000):
    samples = [(round(1000 * v) + 2 >> 2, round(1000 * a) + 1 >> 1, 130, 0, 0, layout.HOLD, 1,
                layout.VALID) for v, a in readings]
    return make_page(seq, t0_ms=t0_ms, samples=samples, shifts=UNITS, flags=layout.FLAG_BURST,
                     events=[(layout.EV_LOAD_STEP, 16, 1), (layout.EV_LOAD_STEP, 32, 0)],
                     version=layout.VERSION_WIDER, totals={"on": 23, "connected": 23})


def fitted(readings, **more):
    (burst,) = bursts(decode(page(readings)))
    return resistance(burst, capacitor_f=BUS_F, **more)


def test_a_held_pace_gives_the_resistance_itself():
    for ohm in (0.8, 2.7, 4.0):
        found = fitted(machine(ohm, 0.0, 0.05, seed=3), held=True)
        assert found.ohm == pytest.approx(ohm, rel=0.03)
        assert found.low_ohm <= ohm <= found.high_ohm
        assert found.high_ohm - found.low_ohm < 0.15 * ohm
        assert found.step_a > 0.1


@pytest.mark.parametrize("lag_s", [0.005, 0.02, 0.06, 0.2])
def test_the_interval_holds_whatever_the_arm_does(lag_s):
    """95 % are asked for; of 30 machines at least 27 (binomial: below that in 2 of 100)."""
    inside = 0
    for seed in range(30):
        chance = np.random.default_rng(seed + 100)
        ohm, slope_ohm = chance.uniform(0.8, 3.0), chance.uniform(0.3, 3.0)
        found = fitted(machine(ohm, slope_ohm, lag_s, seed))
        inside += found.low_ohm <= ohm <= found.high_ohm
    assert inside >= 27


def test_what_cannot_be_told_apart_is_not_claimed():
    """An arm that gives way within a tick looks like resistance; a slow one does not."""
    quick = fitted(machine(2.7, 3.0, 0.004, seed=1))
    slow = fitted(machine(2.7, 3.0, 0.3, seed=1))
    assert quick.high_ohm - quick.low_ohm > 2.0
    assert slow.high_ohm - slow.low_ohm < 1.2
    assert slow.ohm == pytest.approx(2.7, rel=0.15)


def test_no_step_or_half_a_burst_tells_nothing():
    steady = machine(2.7, 0.0, 0.05, seed=3)[:1].repeat(23, axis=0)
    assert fitted(steady) is None
    half = make_page(2, samples=[STEADY] * 9, flags=layout.FLAG_BURST,
                     events=[(layout.EV_LOAD_STEP, 16, 1)], version=layout.VERSION_WIDER)
    assert bursts(decode(half)) == []


def test_a_burst_is_not_counted_twice():
    whole = {"energy_in": 9_200_000, "on": 23, "connected": 23}
    first = make_page(1, samples=[STEADY] * 23, totals=whole, t0_ms=16_000)
    last = make_page(3, samples=[STEADY] * 23, t0_ms=20_600,
                     totals={"energy_in": 18_400_000, "on": 46, "connected": 46})
    burst = page(machine(2.7, 0.0, 0.05, seed=3))
    burst = bytearray(burst)
    layout.put(burst, layout.AT_ENERGY_IN, 6, 9_200_000)
    crc = layout.Crc()
    crc.feed(burst, 0, layout.AT_CRC)
    crc.store(burst, layout.AT_CRC)
    plain, with_one = decode(first + last), decode(first + bytes(burst) + last)
    assert len(with_one.samples) == len(plain.samples) == 46
    assert len(with_one.bursts) == 23
    assert np.diff(with_one.bursts["t_ms"]).tolist() == [20] * 22
    assert with_one.missing == ()
    a, b = review(plain), review(with_one)
    for name in ("energy_in_j", "on_s", "connected_s", "turning_s", "cue_s", "mean_pace_tpm"):
        assert getattr(a, name) == getattr(b, name), name
    assert b.check.agrees == a.check.agrees
    # a boot that ends with a burst ends where its samples end
    (span,) = spans(decode(first + bytes(burst)))
    assert span.end_ms == 16_000 + 4_600


def test_slips_in_the_review():
    flags = layout.FLAG_PACE_MEASURED
    raw = make_page(1, samples=[STEADY] * 23, totals={"on": 23}, flags=flags)
    raw += make_page(2, t0_ms=4600, samples=[STEADY] * 23, totals={"on": 46}, flags=0,
                     events=[(layout.EV_SLIP, 10, 1250), (layout.EV_SLIP, 300, 0)])
    found = review(decode(raw))
    assert (found.pace_kind, found.slips, found.slip_permille) == ("partly measured", 2, 0)
    only = review(decode(make_page(1, samples=[STEADY] * 23, totals={"on": 23}, flags=flags)))
    assert (only.pace_kind, only.slips) == ("measured", 0)
    assert sqrt(only.slip_permille) != only.slip_permille  # none: not a number
