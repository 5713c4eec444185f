"""The thermistor's thresholds, against a resistance table and against what may go wrong."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from steadyturn.errors import Failed, WrongInput
from steadyturn.model.band import find_band
from steadyturn.rig.examples import FOLDER
from steadyturn.rig.file import read_rig
from steadyturn.rig.types import Rig
from steadyturn.settings.build import build
from steadyturn.settings.heat import heat, pin_mv

HUT = FOLDER / "lakeside-hut.toml"
# kohm of a common 10 kohm thermistor, B25/85 3977 K; from memory of its maker's table
TABLE = {0: 32.55, 25: 10.0, 50: 3.606, 70: 1.752, 85: 1.070, 100: 0.6744}


@pytest.fixture
def rig() -> Rig:
    hut = read_rig(HUT)
    return replace(hut, protection=replace(hut.protection, ntc_at="converter", ntc_beta_k=3977))


@pytest.mark.parametrize("celsius", TABLE)
def test_a_thermistor_by_its_table(rig: Rig, celsius: int) -> None:
    """Within 2 K everywhere, by the slope of the table's own figures."""
    right = 3300 * TABLE[celsius] / (TABLE[celsius] + 10.0)
    slope = abs(pin_mv(rig, celsius + 1) - pin_mv(rig, celsius - 1)) / 2
    assert abs(pin_mv(rig, celsius) - right) <= 2 * slope


def test_settings_of_a_rig_with_one(rig: Rig) -> None:
    band = find_band(rig, deep=False)
    made = build(rig, band)
    assert made["heat_adc_pin"] == 27
    assert made["heat_limit_mv"] == pytest.approx(pin_mv(rig, 70), abs=1)
    assert made["heat_back_mv"] == pytest.approx(pin_mv(rig, 60), abs=1)
    bare = build(read_rig(HUT), band)
    assert (bare["heat_adc_pin"], bare["heat_limit_mv"], bare["heat_open_mv"]) == (-1, 0, 0)


def test_a_broken_wire_is_told_from_the_coldest_part(rig: Rig) -> None:
    for cold_c in (-8.0, 5.0):
        cold = replace(rig, air=replace(rig.air, cold_c=cold_c))
        open_mv = int(heat(cold)["heat_open_mv"])
        assert pin_mv(cold, cold_c) < open_mv - 50
        assert open_mv < 3300 - 200


@pytest.mark.parametrize(
    ("change", "words"),
    [({"ntc_ohm": 1_000_000}, "broken wire cannot be told from cold"),
     ({"ntc_ohm": 100, "ntc_series_ohm": 10_000}, "too near a shorted wire")],
)
def test_dividers_that_do_not_work_are_refused(rig: Rig, change: dict[str, int], words: str
                                               ) -> None:
    odd = replace(rig, protection=replace(rig.protection, **change))
    with pytest.raises(Failed, match=words):
        heat(odd)


@pytest.mark.parametrize(
    ("board", "limit", "key"), [("esp32_c3", 70, "heat_adc_pin"), ("pico", 35, "ntc_limit_c")])
def test_rules(tmp_path: Path, board: str, limit: int, key: str) -> None:
    text = HUT.read_text().replace('kind = "pico"', f'kind = "{board}"').replace(
        "[protection]", f'[protection]\nntc_at = "mount"\nntc_limit_c = {limit}')
    path = tmp_path / "rig.toml"
    path.write_text(text)
    with pytest.raises(WrongInput) as wrong:
        read_rig(path)
    assert key in str(wrong.value.problems[0].key)
