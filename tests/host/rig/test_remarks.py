"""Remarks: each is made where it belongs and not in the good examples."""

import dataclasses

import pytest
from steadyturn.rig.examples import FOLDER
from steadyturn.rig.file import read_rig, read_rig_text
from steadyturn.rig.rules import remarks

TEXT = (FOLDER / "lakeside-hut.toml").read_text(encoding="utf-8")


def keys(text):
    return [r.key for r in remarks(read_rig_text(text, "r.toml"))]


def changed(*pairs):
    text = TEXT
    for old, new in pairs:
        assert old in text
        text = text.replace(old, new, 1)
    return text


@pytest.mark.parametrize("name", ["lakeside-hut", "night-ferry", "radio-tent"])
def test_good_examples_need_none(name):
    assert remarks(read_rig(FOLDER / f"{name}.toml")) == []


CASES = [
    ([("max_a = 1.5", "max_a = 0.015")], "motor.max_a"),
    ([("capacitor_uf = 2_200", "capacitor_uf = 2.2")], "bus.capacitor_uf"),
    ([("no_load_rpm = 3_850", "no_load_rpm = 2_500")], "motor.emf_v_per_krpm"),
    ([("parallel = 1", "parallel = 2")], "bank.diode_each"),
    ([('"bus_switch"', '"enable"')], "switch.place"),
    ([("shunt_mohm = 50", "shunt_mohm = 100")], "sensor.shunt_mohm"),
    ([("shunt_mohm = 50", "shunt_mohm = 1")], "sensor.shunt_mohm"),
    ([("alert_wired = true", "alert_wired = false")], "sensor.alert_wired"),
    ([("output_cut_v = 5.45", "bus_clamp_v = 15")], "protection.bus_clamp_v"),
    ([("out_v = 5.1", "out_v = 4.5")], "converter.out_v"),
]


@pytest.mark.parametrize(("pairs", "key"), CASES)
def test_each_remark(pairs, key):
    assert keys(changed(*pairs)) == [key]


def test_a_unit_slip_names_the_value_that_would_fit():
    (remark,) = remarks(read_rig_text(changed(("max_a = 1.5", "max_a = 0.015")), "r"))
    assert "15 A would fit" in remark.text
    assert "nameplate" in remark.how


def test_measured_constant_near_its_nameplate_is_no_remark():
    rig = read_rig(FOLDER / "lakeside-hut.toml")
    near = dataclasses.replace(rig, motor=dataclasses.replace(rig.motor,
                                                              emf_v_s=rig.motor.emf_v_s * 1.2))
    far = dataclasses.replace(rig, motor=dataclasses.replace(rig.motor,
                                                             emf_v_s=rig.motor.emf_v_s * 1.3))
    assert remarks(near) == []
    assert [r.key for r in remarks(far)] == ["motor.emf_v_per_krpm"]


def test_ranges_of_the_two_sensors_by_their_data_sheets():
    # 81.92 mV and 320 mV over 50 mohm: 1.64 A and 6.4 A
    ina219 = changed(("ina226", "ina219"), ("alert_wired = true", "alert_wired = false"),
                     ("input_limit_a = 1.5", "input_limit_a = 6.3"))
    assert keys(ina219) == []
    assert keys(changed(("input_limit_a = 1.5", "input_limit_a = 1.63"))) == []
    assert keys(changed(("input_limit_a = 1.5", "input_limit_a = 1.65"))) == ["sensor.shunt_mohm"]


def test_enable_says_more_where_the_converter_does_not_isolate():
    place = ('"bus_switch"', '"enable"')
    (plain,) = remarks(read_rig_text(changed(place), "r"))
    assert "This one does not" not in plain.text
    (worse,) = remarks(read_rig_text(changed(
        place, ("disconnects_when_disabled = true", "disconnects_when_disabled = false")), "r"))
    assert "This one does not" in worse.text


def test_a_current_limit_that_is_only_guessed_asks_for_no_other_shunt():
    limit = next(row for row in TEXT.splitlines() if row.startswith("input_limit_a"))
    given = changed((limit, "input_limit_a = 2"))
    assert keys(given) == ["sensor.shunt_mohm"]
    assert keys(changed((limit, ""))) == []
    above = changed((limit, "input_limit_a = { assumed = 3, low = 2, high = 4 }"))
    assert keys(above) == ["sensor.shunt_mohm"]
