"""A virtual board whose sensor reads wrongly, corrected through its real link and its real
interpreter by a meter that reads what the model says."""

from __future__ import annotations

import pytest
from steadyturn.bench.correction import Point
from steadyturn.bench.readings import Meter
from steadyturn.jobs import calibrate, calibrate_board
from steadyturn.model.band import find_band
from steadyturn.rig.examples import example_path
from steadyturn.rig.file import read_rig
from steadyturn.settings.build import build
from steadyturn.settings.file import encode
from steadyturn.twin.interpreter import find
from steadyturn.twin.person import Steady
from steadyturn.twin.twin import Twin

pytestmark = pytest.mark.skipif(not find().serves_port, reason="no MicroPython here")
METER = Meter(counts=60_000, percent=0.0002, amp_percent=0.0005, digits=2)


def test_a_sensor_that_misreads_is_corrected():
    rig = read_rig(example_path("lakeside-hut"))
    with Twin(rig, ideal_sensor=True, person=Steady(69.0)) as twin:
        twin.prepare(encode(build(rig, find_band(rig, deep=False))))
        twin.misread(volts=(-0.03, 0.0), amps=(0.02, 0.0))
        twin.run(8.0)

        def point(at, name):
            mean = calibrate_board.measure(at, name, 0.5)
            seen = twin.glimpse()
            return Point(board=mean.value, meter=seen.bus_v if name == "volts" else seen.bus_a,
                         scatter=mean.wandered)

        with calibrate_board.reach(twin.port) as at:
            wrong = point(at, "volts")
            assert wrong.board / wrong.meter == pytest.approx(0.97, abs=0.002)
            points = {"volts": (wrong,), "amps": (point(at, "amps"),)}
            done = calibrate.finish(at, METER, points, lambda plan: ["volts", "amps"],
                                    anchor=False)
            assert (done.outcome, done.in_force, done.stored) == (
                "written", True, ("volts", "amps"))
            volts, amps = done.now
            assert volts.correction.gain_ppm == pytest.approx(1e6 / 0.97, rel=0.003)
            assert amps.correction.gain_ppm == pytest.approx(1e6 / 1.02, rel=0.01)
            assert volts.correction.day
            right = point(at, "volts")  # settled or not: both see the same bus
            assert right.board == pytest.approx(right.meter, rel=0.004)
