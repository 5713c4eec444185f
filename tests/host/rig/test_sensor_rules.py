"""What a sensor may be set to: its address, its alert, its channels."""

from __future__ import annotations

import re

import pytest
from steadyturn.errors import WrongInput
from steadyturn.rig.examples import FOLDER
from steadyturn.rig.file import read_rig_text

TEXT = (FOLDER / "lakeside-hut.toml").read_text(encoding="utf-8")
HEAD = TEXT[: TEXT.index("[sensor]")]
TAIL = TEXT[TEXT.index("[board]"):]


def read(*lines):
    return read_rig_text(HEAD + "[sensor]\n" + "\n".join(lines) + "\n" + TAIL, "my.toml")


@pytest.mark.parametrize(("lines", "key"), [
    (("address = 0x20",), "sensor.address"),
    (("chip = 'ina3221'", "address = 0x44"), "sensor.address"),
    (("chip = 'ina219'", "alert_wired = true"), "sensor.alert_wired"),
    (("chip = 'ina3221'", "alert_wired = true"), "sensor.alert_wired"),
    (("out_shunt_mohm = 50",), "sensor.out_shunt_mohm"),
    (("chip = 'ina219'", "out_shunt_mohm = 50"), "sensor.out_shunt_mohm"),
])
def test_what_a_chip_has_not(lines, key):
    with pytest.raises(WrongInput) as wrong:
        read(*lines)
    (problem,) = wrong.value.problems
    assert problem.key == key
    assert re.fullmatch(r"my\.toml:\d+", problem.where)


@pytest.mark.parametrize(("lines", "key"), [
    (("chip = 'adc'",), "sensor.amplifier_gain"),
    (("chip = 'adc'", "amplifier_gain = 20", "alert_wired = true"), "sensor.alert_wired"),
    (("chip = 'adc'", "amplifier_gain = 20", "out_shunt_mohm = 50"), "sensor.out_shunt_mohm"),
    (("chip = 'adc'", "amplifier_gain = 20", "[board.pins]", "amps_adc_pin = -1"),
     "board.pins.amps_adc_pin"),
])
def test_what_the_adc_alone_needs(lines, key):
    with pytest.raises(WrongInput) as wrong:
        read(*lines)
    (problem,) = wrong.value.problems
    assert problem.key == key


def test_the_adc_alone():
    sensor = read("chip = 'adc'", "amplifier_gain = 50", "amplifier_zero_v = 0.1").sensor
    assert (sensor.amplifier, sensor.amplifier_zero_v) == (50, 0.1)


def test_an_ina3221_with_its_second_channel():
    sensor = read("chip = 'ina3221'", "address = 0x43", "out_shunt_mohm = 100").sensor
    assert (sensor.chip, sensor.address, sensor.out_shunt_ohm) == ("ina3221", 0x43, 0.1)
