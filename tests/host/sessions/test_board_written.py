"""Pages written by the board's own journal and totals, read and reviewed on the host.

The same run is summed here in floating point from each tick's readings: the reference for
totals, samples and figures.
"""

from __future__ import annotations

import math
import random
from types import SimpleNamespace

import numpy as np
import pytest
from steadyturn.sessions.decode import decode
from steadyturn.sessions.figures import review
from steadyturn_fw import pages as layout
from steadyturn_fw.journal import Journal
from steadyturn_fw.now import Now
from steadyturn_fw.tally import Tally

LOW, HIGH = 500, 750
SETTINGS = SimpleNamespace(
    coil="in", out_mv=5100, loss_uw=60_000, loss_mv=120, loss_mohm=180, path_mohm=250,
    percent_mj=800_000, out_shunt_uohm=0,
)


def crank(seed, seconds, bus_shift=2, amps_shift=0):
    """Run journal and totals for some minutes of an arm that wavers; returns the pages' bytes
    and the reference: joules, coulombs, turns, and each tick's readings."""
    rng = random.Random(seed)
    tally = Tally(SETTINGS)
    journal = Journal(tally, bus_shift, amps_shift, LOW, HIGH, 20)
    now = Now()
    now.volts = now.amps = True
    raw = []
    truth = {"in_j": 0.0, "out_j": 0.0, "c": 0.0, "turns": 0.0}
    ticks = []
    t_us = 0
    while t_us < seconds * 1e6:
        # 20 ms but for jitter and now and then a flash erase
        step_us = 20_000 + rng.randint(-400, 400) + (rng.random() < 0.004) * 45_000
        t_us += step_us
        # as the loop's clock: whole milliseconds, the rest waits for the next tick
        now.ms = t_us // 1000 - now.t_ms
        now.t_ms = t_us // 1000
        phase = t_us / 1e6
        pace = 62 + 14 * math.sin(phase / 9) + 3 * math.sin(phase * 13)
        now.pace_dtpm = now.raw_dtpm = round(pace * 10)
        now.connected = pace > 51
        now.bus_mv = round(pace * 110 + rng.gauss(0, 30))
        now.bus_ma = round(3.1e6 / now.bus_mv + rng.gauss(0, 6)) if now.connected else 0
        now.validity = layout.VALID if now.connected else layout.BOUND
        now.cue = layout.FASTER if pace < 50 else layout.HOLD if pace <= 75 else layout.SLOWER
        tally.add(now)
        journal.add(now)
        if journal.pending:
            raw.append(bytes(journal.closed))
            journal.pending = False
        dt = now.ms / 1e3
        amps = now.bus_ma / 1000
        watts = now.bus_mv / 1000 * amps
        truth["in_j"] += watts * dt
        truth["c"] += amps * dt
        if now.connected:
            left = watts - 0.06 - 0.12 * amps - 0.18 * amps**2
            truth["out_j"] += (left - 0.25 * (left / 5.1) ** 2) * dt
            truth["turns"] += now.raw_dtpm / 600 * dt
        ticks.append((now.t_ms, now.bus_mv, now.bus_ma, now.pace_dtpm, now.connected))
    journal.close(layout.FLAG_FADING)
    raw.append(bytes(journal.closed))
    return b"".join(raw), truth, ticks


@pytest.fixture(scope="module")
def outing():
    return crank(seed=5, seconds=150)


def test_totals_are_the_integral(outing):
    raw, truth, _ = outing
    pages = decode(raw)
    assert pages.damage == ()
    assert pages.missing == ()
    got = review(pages, {"percent_mj": SETTINGS.percent_mj, "low_dtpm": LOW, "high_dtpm": HIGH})
    # the same readings over the same times: only what is below one unit is left
    assert got.energy_in_j == pytest.approx(truth["in_j"], rel=1e-6)
    assert got.charge_mah * 3.6 == pytest.approx(truth["c"], rel=1e-6)
    assert got.turns == pytest.approx(truth["turns"], rel=1e-4)
    # the losses in whole numbers, against the formula in floating point
    assert got.energy_out_j == pytest.approx(truth["out_j"], rel=1e-3)
    assert got.percent == pytest.approx(got.energy_out_j / 800)
    assert not got.start_unknown
    assert [b.ended for b in got.boots] == ["faded"]


def test_samples_are_the_means_and_agree_with_the_totals(outing):
    raw, _, ticks = outing
    pages = decode(raw)
    samples = pages.samples
    table = np.array(ticks)
    # the board counts a tick to the time just before it
    begun = table[:, 0] - 20
    for i in range(0, len(samples) - 1, 7):
        s = samples[i]
        inside = table[(begun >= s["t_ms"]) & (begun < s["t_ms"] + layout.SAMPLE_MS)]
        if not len(inside):
            assert s["no_data"]
            continue
        assert abs(s["bus_mv"] - inside[:, 1].mean()) <= 4 / 2 + 0.51
        assert abs(s["bus_ma"] - inside[:, 2].mean()) <= 0.51
        assert abs(s["pace_tpm"] - inside[:, 3].mean() / 10) <= 0.31
        for mean, peak, column, unit in (("bus_mv", "bus_peak_mv", 1, 4),
                                         ("bus_ma", "amps_peak_ma", 2, 1)):
            # the largest code means "this or more"
            most = s[mean] + layout.EXCESS[-1] * unit
            assert s[peak] >= min(inside[:, column].max(), most)
            assert s[peak] <= 1.34 * inside[:, column].max() + 2 * unit
        assert s["connected"] == (inside[:, 4].mean() >= 0.5)
    got = review(pages, {"low_dtpm": LOW, "high_dtpm": HIGH})
    assert got.check.agrees
    assert got.check.pages >= len(pages.pages) - 2
    assert abs(got.check.energy_in_percent) < 2
    assert got.peak_v == table[:, 1].max() / 1000
    assert got.on_s == pytest.approx(len(samples[~samples["no_data"]]) * 0.2)
    assert got.pace_s["in_band"] == pytest.approx(got.band_s, abs=2)


@pytest.mark.parametrize("shifts", [(0, 0), (4, 2), (6, 5)])
def test_every_unit(shifts):
    raw, truth, _ = crank(seed=1, seconds=20, bus_shift=shifts[0], amps_shift=shifts[1])
    got = review(decode(raw))
    assert got.energy_in_j == pytest.approx(truth["in_j"], rel=1e-5)
    if shifts != (0, 0):  # at 1 mV a sample ends at 4.095 V and says so by being that
        assert got.check.agrees
    else:
        assert decode(raw).samples["bus_mv"].max() == 4095
