"""A row as a rig file says what the drawer says: the same values, the same origins."""

from __future__ import annotations

from dataclasses import replace

import pytest
from drawers import CONVERTERS, MOTOR, REST, drawer
from steadyturn.rig.file import read_rig_text
from steadyturn.sizing.drawer import Build, rig_of
from steadyturn.sizing.parts_file import example_path, read_drawer
from steadyturn.sizing.rig_text import machine, motors, rig_text

POINTS = """
[[converter.points]]
in_v = 8
out_a = 0.5
efficiency = 0.85
[[converter.points]]
in_v = 12
out_a = 1.0
efficiency = 0.9
"""
EVERYTHING = MOTOR + CONVERTERS + POINTS + REST + """
[arm]
power_w = { assumed = 15, low = 10, high = 25, note = "a guess" }
[supply]
feed = "cell"
[sensor]
alert_wired = true
[board]
kind = "pico2"
[board.pins]
lamp_pin = 21
[air]
cold_c = -5
[switch]
place = "output_switch"
"""


def same(of, build) -> None:
    text = rig_text(of, build, 7, "steadyturn size x.toml")
    rig, wanted = read_rig_text(text, "x.toml"), rig_of(of, build)
    assert rig.origins == wanted.origins
    assert replace(rig, name="", note="") == replace(wanted, name="", note="")


@pytest.mark.parametrize("build", [
    Build(0, 0, 1, 1, ((60, 12),)), Build(0, 1, 2, 1, ((60, 12), (48, 12), (13, 12)))])
def test_everything_goes_over(build) -> None:
    of = drawer(EVERYTHING)
    assert of.converters[1].part.points
    assert of.parts["board"].pins["lamp_pin"] == 21
    same(of, build)


def test_example_and_typical_parts() -> None:
    of = read_drawer(example_path("attic-drawer"), typical=True)
    for i in range(len(of.motors)):
        same(of, Build(i, i % len(of.converters), 2, 2, ((60, 12), (48, 12))))


def test_measured_keeps_its_date_and_left_out_stays_left_out() -> None:
    of = read_drawer(example_path("attic-drawer"))
    text = rig_text(of, Build(0, 2, 2, 1, ((60, 12),)), 1, "steadyturn size attic-drawer")
    assert "no_load_a = {measured = 0.062, low = 0.058, high = 0.066, on = 2026-03-01}" in text
    assert "brush_knee_a" not in text
    assert "count" not in text
    assert "# 2 x printer motor in series, step-up/down board, 60/12." in text
    assert read_rig_text(text, "x").name == "Attic drawer 1"


@pytest.mark.parametrize("arm", ['arms = "two"', "age_years = 95", 'age_years = 20\narms = "two"'])
def test_the_arm_is_taken_to_give_the_same(arm) -> None:
    of = drawer(MOTOR + CONVERTERS + REST + f"[arm]\n{arm}\n")
    assert of.parts["arm"].power_w != 20
    same(of, Build(0, 1, 2, 1, ((60, 12), (48, 12))))


def test_a_file_with_an_odd_name() -> None:
    text = rig_text(drawer(), Build(0, 1, 2, 1, ((60, 12),)), 1,
                    "steadyturn size \x1b[31m\x07x\ny\udcff.toml")
    assert "# From row 1 of 'steadyturn size ?[31m?x y?.toml'." in text
    assert read_rig_text(text.encode().decode(), "x").name


def test_words_for_banks() -> None:
    of = drawer()
    said = [motors(of, Build(0, 0, s, p, ())) for s, p in ((1, 1), (3, 1), (1, 2), (2, 3))]
    assert said == ["1 x printer motor", "3 x printer motor in series",
                    "2 x printer motor in parallel",
                    "6 x printer motor, 3 rows of 2 in series"]
    assert machine(of, Build(0, 1, 1, 1, ((60, 12),))) == "1 x printer motor, both, 60/12"
