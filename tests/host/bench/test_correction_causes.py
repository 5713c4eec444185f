"""What explains a figure that is too far off: each slip and each wrong place, made and named; and
no false alarm where sensor and meter keep to their sheets."""

from __future__ import annotations

import numpy as np
import pytest
from steadyturn.bench.correction import Line, Point, fit
from steadyturn.bench.correction_causes import Cause, Context, causes
from steadyturn.bench.readings import Meter
from steadyturn.rig import sensors

METER = Meter()
VOLTS = Context("V", "ina226", 0.02)
AMPS = Context("A", "ina226", 0.02, supply_a=0.035)


def found(points, context, chip="ina226", shunt=0.02):
    sheet = sensors.volts_sheet(chip) if context.unit == "V" else sensors.amps_sheet(chip, shunt)
    points = tuple(p if isinstance(p, Point) else Point(board=p[0], meter=p[1]) for p in points)
    chance = fit(points, context.unit, METER, sheet, Line()).chance
    return causes(points, context, METER, sheet, Line(), chance)


@pytest.mark.parametrize(("points", "code", "point"), [
    ([(5, 5050), (9, 9100)], "millis", 0),
    ([(5, 5.05), (9, 9100)], "millis", 2),
    ([(5, 50.4), (9, 9.05)], "decimal", 1),
    ([(5, 0.503), (9, 0.905)], "decimal", 0),
    ([(5, -5.05), (9, -9.05)], "sign", 0),
    ([(5, 9.03), (9, 5.02)], "swapped", 1),
    ([(5, 5.45), (9, 9.46)], "diode", 0),
    ([(5, 16.1), (9, 28.8)], "chip", 0),
    ([Point(board=3.0, meter=3.12, amps=6.0), Point(board=9.0, meter=9.0, amps=0.1)],
     "after_shunt", 0),
    ([Point(board=6, meter=5.1, out_v=5.08), Point(board=9, meter=5.1, out_v=5.08)], "output",
     0),
    ([(5, 5.03), (7, 7.4), (9, 9.05)], "unknown", 2),
])
def test_volts(points, code, point):
    named = found(points, VOLTS)
    assert (named[0].code, named[0].point) == (code, point), named


@pytest.mark.parametrize(("points", "code", "value"), [
    ([(0.1, 0.2), (0.4, 0.8)], "shunt", 0.01),
    ([(0.1, 1.0), (0.4, 4.0)], "shunt", 0.002),
    ([(1.0, 0.2), (4.0, 0.8)], "shunt", 0.1),
    ([(0.4, 0.34), (0.8, 0.68)], "joint", 0.0035),
    ([(0.4, 0.435), (0.1, 0.135)], "own_current", 0.035),
    ([Point(board=0.012, meter=0.0, nothing=True), (0.4, 0.4)], "draws", 0.012),
])
def test_amps(points, code, value):
    named = found(points, AMPS)
    cause = next((c for c in named if c.code == code), None)
    assert cause is not None, named
    assert cause.value == pytest.approx(value, abs=0.02 * value)


def test_a_chip_of_four_times_the_bits():
    named = found([(0.1, 0.4), (0.4, 1.6)], AMPS)
    assert any(c == Cause("chip", factor=pytest.approx(4.0), chip="ina219") for c in named)


def test_what_sheet_and_meter_explain_alarms_nobody():
    rng = np.random.default_rng(11)
    alarms = 0
    for _ in range(200):
        sheet = sensors.volts_sheet("ina226")
        own = 1 + METER.percent * rng.uniform(-1, 1)
        off = 1 + sheet.share * rng.uniform(-1, 1)
        offset = sheet.offset * rng.uniform(-1, 1)
        points = [(true * off + offset,
                   round(own * true + 0.01 * rng.integers(-2, 3), 2)) for true in (4.2, 8.9)]
        alarms += bool(found(points, VOLTS))
    assert alarms == 0
