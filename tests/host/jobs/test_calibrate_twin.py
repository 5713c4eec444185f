"""A virtual board whose sensor reads wrongly, corrected through its real link and its real
interpreter by a meter that reads what the model says."""

from __future__ import annotations

import pytest
from steadyturn.bench.correction import Point
from steadyturn.bench.readings import Meter
from steadyturn.errors import Failed
from steadyturn.jobs import calibrate, calibrate_board, flash
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


def still_point(twin, at, name):
    """Board and meter while the bus stood still: on a busy computer the twin's time stands and
    jumps, and the load may come, or the readings be too few, within a measurement."""
    key = "bus_v" if name == "volts" else "bus_a"
    for _ in range(60):
        before = twin.glimpse()
        try:
            mean = calibrate_board.measure(at, name, 0.5)
        except Failed:
            continue
        seen = twin.glimpse()
        connected = min(before.bus_a, seen.bus_a) > 0.1
        if connected and mean.wandered < 0.002 and abs(seen.bus_v - before.bus_v) < 0.02:
            return Point(board=mean.value, meter=getattr(seen, key), scatter=mean.wandered)
    raise AssertionError("the bus never stood still")


def test_a_sensor_that_misreads_is_corrected(monkeypatch):
    monkeypatch.setattr(flash, "IN_FORCE_S", 30.0)
    rig = read_rig(example_path("lakeside-hut"))
    with Twin(rig, ideal_sensor=True, person=Steady(69.0)) as twin:
        twin.prepare(encode(build(rig, find_band(rig, deep=False))))
        twin.misread(volts=(-0.03, 0.0), amps=(0.02, 0.0))
        twin.run(8.0)

        with calibrate_board.reach(twin.port) as at:
            wrong = still_point(twin, at, "volts")
            assert wrong.board / wrong.meter == pytest.approx(0.97, abs=0.002)
            points = {"volts": (wrong,), "amps": (still_point(twin, at, "amps"),)}
            done = calibrate.finish(at, METER, points, lambda plan: ["volts", "amps"],
                                    anchor=False)
            assert (done.outcome, done.in_force, done.stored) == (
                "written", True, ("volts", "amps"))
            volts, amps = done.now
            assert volts.correction.gain_ppm == pytest.approx(1e6 / 0.97, rel=0.003)
            assert amps.correction.gain_ppm == pytest.approx(1e6 / 1.02, rel=0.01)
            assert volts.correction.day
            right = still_point(twin, at, "volts")
            assert right.board == pytest.approx(right.meter, rel=0.004)
