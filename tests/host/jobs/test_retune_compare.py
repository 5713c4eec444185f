"""What else must change with a motor: each where it is so, and not where it is not."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import pytest
from steadyturn.jobs.retune_compare import _lamp, _musts, _shunt, another_motor, machine
from steadyturn.model.band import find_band
from steadyturn.report import retune as report
from steadyturn.rig.examples import example_path
from steadyturn.rig.file import read_rig
from steadyturn.rig.types import Stage


@pytest.fixture(scope="module")
def hut():
    rig = read_rig(example_path("lakeside-hut"))
    return rig, machine(rig, find_band(rig, deep=False))


def test_the_figures_are_those_of_the_band(hut):
    rig, now = hut
    assert now.motors == "2 x printer motor, in series"
    assert (now.ratio, now.range_a) == (pytest.approx(25), pytest.approx(0.08192 / 0.05))
    assert now.force_n == pytest.approx(now.crank_nm / 0.11)
    assert now.arm_w_per_w == pytest.approx(now.arm_w / now.out_w)
    assert (now.low_limit, now.high_limit) == ("collapse_margin", "comfort_high")
    assert _musts(rig, rig, now, now) == []


def test_the_lamps_rhythm_is_told_where_it_is_another(hut):
    _, now = hut
    assert _lamp(now, replace(now, target_tpm=75.0)) == []
    (must,) = _lamp(now, replace(now, target_tpm=120.0, flashes_per_turn=0.5))
    assert (must.before, must.after) == ("a flash a turn", "a flash every other turn")
    (must,) = _lamp(replace(now, target_tpm=45.0, flashes_per_turn=2.0), now)
    assert (must.before, must.after) == ("two flashes a turn", "a flash a turn")
    assert _lamp(now, replace(now, flashes_per_turn=None)) == []


def test_a_shunt_that_reads_too_little_is_named_with_what_would_do(hut):
    rig, now = hut
    assert _shunt(rig, now) == []
    (must,) = _shunt(rig, replace(now, most_a=1.6))
    assert must.before == "50 mohm, reads to 1.64 A"
    most = int(must.after.split()[2])
    fitted = replace(now, most_a=1.6, range_a=0.08192 / (most / 1000))
    assert _shunt(rig, fitted) == []


def test_a_motor_measured_anew_is_the_same_motor(hut):
    rig, now = hut
    anew = replace(rig, motor=replace(rig.motor, terminal_ohm=1.5, emf_v_s=0.03))
    assert not another_motor(rig, anew)
    assert _musts(rig, anew, now, now) == []
    other = replace(rig, motor=replace(rig.motor, name="drill motor"))
    assert next(m.what for m in _musts(rig, other, now, now)) == "pinion and mount"
    geared = replace(rig, stages=(Stage(ratio=20.0),))
    assert [m.what for m in _musts(rig, geared, now, replace(now, ratio=20.0))] == [
        "gear train", "gears' efficiency"]


def test_a_board_of_another_rig_is_asked_about():
    flashed = SimpleNamespace(
        settings_changed=(SimpleNamespace(name="rig", before="Night ferry", after="Hut"),),
        settings_problem="", firmware_before="1", firmware_after="1", port="P", corrections=())
    assert "'Night ferry': is it the right board?" in "\n".join(report._board(flashed))
