"""A shunt behind the converter: it takes its share of the path, and no account loses it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from steadyturn.model import batch
from steadyturn.model.band import find_band
from steadyturn.model.dynamics import Machine
from steadyturn.model.load import path_ohm
from steadyturn.model.point import operate
from steadyturn.rig.examples import example_path
from steadyturn.rig.file import read_rig

HUT = read_rig(example_path("lakeside-hut"))
FITTED = replace(HUT, sensor=replace(HUT.sensor, chip="ina3221", alert=False, out_shunt_ohm=0.1))


def test_it_lies_between_converter_and_device():
    assert path_ohm(FITTED) == pytest.approx(path_ohm(HUT) + 0.1)
    at = operate(FITTED, 65.0)
    assert float(at.converter_v - at.out_v) == pytest.approx(
        float(at.out_a) * path_ohm(FITTED), rel=1e-9)


@pytest.mark.parametrize("place", ["bus_switch", "output_switch", "enable"])
def test_the_account_has_its_loss_with_the_sensors(place):
    rig = replace(FITTED, switch=replace(FITTED.switch, place=place))
    at = operate(rig, np.linspace(50, 80, 7))
    assert at.arm_w == pytest.approx(at.out_w + sum(at.losses_w.values()), rel=1e-9)
    assert at.losses_w["sensor"] == pytest.approx(
        rig.sensor.shunt_ohm * at.bus_a**2 + 0.1 * at.out_a**2, rel=1e-9)


def test_the_account_in_time_has_it_too():
    from steadyturn.twin.person import Person

    machine = Machine(FITTED, step_s=0.004)
    machine.advance(20.0, Person(FITTED, 1), True, True, True)
    account = machine.account
    shunts = FITTED.sensor.shunt_ohm * machine.sums.in_a2s + 0.1 * machine.sums.out_a2s
    assert machine.sums.out_a2s > 1
    assert account.losses_j["sensor"] == pytest.approx(shunts, rel=1e-9)
    cable = account.losses_j["cable"] + account.losses_j["switch"]
    bare = path_ohm(HUT) * machine.sums.out_a2s + HUT.switch.on_ohm * machine.sums.in_a2s
    assert cable == pytest.approx(bare, rel=1e-9)


def test_both_forms_of_the_band_know_it():
    exact = find_band(FITTED, deep=False)
    many = batch.bands(FITTED, {"motor.terminal_ohm": np.array([FITTED.motor.terminal_ohm])})
    target = float(many.target_tpm[0])
    assert float(many.arm_w[0]) == pytest.approx(float(operate(FITTED, target).arm_w), rel=2e-3)
    assert float(operate(FITTED, target).out_v) < float(operate(HUT, target).out_v) - 0.03
    assert float(many.low_tpm[0]) == pytest.approx(exact.low_tpm, rel=2e-3)
    assert float(many.high_tpm[0]) == pytest.approx(exact.high_tpm, rel=2e-3)
