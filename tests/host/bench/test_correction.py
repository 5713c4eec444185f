"""Gain and offset from board and meter: against an independent solution, on drawn benches, and
what few or poor points cannot tell."""

from __future__ import annotations

import math

import numpy as np
import pytest
from steadyturn.bench import meter as meters
from steadyturn.bench.correction import BOTH, GAIN, OFFSET, Line, Point, fit, rounded
from steadyturn.bench.readings import Meter
from steadyturn.rig import sensors

CHEAP = Meter()
GOOD = Meter(counts=20_000, percent=0.0005, amp_percent=0.002, digits=2)
INA226 = sensors.volts_sheet("ina226")
ADC = sensors.volts_sheet("adc", 11.0)
SHUNT = sensors.amps_sheet("ina226", 0.05)


def volts(*pairs, **more):
    return tuple(Point(board=b, meter=m, **more) for b, m in pairs)


def test_two_points_give_the_line_through_both():
    found = fit(volts((3.0, 3.1), (12.0, 12.34)), "V", GOOD, INA226, Line())
    assert found.fitted == BOTH
    assert found.line.gain == pytest.approx(9.24 / 9)
    assert found.line.offset == pytest.approx(3.1 - 3 * 9.24 / 9)
    assert found.left == pytest.approx((0.0, 0.0), abs=1e-12)
    assert found.chance is None


def test_many_points_agree_with_weighted_least_squares():
    """Without a shared range error GLS is WLS, which numpy's own least squares solves."""
    rng = np.random.default_rng(3)
    board = np.array([0.5, 1.5, 3.0, 7.0, 15.0])
    meter = Meter(counts=20_000, percent=0.0, digits=4)
    shown = np.round(1.02 * board + 0.03 + 0.001 * rng.standard_normal(5), 4)
    found = fit(volts(*zip(board, shown, strict=True)), "V", meter, INA226, Line())
    weight = 1 / np.array(found.sigma)
    design = np.column_stack([board, np.ones(5)]) * weight[:, None]
    expected = np.linalg.lstsq(design, shown * weight, rcond=None)[0]
    covariance = np.linalg.inv(design.T @ design)
    assert (found.line.gain, found.line.offset) == pytest.approx(tuple(expected), rel=1e-9)
    assert found.line.covariance == pytest.approx(
        (covariance[0, 0], covariance[0, 1], covariance[1, 1]), rel=1e-9)
    assert 0.0 < found.chance < 1.0


def test_a_correction_in_force_is_taken_out_first():
    truth = volts((3.0, 3.1), (12.0, 12.34))
    before = Line(1.01, -0.05)
    shown = tuple(Point(board=before.at(p.board), meter=p.meter) for p in truth)
    plain, again = (fit(points, "V", GOOD, INA226, line)
                    for points, line in ((truth, Line()), (shown, before)))
    assert again.line.gain == pytest.approx(plain.line.gain)
    assert again.line.offset == pytest.approx(plain.line.offset)


@pytest.mark.parametrize(("points", "meter", "fitted", "why"), [
    (volts((5.0, 5.05)), GOOD, GAIN, "one_point"),
    (volts((5.0, 5.05), (5.01, 5.06)), GOOD, GAIN, "one_point"),
    (volts((5.0, 5.05), (5.9, 5.96)), CHEAP, GAIN, "close"),
    (volts((5.0, 5.05), (9.0, 9.1)), CHEAP, GAIN, "coarse"),
    (volts((5.0, 5.05), (9.0, 9.1)), GOOD, BOTH, ""),
])
def test_what_the_points_cannot_tell_stays_and_is_said(points, meter, fitted, why):
    found = fit(points, "V", meter, INA226, Line(1.0, 0.004))
    assert (found.fitted, found.why) == (fitted, why)
    if fitted == GAIN:
        assert found.line.offset == 0.004


def test_an_offset_far_beyond_the_sheet_is_told_even_by_a_cheap_meter():
    found = fit(volts((3.0, 3.31), (12.0, 12.3)), "V", CHEAP, INA226, Line())
    assert found.fitted == BOTH
    assert found.line.offset == pytest.approx(0.31, abs=0.02)


def test_nothing_connected_tells_the_offset_of_a_current_exactly():
    nothing = Point(board=0.004, meter=0.0, nothing=True)
    alone = fit((nothing,), "A", CHEAP, SHUNT, Line(0.97, 0.0))
    assert (alone.fitted, alone.why, alone.line.gain) == (OFFSET, "zero_only", 0.97)
    assert alone.line.at(0.004 / 0.97) == pytest.approx(0.0, abs=1e-12)
    both = fit((nothing, Point(board=0.412, meter=0.40)), "A", GOOD, SHUNT, Line())
    assert both.fitted == BOTH
    assert both.line.at(0.004) == pytest.approx(0.0, abs=1e-9)
    assert both.offset_half < 0.0005


def test_a_meter_that_knows_the_gain_less_well_leaves_it():
    points = (Point(board=0.004, meter=0.0, nothing=True), Point(board=0.412, meter=0.41))
    cheap = fit(points, "A", CHEAP, SHUNT, Line())
    assert (cheap.fitted, cheap.why, cheap.line.gain) == (OFFSET, "gain_coarse", 1.0)
    assert cheap.line.offset == pytest.approx(-0.004, abs=1e-4)
    # but not where sheet and meter do not meet
    off = fit((points[0], Point(board=0.412, meter=0.33)), "A", CHEAP, SHUNT, Line())
    assert off.fitted == BOTH


def test_volts_over_a_resistor_know_a_current_three_times_as_well():
    amps = Point(board=0.412, meter=0.40)
    ohms = Point(board=0.412, meter=4.0, ohm=10.0)
    direct, by_ohm = (fit((point,), "A", CHEAP, SHUNT, Line()) for point in (amps, ohms))
    assert by_ohm.gain_half < direct.gain_half / 3


def test_a_wandering_reading_is_known_less_well():
    steady, not_steady = (fit(volts((5.0, 5.05), (9.0, 9.1), scatter=s), "V", GOOD, INA226,
                              Line()) for s in (0.0, 0.05))
    assert not_steady.line.half_width(6.0) > 5 * steady.line.half_width(6.0)


def test_points_that_are_no_numbers_are_refused():
    for bad in (math.nan, math.inf):
        with pytest.raises(ValueError, match="numbers"):
            fit(volts((5.0, bad), (9.0, 9.1)), "V", GOOD, INA226, Line())


def drawn(rng, count, meter, sheet, unit="V"):
    """Points of a sensor and a meter with errors of their classes, and the true line."""
    gain = 1 / (1 + rng.uniform(-sheet.share, sheet.share))
    offset = rng.uniform(-sheet.offset, sheet.offset)
    share = meter.percent if unit == "V" else meter.amp_percent
    own = 1 + rng.normal(0, share / 2)
    points = []
    for true in np.sort(rng.uniform(3.0, 14.0, count)):
        step = 10.0 / meter.counts * 2 if true > 2 else 0.001
        shown = own * true + rng.normal(0, meter.digits * step / 2)
        shown = round(round(shown / step) * step, 6)
        read = (true - offset) / gain
        read = round(read / sheet.step) * sheet.step
        points.append(Point(board=read, meter=shown))
    return tuple(points), Line(gain, offset)


@pytest.mark.parametrize(("most", "least"), [
    (60, 0.88), pytest.param(2000, 0.935, marks=pytest.mark.soak)])
@pytest.mark.parametrize(("meter", "sheet", "count"), [
    (CHEAP, ADC, 2), (GOOD, ADC, 2), (CHEAP, INA226, 3), (GOOD, INA226, 2), (GOOD, INA226, 6)])
def test_intervals_hold_what_they_promise(meter, sheet, count, most, least):
    rng = np.random.default_rng(1)
    held = np.zeros(3)
    for _ in range(most):
        points, truth = drawn(rng, count, meter, sheet)
        found = fit(points, "V", meter, sheet, Line())
        kept = rounded(found, 3.0, 14.0)
        for place, volts_ in enumerate((4.0, 8.0, 13.0)):
            read = found.line.read(volts_)
            off = kept.gain_ppm / 1e6 * read + kept.offset_milli / 1000 - truth.at(read)
            held[place] += abs(off) <= kept.half_width(volts_)
    assert np.all(held / most >= least), held / most


def test_what_is_kept_is_nowhere_narrower_than_what_was_found():
    rng = np.random.default_rng(5)
    for _ in range(50):
        points, _ = drawn(rng, 3, GOOD, ADC)
        found = fit(points, "V", GOOD, ADC, Line())
        kept = rounded(found, 3.0, 20.0)
        for volts_ in np.linspace(3.0, 20.0, 9):
            assert kept.half_width(volts_) >= 0.999 * found.line.half_width(volts_)
        assert isinstance(kept.gain_ppm, int)


def test_rounding_the_offset_leaves_the_highest_point_where_it_was():
    found = fit(volts((3.0, 3.1003), (12.0, 12.3404)), "V", GOOD, INA226, Line())
    kept = rounded(found, 3.0, 12.0)
    read = found.line.read(found.highest)
    shown = kept.gain_ppm / 1e6 * read + kept.offset_milli / 1000
    assert shown == pytest.approx(found.highest, abs=2e-5)


@pytest.mark.parametrize(("most", "least"), [
    (60, 0.88), pytest.param(2000, 0.935, marks=pytest.mark.soak)])
@pytest.mark.parametrize(("chip", "meter"), [("ina219", CHEAP), ("ina219", GOOD), ("adc", CHEAP)])
def test_intervals_of_a_current_hold_too(chip, meter, most, least):
    """Nothing connected and one load, up to more than twice that load."""
    rng = np.random.default_rng(2)
    sheet = sensors.amps_sheet(chip, 0.05, 20.0)
    held = np.zeros(3)
    step = meters.step(meter, 0.5, "A")
    for _ in range(most):
        gain = 1 / (1 + rng.uniform(-sheet.share, sheet.share))
        offset = rng.uniform(-sheet.offset, sheet.offset)
        own = 1 + rng.normal(0, meter.amp_percent / 2)
        shown = round((own * 0.5 + rng.normal(0, meter.digits * step / 2)) / step) * step
        zero, load = (round((true - offset) / gain / sheet.step) * sheet.step
                      for true in (0.0, 0.5))
        found = fit((Point(board=zero, meter=0.0, nothing=True), Point(board=load, meter=shown)),
                    "A", meter, sheet, Line())
        kept = rounded(found, 0.0, 1.5)
        for place, amps in enumerate((0.1, 0.5, 1.2)):
            read = found.line.read(amps)
            off = kept.gain_ppm / 1e6 * read + kept.offset_milli / 1000 - gain * read - offset
            held[place] += abs(off) <= kept.half_width(amps)
    assert np.all(held / most >= least), held / most
