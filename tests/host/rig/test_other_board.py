"""A board that is not listed: the rig names its pins, and settings and a virtual board follow."""

from __future__ import annotations

import pytest
from steadyturn.errors import WrongInput
from steadyturn.model.band import find_band
from steadyturn.rig.examples import example_path
from steadyturn.rig.file import read_rig
from steadyturn.settings.build import build
from steadyturn.twin.person import Steady
from steadyturn.twin.twin import Twin

PINS = """
[board.pins]
sda_pin = 21
scl_pin = 22
lamp_pin = 2
switch_pin = 13
let_go_pin = 14
bus_adc_pin = 34
"""


def written(folder, pins: str):
    text = example_path("lakeside-hut").read_text()
    assert 'kind = "pico"' in text
    path = folder / "rig.toml"
    path.write_text(text.replace('kind = "pico"', 'kind = "other"') + pins)
    return path


def test_its_pins_are_the_rigs_and_no_others(tmp_path):
    rig = read_rig(written(tmp_path, PINS))
    made = build(rig, find_band(rig, deep=False))
    named = ("sda_pin", "scl_pin", "lamp_pin", "switch_pin")
    assert [made[name] for name in named] == [21, 22, 2, 13]
    assert (made["let_go_pin"], made["bus_adc_pin"]) == (14, 34)
    assert (made["button_pin"], made["supply_adc_pin"], made["fade_mv"]) == (-1, -1, 0)
    assert made["watchdog"] == 1


@pytest.mark.parametrize("missing", ["sda_pin", "scl_pin", "lamp_pin", "switch_pin"])
def test_a_pin_that_it_needs_is_asked_for(tmp_path, missing):
    lines = [line for line in PINS.splitlines() if not line.startswith(missing)]
    with pytest.raises(WrongInput) as caught:
        read_rig(written(tmp_path, "\n".join(lines) + "\n"))
    assert missing in str(caught.value)
    assert "unknown board" in str(caught.value)


def test_without_pins_all_that_it_needs_are_told_at_once(tmp_path):
    with pytest.raises(WrongInput) as caught:
        read_rig(written(tmp_path, ""))
    assert len(caught.value.problems) == 4


def test_a_watchdog_is_left_out_where_a_rig_says_so(tmp_path):
    path = written(tmp_path, PINS)
    path.write_text(path.read_text().replace('kind = "other"', 'kind = "other"\nwatchdog = false'))
    rig = read_rig(path)
    assert build(rig, find_band(rig, deep=False))["watchdog"] == 0


def test_it_charges_on_the_virtual_board(tmp_path):
    from steadyturn.settings.file import encode

    rig = read_rig(written(tmp_path, PINS))
    band = find_band(rig, deep=False)
    with Twin(rig, image=tmp_path / "board.img", person=Steady(band.target_tpm)) as twin:
        twin.prepare(settings=encode(build(rig, band)))
        twin.run(12)
        assert twin.glimpse().connected
