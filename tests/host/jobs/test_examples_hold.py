"""The example rigs are what they say: good, empty, dangerous. Their figures are invented."""

import dataclasses

import pytest
from steadyturn.jobs.check import check
from steadyturn.model.band import find_band
from steadyturn.model.point import operate
from steadyturn.rig.examples import FOLDER
from steadyturn.rig.file import read_rig

GOOD = ("lakeside-hut", "night-ferry", "radio-tent")


def rig_and_band(name):
    rig = read_rig(FOLDER / f"{name}.toml")
    return rig, find_band(rig, deep=False)


@pytest.mark.parametrize("name", GOOD)
def test_good_ones_have_a_wide_and_comfortable_band(name):
    rig, band = rig_and_band(name)
    assert band.feasible
    assert check(FOLDER / f"{name}.toml").safe
    half = (band.high_tpm - band.low_tpm) / (band.high_tpm + band.low_tpm)
    assert half >= 0.15
    assert band.target_tpm >= 1.12 * band.low_tpm  # room for starting from rest
    assert rig.arm.comfort_low_tpm < band.target_tpm < rig.arm.comfort_high_tpm
    at = operate(rig, band.target_tpm)
    assert 2.3 < float(at.out_w) < 2.7
    assert 4 < float(at.arm_w) < 12
    low, high = band.window_v
    assert low < float(at.bus_v) < high


def test_good_ones_have_different_converters():
    kinds = [read_rig(FOLDER / f"{name}.toml").converter.kind for name in GOOD]
    assert len(set(kinds)) == 3


def test_the_toy_motor_has_no_band():
    _, band = rig_and_band("toy-motor")
    assert not band.feasible
    assert band.clash is not None
    assert band.target_tpm is None


def test_the_barn_hands_the_phone_too_many_volts_at_paces_an_arm_reaches():
    rig, band = rig_and_band("dangerous-barn")
    assert band.feasible  # it looks fine as long as nobody turns faster
    brisk = operate(rig, 80.0)
    assert str(brisk.regime) == "pass_through"
    assert float(brisk.out_v) > 6 > rig.load.max_v
    # releasing the load does help: the switch stands before the converter
    released = operate(rig, 80.0, connected=False)
    assert float(released.out_v) == 0
    # and with a cut in hardware the same machine is safe
    cut = dataclasses.replace(rig, protection=dataclasses.replace(rig.protection,
                                                                  output_cut_v=5.45))
    assert not [h for h in find_band(cut, deep=False).hazards if h.name == "open_circuit_device"]
