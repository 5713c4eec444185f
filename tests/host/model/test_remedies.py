"""What is offered where no pace works, and the cause that is named."""

from __future__ import annotations

import tomllib
from dataclasses import replace

import pytest
from steadyturn.model.clash import LADDER, clash, source
from steadyturn.model.edges import find_edges
from steadyturn.model.gears import ratio
from steadyturn.model.guesses import EASY, first_to_measure
from steadyturn.model.limits import constraints
from steadyturn.model.remedies import LEAST_TPM, remedies
from steadyturn.model.remedy_changes import MOTORS, STRONGER, groups, strength, typical
from steadyturn.rig.examples import FOLDER, example_names, example_path
from steadyturn.rig.file import read_rig, read_rig_text
from steadyturn.rig.template import Answers, text_of

WEAK = {"motor_volts": 12.0, "motors": 2}
PRINTER = {**WEAK, "motor_rpm": 4500.0, "motor_ohm": 12.0, "converter": "boost", "ratio": 20.0}
SMALL = {**WEAK, "motor_rpm": 5500.0, "motor_ohm": 6.0, "converter": "buck_boost", "ratio": 25.0}


def made(answers):
    return read_rig_text(text_of(Answers("made", answers)), "made.toml")


@pytest.fixture(scope="module")
def small():
    rig = made(SMALL)
    return rig, remedies(rig)


@pytest.fixture(scope="module")
def small_edges(small):
    return find_edges(small[0])


def test_the_ratio_alone_is_offered_first_and_gives_what_it_says(small) -> None:
    rig, found = small
    first = found[0]
    assert first.change.startswith("a gear ratio of ")
    assert ", and" not in first.change
    to = float(first.change.split()[4])
    (stage,) = rig.stages
    geared = replace(rig, stages=(replace(stage, ratio=to),))
    low, high = find_edges(geared).widest()
    assert (low, high) == pytest.approx((first.low_tpm, first.high_tpm), abs=0.5)
    assert high - low >= 25


def test_two_changes_only_where_they_do_better_than_one(small) -> None:
    found = small[1]
    alone = [one for one in found if ", and" not in one.change]
    for pair in found:
        if ", and" not in pair.change:
            continue
        for one in alone:
            if one.change != pair.change.split(", and")[0] and "gear ratio" not in one.change:
                continue
            wider = pair.high_tpm - pair.low_tpm >= one.high_tpm - one.low_tpm + 6
            assert wider or len(one.hazards) > len(pair.hazards), (pair, one)
    assert min(one.high_tpm - one.low_tpm for one in found) >= LEAST_TPM


def test_the_most_basic_cause_is_named(small, small_edges) -> None:
    assert clash(small[0], small_edges) == ("holding", "comfort_high")
    weak = made(PRINTER)
    assert clash(weak, find_edges(weak)) == ("holding", "comfort_high")
    at = source(weak)
    # twice E**2 / (4 R) of one motor, without any drop, is an upper bound
    emf = (12 - 0.2) / 4500 * 20 * at.pace_tpm
    assert at.most_w < 2 * emf**2 / (4 * 12) < at.asks_w
    few = replace(weak, stages=(replace(weak.stages[0], ratio=5.0),))
    assert clash(few, find_edges(few)) == ("start", "comfort_high")


def test_a_limit_of_the_pace_alone_is_told_by_its_edge(small_edges) -> None:
    named = [limit for limit in small_edges.limits if limit.name == "comfort_high"]
    assert [limit.pace_tpm for limit in named] == pytest.approx([90.0])


def test_every_limit_has_its_place_on_the_ladder() -> None:
    for name in example_names():
        for one in constraints(read_rig(FOLDER / f"{name}.toml")):
            assert one.name in LADDER or one.name.startswith("comfort"), one.name


def test_only_stronger_motors_are_offered() -> None:
    toy = read_rig(example_path("toy-motor"))
    strong = replace(toy, motor=typical("servo motor of a big printer, 36 V"))
    words = [change.words for group in groups(strong) for change in group]
    assert not [each for each in words if "stronger motor" in each]
    for group in groups(toy):
        for change in group:
            if "stronger" in change.words:
                assert strength(change.rig.motor) >= STRONGER * strength(toy.motor)


def test_motors_are_those_of_the_typical_classes() -> None:
    file = FOLDER.parents[1] / "sizing" / "typical.toml"
    classes = {one["name"]: one for one in tomllib.loads(file.read_text())["motor"]}
    keys = ("rated_v", "no_load_rpm", "no_load_a", "terminal_ohm", "max_rpm", "max_a")
    for name, values in MOTORS.items():
        assert values == tuple(classes[name][key]["assumed"] for key in keys), name


def test_what_is_easy_goes_first_among_what_matters() -> None:
    hard, easy = "motor.case_to_air_k_per_w", "motor.no_load_a"
    assert easy in EASY
    assert hard not in EASY
    inf = float("inf")
    assert first_to_measure([(hard, inf), (easy, inf)]) == easy
    assert first_to_measure([(hard, 0.07), (easy, 0.06)]) == easy
    assert first_to_measure([(hard, 0.5), (easy, 0.06)]) == hard
    assert first_to_measure([(hard, 0.0)]) is None


def test_a_mesh_more_is_told(small) -> None:
    rig, found = small
    assert ratio(rig.stages) == 25
    assert "(a mesh more)" in found[0].change
