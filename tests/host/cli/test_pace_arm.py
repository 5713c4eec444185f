"""What `pace` says of the arm: effort over pace, and how long it keeps the best pace."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest
from steadyturn.jobs.pace import pace_of
from steadyturn.model import endurance
from steadyturn.model.effort import effort
from steadyturn.report.objects import to_json
from steadyturn.report.pace import text
from steadyturn.rig.examples import example_path
from steadyturn.rig.file import read_rig

HUT = example_path("lakeside-hut")


@pytest.fixture(scope="module")
def hut():
    return pace_of(read_rig(HUT), "hut.toml")


def test_effort_is_data_over_the_paces_of_the_picture(hut):
    found = json.loads(to_json(hut))["effort"]
    assert found["pace_tpm"] == list(hut.curve.pace_tpm)
    assert len(found["arm_j_per_j"]) == len(found["pace_tpm"])
    assert found["arm_j_per_j"][0] is None  # nothing is delivered at rest
    known = [x for x in found["arm_j_per_j"] if x is not None]
    assert min(known) == found["least_j_per_j"] > 1
    again = effort(read_rig(HUT), found["least_tpm"])
    assert float(again) == pytest.approx(found["least_j_per_j"])


def test_beside_the_target(hut):
    rig = read_rig(HUT)
    here = float(effort(rig, hut.target_tpm))
    for one in hut.effort.beside:
        at = hut.target_tpm + one.off_tpm
        assert one.more == pytest.approx(float(effort(rig, at)) / here - 1, nan_ok=True)
        assert one.inside == (hut.low_tpm <= at <= hut.high_tpm)
        if one.inside and abs(one.off_tpm) < 0.15 * (hut.high_tpm - hut.low_tpm):
            assert one.more >= -1e-6  # nothing near the best pace is cheaper
    assert "off the best pace" in " ".join(text(hut).split())


def test_how_long_the_arm_keeps_it(hut):
    rig = read_rig(HUT)
    expected = [float(x) for x in endurance.minutes(rig.arm, hut.at_target.arm_w)]
    assert hut.arm_keeps_min == pytest.approx(tuple(expected))
    words = " ".join(text(hut).split())
    assert f"This arm keeps {float(hut.at_target.arm_w):.3g} W for" in words
    assert "A rough guide, not medical advice" in words
    assert "hardware/cautions.md" in words


def test_a_steep_cost_is_told_by_the_turn():
    rig = read_rig(HUT)
    rig = replace(rig, motor=replace(rig.motor, drag_nm_s=6e-6))
    found = pace_of(rig, "hut.toml")
    assert max(one.more for one in found.effort.beside if one.inside) > 0.02
    assert " faster +" in text(found)


def test_without_a_band():
    found = pace_of(read_rig(example_path("toy-motor")), "toy.toml")
    assert found.arm_keeps_min is None
    assert found.effort.beside == ()
    assert "This arm keeps" not in text(found)
    assert "NaN" not in to_json(found)
    assert np.isfinite(found.effort.pace_tpm).all()
