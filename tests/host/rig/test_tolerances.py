"""The table of tolerances, and a value's own in the file."""

from __future__ import annotations

import pytest
from steadyturn.errors import WrongInput
from steadyturn.rig.examples import example_path
from steadyturn.rig.file import read_rig_text
from steadyturn.rig.tolerances import TOLERANCES, tolerance_of
from steadyturn.rig.types import PARTS, Stage, specs

TEXT = example_path("lakeside-hut").read_text()
LINE = next(line for line in TEXT.splitlines() if line.startswith("terminal_ohm"))


def with_ohm(value: str):
    return read_rig_text(TEXT.replace(LINE, f"terminal_ohm = {value}"), "hut.toml")


def test_every_key_of_the_table_is_a_number_of_the_rig() -> None:
    known = {f"{name}.{spec.key}" for name, cls in {**PARTS, "stage": Stage}.items()
             for spec in specs(cls).values() if spec.type == "number"}
    assert set(TOLERANCES) <= known
    for key, one in TOLERANCES.items():
        assert 0 < one.share <= 0.5, key
        assert 0 <= one.common <= 1, key
        assert one.why, key


@pytest.mark.parametrize(("key", "low", "high"), [
    ("motor.emf_v_per_krpm", 0.05, 0.10), ("motor.no_load_rpm", 0.05, 0.10),
    ("motor.terminal_ohm", 0.10, 0.20), ("motor.no_load_a", 0.30, 0.30)])
def test_motors_differ_as_is_usual(key, low, high) -> None:
    assert low <= tolerance_of(key).share <= high


def test_own_tolerance() -> None:
    rig = with_ohm('{ given = 1.3, tolerance_percent = 10, note = "data sheet" }')
    origin = rig.origins["motor.terminal_ohm"]
    assert rig.motor.terminal_ohm == 1.3
    assert (origin.kind, origin.low, origin.high, origin.note) == ("given", 1.3, 1.3, "data sheet")
    assert origin.tolerance == pytest.approx(0.1)
    assert with_ohm("{ given = 1.3 }").origins["motor.terminal_ohm"].tolerance is None
    assert with_ohm("1.3").origins["motor.terminal_ohm"].tolerance is None
    exact = with_ohm("{ given = 1.3, tolerance_percent = 0 }").origins["motor.terminal_ohm"]
    assert exact.tolerance == 0.0


@pytest.mark.parametrize(("value", "key", "said"), [
    ("{ given = 1.3, tolerance_percent = -1 }", "tolerance_percent", "0 to 90 %"),
    ("{ given = 1.3, tolerance_percent = 91 }", "tolerance_percent", "0 to 90 %"),
    ("{ given = 1.3, tolerance_percent = nan }", "tolerance_percent", "0 to 90 %"),
    ('{ given = 1.3, tolerance_percent = "10" }', "tolerance_percent", "without quotes"),
    ("{ given = 1.3, tolerance_percent = true }", "tolerance_percent", "0 to 90 %"),
    ("{ given = 1.3, tolerance = 10 }", "tolerance", "Did you mean 'tolerance_percent'"),
    ("{ measured = 1.3, low = 1, high = 2, tolerance_percent = 5 }", "tolerance_percent",
     "beside 'measured'"),
    ("{ tolerance_percent = 5 }", "terminal_ohm", "{ given = ... }"),
    ("{ given = 1.3, measured = 1.3 }", "terminal_ohm", "{ given = ... }"),
    ("{ given = 0 }", "given", "0.05 to 300 ohm"),
])
def test_wrong_forms(value, key, said) -> None:
    with pytest.raises(WrongInput) as caught:
        with_ohm(value)
    problem = caught.value.problems[0]
    assert problem.key.endswith(key)
    assert said in f"{problem.right} {problem.how}"
    assert problem.where.startswith("hut.toml:")
