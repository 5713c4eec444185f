"""Turn sensor, the winding's warmth and the second load: from the rig file to the board."""

from __future__ import annotations

import re

import numpy as np
import pytest
from steadyturn.errors import WrongInput
from steadyturn.model import motor
from steadyturn.model.band import find_band
from steadyturn.model.point import operate
from steadyturn.model.thermal import settled_c
from steadyturn.rig.examples import FOLDER
from steadyturn.rig.file import read_rig_text
from steadyturn.settings.build import build
from steadyturn.settings.turn import slip_share
from steadyturn.settings.warmth import begin_c
from steadyturn_fw import warmth as on_board

TEXT = (FOLDER / "lakeside-hut.toml").read_text(encoding="utf-8")
WARM = "winding_to_case_k_per_w = 9\ncase_to_air_k_per_w = 22\nwinding_j_per_k = 6\n"


def rig(text=TEXT, **more):
    for part, lines in more.items():
        text = text.replace(f"[{part}]\n", f"[{part}]\n{lines}\n", 1)
    return read_rig_text(text, "my.toml")


def made(one):
    return build(one, find_band(one, deep=False))


def test_a_rig_without_has_none_of_them():
    s = made(rig())
    assert (s["turn_pin"], s["turn_pulses"], s["second_load_pin"], s["second_load_mohm"]) == (
        -1, 1, -1, 0)
    assert [s[n] for n in s if n.startswith("warm_")] == [0, 0, 0, 0]
    assert [s[n] for n in ("out_bus_gain_ppm", "out_amps_gain_ppm")] == [1_000_000] * 2


def test_turn_sensor_and_second_load():
    s = made(rig(sensor="turn_pulses = 6", bus="second_load_ohm = 47"))
    assert (s["turn_pin"], s["turn_pulses"], s["slip_ms"]) == (17, 6, 3000)
    assert (s["second_load_pin"], s["second_load_mohm"]) == (22, 47_000)


def test_slip_allows_what_the_motors_constant_may_be_off():
    measured = rig()  # 3.06, from 3.02 to 3.10 V per 1000 rpm
    assert slip_share(measured) == pytest.approx(0.10 + 0.04 / 3.06)
    plate = rig(re.sub(r"emf_v_per_krpm = .*\n", "", TEXT))
    assert slip_share(plate) == pytest.approx(0.10 + 0.075)
    said = rig(re.sub(r"emf_v_per_krpm = .*\n",
                      "emf_v_per_krpm = { given = 3.06, tolerance_percent = 3 }\n", TEXT))
    assert slip_share(said) == pytest.approx(0.13)


@pytest.mark.parametrize(("part", "line", "key", "pin"), [
    ("sensor", "turn_pulses = 1", "sensor.turn_pulses", "turn_pin"),
    ("bus", "second_load_ohm = 47", "bus.second_load_ohm", "second_load_pin"),
])
def test_what_needs_a_pin_says_so(part, line, key, pin):
    text = TEXT + f"\n[board.pins]\n{pin} = -1\n"
    with pytest.raises(WrongInput, match="has no pin left") as wrong:
        rig(text, **{part: line})
    (problem,) = wrong.value.problems
    assert problem.key == key
    assert pin in problem.how


def test_the_board_knows_the_models_coefficients():
    assert on_board.COPPER / 100_000 == motor.COPPER_PER_K
    assert on_board.MAGNETS / 100_000 == -motor.FERRITE_PER_K


def test_warmth_ends_where_the_model_does():
    """The board's rise at the target pace in the end, against model.thermal's."""
    one = rig(motor=WARM)
    s = made(one)
    pace = s["target_dtpm"] / 10
    amps = float(operate(one, pace, winding_c=begin_c(one)).motor_a) * one.bank.parallel
    rise = 0.0
    for _ in range(40):
        ohm = s["source_mohm"] / 1000 * (1 + motor.COPPER_PER_K * rise)
        rise = amps**2 * ohm * s["warm_ck_per_w"] / 100
        rise += pace * s["warm_rest_uw_per_tpm"] / 1e6 * s["warm_case_ck_per_w"] / 100
    winding, _ = settled_c(one, np.array([pace]), begin_c(one))
    assert rise > 8
    # its shunt counts as copper, and warm motors draw a little more
    assert rise == pytest.approx(float(winding[0]) - begin_c(one), rel=0.12)
    assert s["warm_s"] == (9 + 22) * 6


def test_constants_are_cold_where_the_board_corrects_and_half_warm_where_not():
    cold, half = made(rig(motor=WARM)), made(rig())
    assert cold["emf_uv_per_tpm"] > half["emf_uv_per_tpm"]
    assert cold["source_mohm"] < half["source_mohm"]
    two = made(rig(motor="winding_to_case_k_per_w = 9\ncase_to_air_k_per_w = 22"))
    assert two["warm_s"] == 0  # two of three figures are not enough
