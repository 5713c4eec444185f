"""Ranges of a review's figures: by hand, and against many draws of what each value may be off."""

from __future__ import annotations

from dataclasses import replace
from math import hypot, isnan, sqrt

import numpy as np
import pytest
from model_outings import Maker, wander
from page_maker import Recorder
from steadyturn.model.point import operate
from steadyturn.rig.types import Origin
from steadyturn.sessions import arm, losses, ranges, trend
from steadyturn.sessions.accuracy import UNKNOWN, accuracy
from steadyturn.sessions.decode import decode
from steadyturn.sessions.estimates import spread
from steadyturn.sessions.figures import review
from steadyturn.sessions.flow import flow
from steadyturn.sessions.gaps import gaps
from steadyturn.sessions.hand import pace, turns
from steadyturn.sessions.measures import energies
from steadyturn_fw import pages as layout

BARE = {"chip": "ina226", "shunt_uohm": 50_000, "bus_gain_ppm": 1_000_000, "bus_offset_mv": 0,
        "amps_gain_ppm": 1_000_000, "amps_offset_ma": 0}
WIDE = 1.96 / sqrt(3)  # from the half-width of an even distribution to 95 % of a normal one


@pytest.fixture(scope="module")
def outing():
    """(maker, pages, figures, flow) of two steady boots."""
    maker = Maker()
    for seed in (1, 2):
        maker.boot_of(wander(80, maker.target, seed=seed), seed=seed)
    pages = maker.pages()
    return maker, pages, review(pages, maker.settings), flow(pages)


def by_name(estimates):
    return {e.name: e for e in estimates}


# ---- the sensor


def test_an_ina226_by_its_data_sheet():
    """TI SBOS547B, electrical characteristics: bus gain 0.1 % and 50 ppm/K, offset 7.5 mV and
    40 uV/K, step 1.25 mV; shunt gain 0.1 % and 50 ppm/K, offset 10 uV and 0.1 uV/K, step 2.5 uV.
    20 K from 25 degC; a shunt of 50 mohm and 1 %. Even distributions (GUM 4.3.7)."""
    a = accuracy(BARE)
    assert a.volts_percent == pytest.approx(WIDE * 100 * (0.001 + 0.001))
    assert a.volts_mv == pytest.approx(WIDE * hypot(7.5 + 0.8, 0.625))
    assert a.amps_percent == pytest.approx(WIDE * 100 * hypot(0.002, 0.01))
    assert a.amps_ma == pytest.approx(WIDE * 1000 * hypot(12e-6 / 0.05, 25e-6))
    assert not a.corrected
    assert "SBOS547B" in a.source


def test_a_correction_is_as_good_as_the_meter_it_was_made_with():
    a = accuracy(BARE | {"amps_gain_ppm": 1_012_000})
    assert a.corrected
    assert a.amps_percent == pytest.approx(WIDE * 1.5)
    assert a.volts_percent == accuracy(BARE).volts_percent  # volts were not corrected
    assert (a.amps_gain_ppm, a.bus_gain_ppm) == (1_012_000, 1_000_000)


def test_a_dated_correction_is_as_good_as_calibrate_left_it():
    a = accuracy(BARE | {"bus_gain_ppm": 1_002_000, "bus_corrected_day": 9828,
                         "bus_within_ppm": 1500, "bus_within_uv": 4000})
    assert (a.volts_corrected_on, a.amps_corrected_on) == ("2026-11-28", "")
    assert a.volts_percent == pytest.approx(0.15)
    assert a.volts_mv == pytest.approx(hypot(4.0, WIDE * 0.625))
    assert a.amps_percent == accuracy(BARE).amps_percent
    # one that found nothing to change is a correction all the same
    assert accuracy(BARE | {"amps_corrected_day": 1, "amps_within_ppm": 5000,
                            "amps_within_ua": 0}).corrected


def test_boots_with_another_correction_are_counted():
    other = BARE | {"bus_gain_ppm": 1_002_000}
    assert accuracy(other, of_boots={1: BARE, 2: other, 3: other}).other_boots == 1


@pytest.mark.parametrize("settings", [{}, BARE | {"chip": "other"}, BARE | {"shunt_uohm": 0}])
def test_without_settings_nothing_is_known(settings):
    assert accuracy(settings) is UNKNOWN
    assert isnan(UNKNOWN.energy_j(1.0, 1.0, 1.0))


def test_the_shunt_by_the_rig(outing):
    rig = outing[0].rig
    rough = replace(rig, origins={
        **rig.origins, "sensor.shunt_mohm": Origin("given", 0.05, 0.05, 0.05, tolerance=0.05)})
    assert accuracy(BARE, rough).amps_percent == pytest.approx(WIDE * 100 * hypot(0.002, 0.05))


def test_coarser_chips_are_less_sure():
    reach = {chip: accuracy(BARE | {"chip": chip, "amplifier_permille": 20_000,
                                    "divider_permille": 11_000}).energy_j(100.0, 15.0, 300.0)
             for chip in ("ina226", "ina3221", "ina219", "adc")}
    assert list(reach) == sorted(reach, key=reach.__getitem__)


def test_energy_in_holds_for_95_of_100_boards(outing):
    """Boards whose gains and offsets lie anywhere within the data sheet: what each would have
    shown of the same outing, and how many of them the range holds."""
    _, _, figures, flows = outing
    a = accuracy(outing[0].settings)
    rng = np.random.default_rng(1)

    gain_v, off_v, gain_a, off_a = (rng.uniform(-1, 1, 4000) * reach / WIDE for reach in (
        a.volts_percent / 100, a.volts_mv / 1000, a.amps_percent / 100, a.amps_ma / 1000))
    v, i = flows.volts, flows.amps
    # sum((v (1 + gv) + ov) (i (1 + gi) + oi)) from its sums
    seen = 0.2 * ((1 + gain_v) * (1 + gain_a) * (v @ i) + (1 + gain_v) * off_a * v.sum()
                  + (1 + gain_a) * off_v * i.sum() + len(v) * off_v * off_a)
    reach = a.energy_j(figures.energy_in_j, figures.charge_mah * 3.6, v.sum() * 0.2)
    inside = np.mean(np.abs(seen - 0.2 * (v @ i)) <= reach)
    assert 0.93 < inside <= 1.0
    assert reach / figures.energy_in_j == pytest.approx(0.012, abs=0.003)  # a shunt of 1 %


# ---- what is inferred


def test_losses_follow_the_board(outing):
    """Without its rounding the law gives what the firmware's totals have."""
    maker, _, figures, flows = outing
    parts = losses.parts_j(maker.settings, flows)
    on = flows.connected
    in_j = float(flows.watts[on].sum()) * 0.2
    assert sum(parts.values()) == pytest.approx(in_j - figures.energy_out_j, rel=1e-5)
    assert losses.parts_j({}, flows) is None


def test_energy_out_by_draws_of_its_constants(outing):
    """Constants of the converter anywhere in their ranges: the range covers what they move."""
    maker, _, figures, flows = outing
    found = by_name(energies(figures, flows, maker.settings, accuracy(maker.settings, maker.rig),
                             maker.rig))
    rng = np.random.default_rng(2)
    on = flows.connected
    volts, amps = flows.volts[on], flows.amps[on]
    shown = []
    for _ in range(60):
        changed = dict(maker.settings)
        for name, key in (("loss_uw", "converter.loss_w"), ("loss_mv", "converter.loss_v"),
                          ("loss_mohm", "converter.loss_ohm")):
            low, high = ranges.ends(maker.rig, key)
            changed[name] = maker.settings[name] * rng.uniform(low, high)
        lost = losses.parts_w(changed, volts, amps)
        shown.append(float((volts * amps - sum(lost.values())).sum()) * 0.2 / 3600)
    out = found["energy_out"]
    assert out.kind == "inferred"
    assert np.mean([out.low <= wh <= out.high for wh in shown]) > 0.9
    assert out.high - out.value < out.value - out.low  # losses can be more sooner than less
    # an error of the sensor is in both, so that losses are surer than a difference of two
    gap = found["losses"]
    assert gap.high - gap.value == pytest.approx(out.value - out.low, rel=0.05)


def test_an_output_that_is_measured():
    """With the INA3221's second channel what goes out is as sure as its own shunt and volts, and
    the losses are the difference of two measured figures."""
    settings = BARE | {
        "chip": "ina3221", "out_shunt_uohm": 50_000, "out_bus_gain_ppm": 1_000_000,
        "out_bus_offset_mv": 0, "out_amps_gain_ppm": 1_000_000, "out_amps_offset_ma": 0,
        "out_mv": 5000, "coil": "in", "loss_uw": 40_000, "loss_mv": 100, "loss_mohm": 100,
        "path_mohm": 100}
    recorder = Recorder(efficiency=0.85)
    pages = decode(b"".join(recorder.page(flags=layout.FLAG_OUT_MEASURED) for _ in range(10)))
    figures = review(pages, settings)
    at_output = accuracy(settings, out=True)
    found = by_name(energies(figures, flow(pages), settings, accuracy(settings), None, at_output))
    out, losses_ = found["energy_out"], found["losses"]
    assert out.kind == "measured"
    own = at_output.energy_j(figures.energy_out_j, figures.energy_out_j / 5.0, 5.0 * 46) / 3600
    cable_j = 46 * (0.51 ** 2) * 0.15  # half an ampere through switch, shunt and cable
    assert own <= out.high - out.value <= own + cable_j / 3600
    in_reach = found["energy_in"].high - found["energy_in"].value
    assert losses_.high - losses_.value == pytest.approx(
        hypot(in_reach, out.value - out.low), rel=1e-6)


def test_percent_with_its_band(outing):
    """Capacity given (5 % of a new cell), charging efficiency assumed (0.7 to 0.93 about 0.85):
    their shares and that of the energy, root of their squares."""
    maker, _, figures, flows = outing
    found = by_name(energies(figures, flows, maker.settings, accuracy(maker.settings, maker.rig),
                             maker.rig))
    percent, out = found["percent"], found["energy_out"]
    down = [1 - out.low / out.value, 1 - 0.70 / 0.85, 1 - 1 / 1.05]
    assert 1 - percent.low / percent.value == pytest.approx(hypot(*down), rel=1e-6)
    up = [out.high / out.value - 1, 0.93 / 0.85 - 1, 1 / 0.95 - 1]
    assert percent.high / percent.value - 1 == pytest.approx(hypot(*up), rel=1e-6)
    assert found["percent_net"].value < percent.value


def test_amp_hours_are_no_watt_hours():
    """The same charge at twice the volts is twice the energy: charge times 5 V is neither."""
    low, high = (
        by_name(energies(review(pages), flow(pages), BARE, accuracy(BARE)))
        for pages in (decode(Recorder().page(bus_mv=volts, bus_ma=400)) for volts in (4000, 8000)))
    assert low["charge"].value == high["charge"].value
    assert high["energy_in"].value == 2 * low["energy_in"].value
    five = low["charge"].value * 5 / 1000
    assert five / low["energy_in"].value == pytest.approx(5 / 4)
    assert five / high["energy_in"].value == pytest.approx(5 / 8)
    assert low["charge"].note == "at_bus"


def test_turns_known_and_unknown():
    recorder = Recorder()
    raw = recorder.page(bus_ma=500, pace_tpm=60)
    raw += recorder.page(bus_ma=2, pace_tpm=50, valid=layout.BOUND)
    pages = decode(raw)
    figures = review(pages, {})
    settings = BARE | {"emf_uv_per_tpm": 120_000, "source_mohm": 2700, "drop_mv": 700,
                       "drop_knee_ma": 20}
    found = by_name(turns(figures, flow(pages), settings, accuracy(settings)))
    assert found["turns"].value == pytest.approx(4.6)
    assert found["turns"].kind == "inferred"
    assert 0.05 < found["turns"].high / found["turns"].value - 1 < 0.15  # a motor's EMF: 7.5 %
    unknown = found["turns_unknown"]
    assert isnan(unknown.value)
    assert (unknown.low, unknown.high) == (0.0, pytest.approx(50 * 4.6 / 60))


def test_turns_by_a_turn_sensor_are_measured():
    maker = Maker()
    maker.boot_of(wander(40, maker.target), flags=layout.FLAG_PACE_MEASURED)
    pages = maker.pages()
    figures = review(pages, maker.settings)
    found = by_name(turns(figures, flow(pages), maker.settings, accuracy(maker.settings)))
    assert found["turns"].kind == "measured"
    assert found["turns"].high - found["turns"].value == 1.0


def test_spread_of_the_pace():
    maker = Maker()
    maker.boot_of(wander(300, 60, spread=4))
    held = pace(flow(maker.pages()))
    assert held.p50_tpm == pytest.approx(60, abs=1.5)
    assert held.p95_tpm - held.p5_tpm == pytest.approx(2 * 1.645 * 4, rel=0.2)
    assert held.seconds == pytest.approx(290, abs=1)


# ---- modelled: the arm


def test_the_arm_s_work_is_the_model_s(outing):
    """Made from volts and amps it is what the model has at those paces."""
    maker, _, figures, flows = outing
    effort = arm.effort(maker.rig, flows, figures.turning_s)
    winding_c = (maker.rig.air.cold_c + maker.rig.air.hot_c) / 2
    at = operate(maker.rig, flows.pace_tpm, winding_c=winding_c)
    work, power, food = effort.estimates
    assert work.value == pytest.approx(float(at.arm_w.sum()) * 0.2 / 1000, rel=0.01)
    assert power.value == pytest.approx(1000 * work.value / figures.turning_s)
    assert food.value == pytest.approx(work.value / 4.184 / 0.2)  # a fifth of the food is work
    assert work.low < work.value < work.high
    assert effort.keeps_w[0] < effort.keeps_w[1] < effort.keeps_w[2]


def test_no_work_at_rest():
    recorder = Recorder()
    pages = decode(recorder.page(cue=layout.REST, pace_tpm=0, bus_ma=0, connected=0,
                                 valid=layout.BOUND))
    assert arm.effort(Maker().rig, flow(pages), 0.0) is None


# ---- trend, gaps, sums


def test_a_trend_is_found_and_none_invented():
    rng = np.random.default_rng(3)
    count = 3000  # ten minutes
    falling = 2.5 * (1 - 0.05 * np.linspace(-0.5, 0.5, count)) + rng.normal(0, 0.05, count)
    found = trend.power_trend(falling, 0.2)
    assert found.value == pytest.approx(-5, abs=0.5)
    assert found.low < -5 < found.high < 0
    held = 0
    for _ in range(200):  # noise that goes on for some seconds, as of a hand
        wave = np.convolve(rng.normal(0, 0.2, count + 60), np.ones(60) / 60, "valid")[:count]
        one = trend.power_trend(2.5 + wave, 0.2)
        held += one.low <= 0 <= one.high
    assert held > 0.9 * 200
    assert trend.power_trend(falling[:500], 0.2) is None


def test_stalls_are_shown_and_nothing_is_filled_in():
    recorder = Recorder()
    raw = recorder.page(events=[(layout.EV_GAP, 30, 450), (layout.EV_GAP, 90, 230)], stalls=2)
    found = gaps(decode(raw), 0.4, 0)
    assert (found.stalls, found.longest_ms) == (2, 450)
    assert found.stalled_s == pytest.approx(0.68)
    assert found.dropped_ticks == (450 - 200) // 20 + (230 - 200) // 20
    assert found.uncounted_s == pytest.approx(0.28)


def test_shifts_add_as_squares():
    assert spread(10.0, [(7.0, 13.0), (6.0, 14.0)]) == (5.0, 15.0)
    assert spread(10.0, [(13.0, 7.0), (10.0, 10.0)]) == (7.0, 13.0)
    assert spread(10.0, []) == (10.0, 10.0)
