"""Reading a parts file: everything wrong at once, with its line; nothing is lost."""

from __future__ import annotations

import pytest
from drawers import CONVERTERS, HOPELESS, MOTOR, REST, drawer
from steadyturn.errors import WrongInput
from steadyturn.model.motor import emf_constant
from steadyturn.rig.types import RPM
from steadyturn.sizing.drawer import Build, banks, rig_of
from steadyturn.sizing.parts_file import (
    FOLDER,
    example_names,
    example_path,
    read_drawer,
    read_drawer_text,
)


def wrong(text: str, **more) -> list[str]:
    with pytest.raises(WrongInput) as caught:
        read_drawer_text(text, "d.toml", **more)
    return [str(problem) for problem in caught.value.problems]


WHOLE = MOTOR + CONVERTERS + REST


@pytest.mark.parametrize(("text", "key", "right"), [
    ("", "motor", "there is no motor"),
    (MOTOR, "converter", "there is no converter"),
    (WHOLE.replace("terminal_ohm = 1.34", "terminal_ohm = 0"), "motor[1].terminal_ohm", "0.05 to"),
    (WHOLE.replace("terminal_ohm = 1.34", "terminal_ohm = nan"), "motor[1].terminal_ohm", "0.05"),
    (WHOLE.replace("max_a = 1.5", "max_a = 1e308"), "motor[1].max_a", "0.01 to 100 A"),
    (WHOLE.replace("max_a = 1.5", "max_a = inf"), "motor[1].max_a", "0.01 to 100 A"),
    (WHOLE.replace("count = 2", "count = -1"), "motor[1].count", "from 0 to 1000"),
    (WHOLE.replace("count = 2", "count = 1.5"), "motor[1].count", "a whole number"),
    (WHOLE.replace("count = 2", "count = 0"), "motor[1].count", "every motor has a count of 0"),
    (WHOLE.replace("start_v = 3.6", "start_v = 3.0"), "converter[2].stop_v", "below start_v"),
    (WHOLE.replace("efficiency = 0.88", "efficiency = 1.2"), "stage.efficiency", "0.3 to 1"),
    (WHOLE + "[limits]\nmax_teeth = 1000000", "limits.max_teeth", "from 6 to 400"),
    (WHOLE + "[limits]\nmin_teeth = 70", "limits.min_teeth", "must not be above max_teeth (60)"),
    (WHOLE + "[limits]\nmax_stages = 0", "limits.max_stages", "from 1 to 6"),
    (WHOLE + "[limits]\nmax_motors = -3", "limits.max_motors", "from 1 to 24"),
    (WHOLE + "[limits]\nmax_stage_ratio = 0.5", "limits.max_stage_ratio", "1 to 20"),
    (WHOLE + "[limits]\npower_w = 12", "limits.power_w", "belongs in [arm], not in [limits]"),
    (WHOLE.replace("[stage]", "[stage]\nratio = 25"), "stage.ratio", "what is searched for"),
    (WHOLE.replace("[bank]", "[bank]\nseries = 2"), "bank.series", "what is searched for"),
    (WHOLE.replace("[load]", '[load]\nkind = "none"'), "load.kind", "something to charge"),
    (WHOLE.replace("[[motor]]", "[motor]"), "motor", "double brackets"),
    (WHOLE.replace("count = 2", "cuont = 2"), "motor[1].cuont", "did you mean 'count'?"),
    (WHOLE.replace("[load]", "[laod]"), "laod", "did you mean [load]?"),
    (WHOLE.replace("emf_v_per_krpm = 3.06\n", ""), "motor[1].rated_v", "the motor needs rated_v"),
    (WHOLE + "[[motor]]\nname = 3", "motor[2].name", "text of at most 48"),
    (WHOLE.replace("kind = \"buck\"", "kind = \"bukc\""), "converter[1].kind", 'one of "boost"'),
    (WHOLE + "[[limits]]\nmax_stages = 2", "limits", "single brackets"),
    ("motor = 3", "motor", "tables: write [[motor]]"),
])
def test_each_problem_has_its_key(text, key, right) -> None:
    said = [line for line in wrong(text) if line.startswith("d.toml:")]
    assert any(f" {key}" in line and right in line for line in said), said


def test_problems_come_together_with_their_lines() -> None:
    text = WHOLE.replace("terminal_ohm = 1.34", "terminal_ohm = 0").replace(
        "max_in_v = 24", "max_in_v = 1000")
    lines = [i for i, line in enumerate(text.split("\n"), 1)
             if line in ("terminal_ohm = 0", "max_in_v = 1000")]
    assert [line.split(":")[1] for line in wrong(text)] == [str(i) for i in lines]


@pytest.mark.parametrize("text", ["\x00", "[[[", "= 3", "[[motor]]\n" * 5000, "[" * 5000,
                                  "a = " + "[" * 2000, "[[motor]]\ncount = " + "9" * 5000])
def test_odd_texts_are_wrong_input(text) -> None:
    assert wrong(text)


def test_many_motors_are_too_many() -> None:
    assert any("at most 200" in line for line in wrong(MOTOR * 201 + CONVERTERS))


def test_names_and_counts() -> None:
    unnamed = MOTOR.replace('name = "printer motor"\n', "").replace("count = 2\n", "")
    found = drawer(unnamed + MOTOR + MOTOR + unnamed + CONVERTERS + REST)
    assert [m.name for m in found.motors] == ["motor 1", "printer motor", "printer motor 2",
                                              "motor 4"]
    assert [m.count for m in found.motors] == [1, 2, 2, 1]
    assert banks(found, found.motors[0]) == [(1, 1)]
    assert banks(found, found.motors[1]) == [(1, 1), (2, 1), (1, 2)]


def test_banks_within_limits() -> None:
    wide = drawer(MOTOR.replace("count = 2", "count = 30") + CONVERTERS + REST + (
        "[limits]\nmax_motors = 12\nmax_series = 3\nmax_parallel = 4\n"))
    found = banks(wide, wide.motors[0])
    assert set(found) == {(s, p) for s in (1, 2, 3) for p in (1, 2, 3, 4)}
    assert len(found) == len(set(found))


def test_rig_has_the_parts_and_their_origins() -> None:
    text = MOTOR.replace("terminal_ohm = 1.34",
                         "terminal_ohm = { measured = 1.34, low = 1.2, high = 1.5 }")
    rig = rig_of(drawer(text + CONVERTERS + REST), Build(0, 1, 2, 1, ((60, 12), (48, 12))))
    assert (rig.bank.series, rig.bank.parallel, rig.converter.kind) == (2, 1, "buck_boost")
    assert rig.origins["motor.terminal_ohm"].kind == "measured"
    assert rig.origins["converter.start_v"].value == 3.6
    assert rig.origins["stage[2].efficiency"].value == 0.88
    assert not [key for key in rig.origins if "limits" in key or "count" in key]


def test_constant_by_emf_or_by_nameplate() -> None:
    """Nameplate rule of the trade: open circuit, rated volts at the no-load speed, less what
    running free loses; 12 V at 12,000 rpm is about 1 V per 1000 rpm."""
    plate = drawer("""
        [[motor]]
        rated_v = 12
        no_load_rpm = 12_000
        no_load_a = 0.05
        terminal_ohm = 2
        brush_drop_v = 0
    """ + CONVERTERS).motors[0].part
    assert emf_constant(plate) / (1 / (1000 * RPM)) == pytest.approx(1.0, rel=0.01)
    # 5 V needs 5,000 rpm, which is 83.3 turns a second; 40 a second give 2.4 V
    assert emf_constant(plate) * 83.3 * 60 * RPM == pytest.approx(5.0, rel=0.01)
    assert emf_constant(plate) * 40 * 60 * RPM == pytest.approx(2.4, rel=0.01)


def test_typical_classes_are_all_assumed() -> None:
    found = read_drawer(None, typical=True)
    assert len(found.motors) >= 5
    assert {c.part.kind for c in found.converters} == {"boost", "buck", "buck_boost"}
    for item in (*found.motors, *found.converters):
        assert item.typical
        assert {origin.kind for origin in item.origins.values()} == {"assumed"}
        for key, value in item.raw.items():
            if isinstance(value, dict):
                assert value["low"] <= value["assumed"] <= value["high"], (item.name, key)
                assert value["note"] in ("common practice", "from memory")
    # the ranges of check values 2.2 (from memory): ohms and no-load amperes by class
    for name, ohm, amps in (("3xx", (5, 25), (0.02, 0.1)), ("5xx", (1, 5), (0.1, 0.4)),
                            ("7xx", (0.3, 1.5), (0.3, 1.5))):
        (item,) = [m for m in found.motors if m.name.startswith(name)]
        for key, span in (("terminal_ohm", ohm), ("no_load_a", amps)):
            origin = item.origins[f"motor.{key}"]
            assert (origin.low, origin.high) == span


def test_typical_beside_a_drawer(tmp_path) -> None:
    file = tmp_path / "mine.toml"
    file.write_text(MOTOR + REST)
    found = read_drawer(file, typical=True)
    assert found.name == "mine"
    assert found.motors[0].name == "printer motor"
    assert not found.motors[0].typical
    assert len(found.motors) > 1
    assert len(found.converters) == 3
    file.write_text(MOTOR.replace("1.34", "0") + REST)  # a fault of one's own stays one
    with pytest.raises(WrongInput, match="terminal_ohm"):
        read_drawer(file, typical=True)
    file.write_text(MOTOR.replace("emf_v_per_krpm = 3.06", "") + REST)
    with pytest.raises(WrongInput, match="the motor needs rated_v"):
        read_drawer(file, typical=True)


def test_typical_that_do_not_go_with_the_rest_are_left_out(tmp_path) -> None:
    file = tmp_path / "mine.toml"
    file.write_text(MOTOR + "[load]\nmax_v = 5.05\nsag_v = 4.5\n")  # typical ones give 5.1 V
    found = read_drawer(file, typical=True)
    assert found.converters == ()


def test_examples_and_the_new_file_read() -> None:
    assert example_names() == ["attic-drawer"]
    assert read_drawer(example_path("attic-drawer.toml")).name == "Attic drawer"
    assert example_path("nothing") is None
    found = read_drawer(FOLDER / "new_parts.toml")
    assert len(found.motors) == 1
    assert all(o.kind == "assumed" for o in found.motors[0].origins.values())


def test_files_that_are_none(tmp_path) -> None:
    for path in (tmp_path, tmp_path / "missing.toml"):
        with pytest.raises(WrongInput, match=r"parts file|no such file"):
            read_drawer(path)


def test_hopeless_reads() -> None:
    assert drawer(HOPELESS).converters[0].name == "late"
