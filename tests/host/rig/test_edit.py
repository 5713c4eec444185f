"""Changes of a rig file: what the tree says and what the text says are one machine."""

from __future__ import annotations

import pytest
from steadyturn.errors import Failed
from steadyturn.rig.edit import Edit, Tables, rig_with, text_with, tree_of
from steadyturn.rig.examples import example_path
from steadyturn.rig.file import read_rig_text

HUT = example_path("lakeside-hut").read_text(encoding="utf-8")
ON = "2026-05-01"
CHANGES = {
    "a key that is there": [Edit(("crank",), "radius_mm", 140)],
    "a section that is not": [Edit(("arm",), "arms", "two")],
    "a key more": [Edit(("bank",), "spread_percent", {"assumed": 5, "low": 2, "high": 9})],
    "a key gone": [Edit(("converter",), "input_limit_a", None)],
    "a stage's": [Edit(("stage", 1), "efficiency", 0.8)],
    "other stages": [Tables(("stage",), ({"driver_teeth": 48, "driven_teeth": 12},
                                         {"ratio": 5.0, "efficiency": 0.9},
                                         {"ratio": 1.25}))],
    "fewer stages": [Tables(("stage",), ({"ratio": 20.0},))],
    "points": [Tables(("converter", "points"), tuple(
        {"in_v": v, "out_a": 0.4, "efficiency": 0.85} for v in (5.0, 8.0, 12.0)))],
}


@pytest.mark.parametrize("name", CHANGES)
@pytest.mark.parametrize("eol", ["\n", "\r\n"])
def test_text_and_tree_say_the_same_and_what_was_there_is_kept(name, eol) -> None:
    text = HUT.replace("\n", eol)
    made = text_with(text, CHANGES[name], ON, "hut.toml")
    assert read_rig_text(made, "hut.toml") == rig_with(tree_of(text), CHANGES[name], "hut.toml")
    assert read_rig_text(made, "hut.toml") != read_rig_text(HUT, "hut.toml")
    assert made.count("\n") == made.count(eol)
    kept = [line for line in made.split(eol) if not line.startswith("#")]
    for line in HUT.split("\n"):  # all of it stands there still, as itself or as a comment
        assert line in kept or line.strip() in made


def test_points_come_and_go() -> None:
    with_points = text_with(HUT, CHANGES["points"], ON, "hut.toml")
    without = text_with(with_points, [Tables(("converter", "points"), ())], ON, "hut.toml")
    assert read_rig_text(without, "x") == read_rig_text(HUT, "x")


def test_what_a_rig_may_not_say_is_no_rig() -> None:
    assert rig_with(tree_of(HUT), [Edit(("crank",), "radius_mm", 9000)]) is None
    assert rig_with(tree_of(HUT), [Edit(("converter",), "stop_v", 9.9)]) is None


@pytest.mark.parametrize("text", ["bank = { series = 2 }\n", "bank.series = 2\n",
                                  "stage = [{ ratio = 5 }]\n"])
def test_forms_that_cannot_be_kept_are_refused_not_spoilt(text) -> None:
    change = Tables(("stage",), ()) if "stage" in text else Edit(("bank",), "series", 3)
    with pytest.raises(Failed, match="cannot be changed in place"):
        text_with(text, [change], ON, "hut.toml")
