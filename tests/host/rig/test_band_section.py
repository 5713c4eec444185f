"""[band]: what it may say, in a rig file."""

from __future__ import annotations

import pytest
from steadyturn.errors import WrongInput
from steadyturn.rig.examples import example_path
from steadyturn.rig.file import read_rig_text

HUT = example_path("lakeside-hut").read_text()


def read(keys: str):
    return read_rig_text(f"{HUT}\n[band]\n{keys}\n", "my.toml")


def test_it_is_read_and_may_be_left_out():
    band = read("low_tpm = 55\ntarget_tpm = 61.5").band
    assert (band.low_tpm, band.target_tpm, band.high_tpm) == (55.0, 61.5, None)
    assert read_rig_text(HUT, "my.toml").band.target_tpm is None


@pytest.mark.parametrize(("keys", "wrong", "words"), [
    ("low_tpm = 95", "band.low_tpm", "below arm.comfort_high_tpm"),
    ("high_tpm = 35", "band.high_tpm", "above arm.comfort_low_tpm"),
    ("low_tpm = 70\ntarget_tpm = 60", "band.low_tpm", "below band.target_tpm"),
    ("target_tpm = 80\nhigh_tpm = 80", "band.target_tpm", "below band.high_tpm"),
    ("target_tpm = nan", "band.target_tpm", "5 to 300"),
])
def test_what_is_out_of_order_is_named(keys, wrong, words):
    with pytest.raises(WrongInput) as caught:
        read(keys)
    (problem,) = caught.value.problems
    assert problem.key == wrong
    assert words in problem.right, problem.right
    assert problem.where.startswith("my.toml:")
