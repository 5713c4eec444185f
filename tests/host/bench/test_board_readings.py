"""Plateaus and load steps as a board takes them: what a fit makes of them. The truth's volts come
from the model's own functions."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from benches import BENCH
from bursts import hut
from steadyturn.bench import crest
from steadyturn.bench import readings as kinds
from steadyturn.bench.file import read_readings_text
from steadyturn.bench.result import analyse
from steadyturn.bench.setup import of_rig, peak_over_mean
from steadyturn.errors import WrongInput
from steadyturn.model import gears
from steadyturn.model import motor as physics
from steadyturn.rig.types import RPM

SENSOR = kinds.Sensor(volts=0.003, volts_off_v=0.009, amps=0.012, amps_off_a=0.0003)


def rig_with(rng):
    rig = hut(1e-3, 0.03)
    k = np.exp(rng.uniform(np.log(0.015), np.log(0.06)))
    ohm = np.exp(rng.uniform(np.log(0.7), np.log(4.0)))
    drop = 0.15 * np.exp(rng.normal(0, 0.3))
    return replace(rig, motor=replace(rig.motor, emf_v_s=k, terminal_ohm=ohm, brush_drop_v=drop))


def taken(rig, rng, by="beat", wrong=None):
    """The readings of one evening at `rig`, whose sensor and beat are off by one draw each."""
    volts_gain, amps_gain = (1 + rng.normal(0, x / 2) for x in (SENSOR.volts, SENSOR.amps))
    volts_off, amps_off = (rng.normal(0, x / 2) for x in (SENSOR.volts_off_v, SENSOR.amps_off_a))
    beat = 1 + (rng.normal(0, 0.012) if by == "beat" else 0.0)
    share = 0.02 if by == "beat" else 0.004
    factor, sigma = peak_over_mean(0)
    excess = factor - 1 + rng.normal(0, sigma)
    room = 20 + rng.normal(0, 1)
    ratio, bank = gears.ratio(rig.stages), rig.bank

    def bus_v(pace, amps, peak):
        each = amps / bank.parallel
        # peak and hold raise the EMF alone
        w = pace * RPM * ratio
        emf = float(physics.emf_constant_at(rig.motor, room)) * w * bank.series
        inner = emf - bank.series * float(physics.terminal_v(rig.motor, w, each, room))
        drop = rig.rectifier.drop_v * np.tanh(amps / rig.rectifier.knee_a)
        return emf * (1 + peak) - inner - drop

    def kept(pace, amps):
        emf = float(physics.emf_constant_at(rig.motor, room)) * pace * RPM * ratio * bank.series
        drawn = amps * rig.motor.terminal_ohm * bank.series / bank.parallel
        middle, loose = crest.expected(np.array(drawn / (emf * excess)))
        return float(middle + loose * wander)

    wander = rng.normal()
    items = []
    for pace, amps in ((65, 0.0), (80, 0.0), (55, 0.45), (65, 0.35), (80, 0.25), (65, 0.8),
                       (80, 0.7)):
        loaded = amps > 0
        source = amps + 0.002
        really = pace * beat * (1 + rng.normal(0, share / 2))
        part = excess * kept(really, source)
        if not loaded:  # it keeps the highest pace too
            part += rng.normal(0.03, 0.03)
        volts = bus_v(really, source, part) - amps * rig.sensor.shunt_ohm
        items.append(("plateau", kinds.Plateau(
            volts=volts / volts_gain - volts_off, amps=max(amps / amps_gain - amps_off, 0.0),
            pace_tpm=pace, pace=share, by=by, sway=0.03)))
    low, high = 0.3, 0.75
    parts = [excess * kept(60, amps) for amps in (low, high)]
    chord = (bus_v(60, low, parts[0]) - bus_v(60, high, parts[1])) / (high - low)
    chord *= 1 + rng.normal(0, 0.01)
    kc = float(physics.emf_constant_at(rig.motor, room)) * bank.series * ratio
    gives = kc**2 / gears.efficiency(rig.stages) / 0.03 * (1 + rng.normal(0, 0.03))
    items.append(("step", kinds.LoadStep(
        ohm=chord * amps_gain / volts_gain, ohm_share=0.02, from_a=low / amps_gain,
        to_a=high / amps_gain, pace_tpm=60, gives=gives, gives_share=0.06)))
    if wrong is not None:
        kind, one = items[wrong]
        items[wrong] = kind, replace(one, volts=one.volts * 1.25)
    bench = replace(BENCH, slots=0)
    return kinds.Readings(bench, kinds.Meter(), tuple(items), ("",) * len(items), SENSOR)


def known(rig):
    """The rig with its inertia known to 10 %, and gears of which only the kind is known."""
    return replace(of_rig(rig), inertia_kg_m2=0.03, inertia_log=0.05,
                   efficiency=(0.8, 0.25))


def test_an_evening_tells_k_and_ohms():
    rng = np.random.default_rng(1)
    rig = rig_with(rng)
    result = analyse(taken(rig, rng, by="turn_sensor"), known(rig))
    by = {v.key: v for v in result.values}
    k, ohm, train = by["emf_v_per_krpm"], by["terminal_ohm"], by["efficiency"]
    true_k = rig.motor.emf_v_s / 9.5493e-3
    assert (k.told, ohm.told, by["no_load_a"].told) == (True, True, False)
    assert k.low < true_k < k.high
    assert k.high - k.low < 0.06 * true_k
    assert ohm.low < rig.motor.terminal_ohm < ohm.high
    assert ohm.high - ohm.low < 0.3 * ohm.value
    assert train.told
    assert train.value == pytest.approx(gears.efficiency(rig.stages), rel=0.15)
    assert (result.misfit.fits, result.suspects) == (True, ())


def test_a_plateau_at_another_pace_than_asked_for_is_named():
    rng = np.random.default_rng(2)
    rig = rig_with(rng)
    result = analyse(taken(rig, rng, wrong=3), of_rig(rig))
    assert [one.reading for one in result.suspects] == ["plateau 4"]


def test_they_are_read_from_a_file():
    found = read_readings_text("""
[sensor]
volts_percent = 0.4
[[plateau]]
volts = 8.1
amps = 0.31
pace_tpm = 65
pace_by = "turn_sensor"
[[step]]
ohm = 2.7
ohm_percent = 2
from_a = 0.3
to_a = 0.7
pace_tpm = 65
""", "x.toml")
    assert found.sensor.volts == pytest.approx(0.004)
    assert [kind for kind, _ in found.items] == ["plateau", "step"]
    assert (found.items[0][1].by, found.items[1][1].ohm) == ("turn_sensor", 2.7)
    with pytest.raises(WrongInput, match="pace_tpm"):
        read_readings_text("[[plateau]]\nvolts = 8\namps = 0.3\n", "x.toml")


@pytest.mark.soak
@pytest.mark.parametrize("by", ["beat", "turn_sensor"])
def test_intervals_cover_over_random_machines(by):
    count, inside, wide, off = 300, {}, {}, {}
    for seed in range(count):
        rng = np.random.default_rng(seed)
        rig = rig_with(rng)
        result = analyse(taken(rig, rng, by), known(rig))
        truth = {"emf_v_per_krpm": rig.motor.emf_v_s / 9.5493e-3,
                 "terminal_ohm": rig.motor.terminal_ohm,
                 "brush_drop_v": rig.motor.brush_drop_v,
                 "efficiency": gears.efficiency(rig.stages)}
        for one in result.values:
            if one.key in truth:
                true = truth[one.key]
                inside[one.key] = inside.get(one.key, 0) + (one.low <= true <= one.high)
                wide.setdefault(one.key, []).append((one.high - one.low) / 2 / one.value)
                off.setdefault(one.key, []).append(abs(one.value / true - 1))
    print(f"\nboard, pace by {by}: " + "; ".join(
        f"{key} covers {inside[key] / count:.1%}, off {np.median(off[key]):.1%} (9 of 10 within "
        f"{np.quantile(off[key], 0.9):.1%}), half width {np.median(wide[key]):.1%}"
        for key in inside))
    for key in ("emf_v_per_krpm", "terminal_ohm"):
        assert inside[key] >= 0.92 * count
    assert np.median(off["emf_v_per_krpm"]) < (0.02 if by == "beat" else 0.01)
    assert np.median(off["terminal_ohm"]) < 0.05
