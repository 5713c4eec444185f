"""The built machine by hand: what the rig's own model would show comes back from the readings."""

from __future__ import annotations

import math

import numpy as np
import pytest
from steadyturn.bench import converter as losses
from steadyturn.bench import readings as kinds
from steadyturn.bench.readings import Readings
from steadyturn.bench.result import analyse
from steadyturn.bench.setup import of_rig, peak_over_mean
from steadyturn.model import bank, gears, motor, rectifier
from steadyturn.model.converter import coil
from steadyturn.rig.examples import example_path
from steadyturn.rig.file import read_rig
from steadyturn.rig.types import RPM


def shown(value, places=3):
    return round(value, places)


def hut():
    return read_rig(example_path("lakeside-hut"))


def bus(rig, pace, ohm):
    """Volts and amperes of a large capacitor with a resistor, by halving: it gets what the crests
    of five slots pass through the diodes."""
    crest = np.cos(np.linspace(-math.pi / 10, math.pi / 10, 2001))
    emf = bank.emf_v_per_tpm(rig) * pace * crest * peak_over_mean(5)[0]
    low, high = 0.0, float(emf.max())
    for _ in range(80):
        volts = (low + high) / 2
        amps = volts / ohm
        drops = float(rectifier.drop_v(rig.rectifier, amps)) + rig.bank.series * float(
            motor.brush_v(rig.motor, amps / rig.bank.parallel))
        passed = np.clip(emf - drops - volts, 0.0, None).mean() / bank.source_ohm(rig)
        low, high = (volts, high) if passed > amps else (low, volts)
    return volts, amps


def force(rig, pace, amps):
    """At the grip: friction of the handle, and the motors' torque through the train."""
    w = pace * RPM * gears.ratio(rig.stages)
    each = float(motor.shaft_nm(rig.motor, w, amps / rig.bank.parallel))
    torque = rig.crank.friction_nm + each * rig.bank.series * rig.bank.parallel * gears.ratio(
        rig.stages) / gears.efficiency(rig.stages)
    return torque / rig.crank.radius_m


def machine_readings(rig):
    items = []
    for pace in (30, 45, 60, 75, 90):
        items.append(("open", kinds.Open(volts=shown(bus(rig, pace, 470_000.0)[0]), at="bus",
                                         turns=float(pace), seconds=60.0)))
    for pace, ohm in ((50, 10.0), (70, 10.0), (80, 22.0), (60, 4.7), (75, 4.7), (80, 100.0)):
        volts, amps = bus(rig, pace, ohm)
        items.append(("loaded", kinds.Loaded(
            volts=shown(volts), at="bus", turns=float(pace), seconds=60.0, resistor_ohm=ohm,
            force_n=shown(force(rig, pace, amps), 1))))
    bench = kinds.Bench(slots=5, hand=0.004, room_within_k=1.0)
    return Readings(bench, kinds.Meter(counts=6000, percent=0.005), tuple(items),
                    ("",) * len(items))


def test_the_machine_comes_back_from_its_own_readings():
    rig = hut()
    found = analyse(machine_readings(rig), of_rig(rig))
    by = {v.name: v for v in found.values}
    k, ohm = by["emf_v_s"], by["terminal_ohm"]
    assert k.value / 1000 / RPM == pytest.approx(motor.emf_constant(rig.motor), rel=0.01)
    assert ohm.value == pytest.approx(rig.motor.terminal_ohm, rel=0.08)
    assert ohm.low < rig.motor.terminal_ohm < ohm.high
    train = by["efficiency"]
    assert train.low < gears.efficiency(rig.stages) < train.high
    assert not found.suspects
    assert found.misfit.fits


def test_what_is_not_told_stays_inside_what_was_believed():
    """Readings that pull the brush drop below its class, and hardly tell it."""
    rig = hut()
    items = [("locked", kinds.Locked(resistor_ohm=22.0, resistor_v=3.8, motor_v=0.52))]
    items += [("open", kinds.Open(volts=v, at="bus", turns=n, seconds=60.0))
              for v, n in ((4.6, 30.0), (6.9, 45.0), (9.25, 60.0))]
    items += [("loaded", kinds.Loaded(volts=v, at="bus", turns=n, seconds=60.0, resistor_ohm=10))
              for v, n in ((6.55, 60.0), (8.9, 80.0))]
    meter = kinds.Meter(counts=6000, percent=0.005)
    found = analyse(Readings(kinds.Bench(), meter, tuple(items), ("",) * 6), of_rig(rig))
    for value in found.values:
        assert value.low <= value.value <= value.high, value.name
        if not value.told and value.before_low is not None:
            assert value.before_low <= value.low * 1.0001
            assert value.high <= value.before_high * 1.0001


def test_a_wrong_pace_at_the_bus_is_pointed_out():
    rig = hut()
    whole = machine_readings(rig)
    kind, one = whole.items[6]
    wrong = kinds.Loaded(volts=one.volts * 10, at="bus", turns=one.turns, seconds=one.seconds,
                         resistor_ohm=one.resistor_ohm)
    items = (*whole.items[:6], (kind, wrong), *whole.items[7:])
    found = analyse(Readings(whole.bench, whole.meter, items, whole.where), of_rig(rig))
    assert [(s.reading, s.slip, s.keys) for s in found.suspects] == [
        ("loaded 2", "decimal point", ("volts",))]


@pytest.mark.parametrize("kind", ["boost", "buck", "buck_boost"])
def test_converter_losses_with_a_bad_reading(kind):
    true = (0.05, 0.28, 0.12)
    rng = np.random.default_rng(3)
    items = []
    for n, out_a in enumerate((0.1, 0.2, 0.35, 0.5, 0.7, 0.85, 1.0, 1.2)):
        in_v, out_v = (9.0 if kind == "buck" else 3.6), 5.1
        in_a = out_a * out_v / in_v
        for _ in range(60):
            i = {"in": in_a, "out": out_a, "larger": max(in_a, out_a)}[coil(kind)]
            in_a = (out_v * out_a + true[0] + true[1] * i + true[2] * i * i) / in_v
        noisy = [v * (1 + rng.normal(0, 0.0005)) for v in (in_v, in_a, out_v, out_a)]
        if n == 4:
            noisy[1] *= 1.3
        items.append(("in_out", kinds.InOut(**dict(zip(
            ("in_v", "in_a", "out_v", "out_a"), noisy, strict=True)))))
    meter = kinds.Meter(counts=20_000, percent=0.001, amp_percent=0.002)
    found = losses.losses(Readings(kinds.Bench(), meter, tuple(items), ("",) * 8), kind)
    assert found.out == ("in_out 5",)
    for low, value, high in zip(found.low, true, found.high, strict=True):
        assert low <= value <= high
    assert found.value[1] == pytest.approx(true[1], rel=0.35)
    assert math.isfinite(sum(found.high))
