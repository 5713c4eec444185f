"""[gears] of a rig file: what is read, what is assumed, what cannot be."""

from __future__ import annotations

import pytest
from steadyturn.errors import WrongInput
from steadyturn.gears.given import given_of
from steadyturn.rig.examples import example_path
from steadyturn.rig.file import read_rig_text

TOY = example_path("toy-motor").read_text(encoding="utf-8")


def given(section: str):
    return given_of(read_rig_text(f"{TOY}\n[gears]\n{section}\n", "toy.toml"))


def test_what_is_left_out_is_assumed_and_named() -> None:
    found = given('material = "nylon"\nshaft_mm = 2')
    assert found.material.title == "nylon"
    assert found.shaft_mm == 2.0
    named = {a.key: a for a in found.assumed}
    assert "gears.shaft_mm" not in named
    assert named["gears.can_mm"].value == found.can_mm == 36.0
    assert named["gears.can_mm"].how


@pytest.mark.parametrize(("can", "shaft"), [(20, 2.0), (28, 2.3), (36, 3.17), (50, 5.0)])
def test_usual_shafts_follow_the_can(can: float, shaft: float) -> None:
    assert given(f"can_mm = {can}").shaft_mm == shaft


def test_tip_relief_can_be_left_out() -> None:
    assert given("").tip_relief_mm(2.0) == pytest.approx(0.04)
    assert given("tip_relief_mm = 0").tip_relief_mm(2.0) == 0.0


def test_an_axle_follows_its_bearing() -> None:
    found = given('bearing = "625"')
    assert found.axle_mm == 5.0
    assert not any(a.key == "gears.axle_mm" for a in found.assumed)


@pytest.mark.parametrize(("section", "words"), [
    ("shaft_mm = 3\nshaft_flat_mm = 1", "between half and the whole of shaft_mm"),
    ("shaft_mm = 3\nshaft_hex_mm = 3", "left out: the shaft has shaft_hex_mm"),
    ("shaft_flat_mm = 2\nshaft_hex_mm = 3", "left out: the shaft has shaft_hex_mm"),
    ('axle_mm = 6\nbearing = "608"', "a bore of 8 mm"),
    ("bed_mm = 20", "from 80 to 1000"),
    ('material = "wood"', '"pla", "petg", "nylon"'),
    ("module_mm = 20", "0.5 to 6 mm"),
])
def test_what_cannot_be(section: str, words: str) -> None:
    with pytest.raises(WrongInput, match="gears") as wrong:
        given(section)
    assert words in str(wrong.value)
