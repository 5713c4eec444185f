"""Where a motor comes from, and what the rig file then says: no band is worked out here."""

from __future__ import annotations

import dataclasses
import tomllib

import pytest
from steadyturn.errors import Failed, WrongInput
from steadyturn.jobs.bench import new_readings
from steadyturn.jobs.retune_parts import find
from steadyturn.jobs.retune_text import Wanted, changed_text, section_replaced
from steadyturn.model import gears
from steadyturn.rig.examples import example_path
from steadyturn.rig.file import read_rig, read_rig_text
from steadyturn.sizing.parts_file import example_path as drawer_path

HUT = example_path("lakeside-hut").read_text(encoding="utf-8")
RIG = read_rig_text(HUT, "my.toml")
DRAWER = drawer_path("attic-drawer")
ON = "2026-05-01"


def changed(text=HUT, **wanted):
    return changed_text(text, read_rig_text(text, "my.toml"), Wanted(**wanted), ON, "my.toml")


def test_nothing_of_the_old_motor_stays_in_force():
    own = HUT.replace("spread_percent", "x").replace(
        "[bank]", '[bank]\nspread_percent = { measured = 3, low = 2, high = 4 }').replace(
        'material = "petg"', 'material = "petg"\ncan_mm = 30\nshaft_mm = 2\nnozzle_mm = 0.6')
    own = own.replace("max_a = 1.5", "max_a = 1.5\ninertia_gcm2 = 60", 1) + (
        "\n[band]\nlow_tpm = 55\n")
    drill = find("motor", "drill motor", DRAWER)
    text = changed(own, motor=drill)
    new = read_rig_text(text, "my.toml")
    given = {key for key, origin in new.origins.items()
             if key.startswith("motor.") and origin.kind != "assumed"}
    assert given == {"motor.rated_v", "motor.no_load_rpm", "motor.no_load_a",
                     "motor.terminal_ohm", "motor.max_rpm", "motor.max_a"}
    assert new.motor.emf_v_s is None
    assert new.origins["bank.spread_percent"].kind == "assumed"
    assert (new.gears.can_m, new.gears.shaft_m, new.gears.nozzle_m) == (None, None, 0.6e-3)
    assert new.band.low_tpm is None
    assert new.bank.mount_max_c == 75
    assert new.origins["stage[1].efficiency"].kind == "measured"
    # the rest word for word, the old beside
    kept = [line for line in own.splitlines() if line.strip()]
    assert all(any(line.strip() in one for one in text.splitlines()) for line in kept)
    assert changed(text, motor=drill) == text


def test_to_and_fro_the_comments_do_not_pile_up():
    hut, drill = find("motor", str(example_path("lakeside-hut")), None), find(
        "motor", "drill motor", DRAWER)
    text, sizes = HUT, []
    for _ in range(4):
        for motor in (drill, hut):
            text = changed(text, motor=motor)
        sizes.append(len(text.splitlines()))
    assert sizes[1] == sizes[3]
    assert dataclasses.replace(read_rig_text(text, "my.toml"), note=RIG.note) == RIG


def test_a_motor_of_another_rig_brings_its_case_along():
    other = HUT.replace('material = "petg"', 'material = "pla"\ncan_mm = 42').replace(
        "1.34", "1.40")
    with_can = HUT.replace('material = "petg"', "can_mm = 30\nshaft_mm = 2")
    source = dataclasses.replace(
        find("motor", str(example_path("lakeside-hut")), None),
        rows=tomllib.loads(other)["motor"], body={"can_mm": 42})
    new = read_rig_text(changed(with_can, motor=source), "my.toml")
    assert new.motor.terminal_ohm == 1.4
    assert new.origins["motor.terminal_ohm"].kind == "measured"
    assert (new.gears.can_m, new.gears.shaft_m) == (0.042, None)


def test_a_converter_with_its_points_goes_as_a_whole():
    points = "".join(f"\n[[converter.points]]\nin_v = {v}\nout_a = {a}\nefficiency = {e}\n"
                     for v, a, e in ((5, 0.2, 0.8), (5, 0.5, 0.85), (9, 0.5, 0.88), (12, 1, 0.9)))
    text = HUT.replace("[switch]", points + "\n[switch]")
    assert len(read_rig_text(text, "x").converter.points) == 4
    new = read_rig_text(changed(text, converter=find("converter", "step-up/down board", DRAWER)),
                        "my.toml")
    assert new.converter.points == ()
    back = read_rig_text(changed(HUT, converter=dataclasses.replace(
        find("converter", str(example_path("lakeside-hut")), None),
        rows=tomllib.loads(text)["converter"])), "my.toml")
    assert len(back.converter.points) == 4
    assert back.switch == RIG.switch


@pytest.mark.parametrize(("given", "teeth", "ratio"), [
    ("20", [(60, 12), (None, None)], 20), ("60/12x48/12", [(60, 12), (48, 12)], 20),
    ("60:10 x 40:10", [(60, 10), (40, 10)], 24), ("60/6", [(60, 6)], 10),
    ("60/20x60/20x60/20", [(60, 20)] * 3, 27)])
def test_another_ratio_keeps_what_is_known_of_the_gears(given, teeth, ratio):
    new = read_rig_text(changed(ratio=given), "my.toml")
    assert [(s.driver_teeth, s.driven_teeth) for s in new.stages] == teeth
    assert gears.ratio(new.stages) == pytest.approx(ratio)
    assert all(new.origins[f"stage[{i + 1}].efficiency"].kind == "measured"
               for i in range(len(teeth)))


@pytest.mark.parametrize("given", ["nan", "inf", "-3", "0", "1e9", "401", "60/5", "60/12x", "x",
                                   "", "٣/٤"])
def test_a_ratio_that_no_train_has(given):
    with pytest.raises(WrongInput, match="--ratio"):
        changed(ratio=given)


def test_series_and_parallel_and_line_ends():
    text = HUT.replace("\n", "\r\n")
    new = changed(text, series=3, motor=find("motor", "drill motor", DRAWER))
    assert "\n" not in new.replace("\r\n", "")
    assert read_rig_text(new, "x").bank.series == 3
    assert changed(series=2, parallel=1, ratio="25") == HUT


@pytest.mark.parametrize("form", ["motor = { name = 'x' }\n", "motor.name = 'x'\n", ""])
def test_a_form_that_cannot_be_kept_is_refused(form):
    with pytest.raises(Failed, match=r"\[motor\] in a form"):
        section_replaced(form, "motor", {"name": "y"}, ON, "my.toml")


def test_names_that_are_near_are_told(tmp_path):
    for given, near in (("prnter motor", "'printer motor"), ("drill motr", "'drill motor'")):
        with pytest.raises(WrongInput, match=near):
            find("motor", given, DRAWER)
    with pytest.raises(WrongInput, match="has 3 motors"):
        find("motor", str(DRAWER), None)
    twice = tmp_path / "twice.toml"
    twice.write_text(DRAWER.read_text().replace('"drill motor"', '"printer motor"'))
    with pytest.raises(WrongInput, match="has 2 of that name: numbers 1, 3"):
        find("motor", "printer motor", twice)
    with pytest.raises(WrongInput, match="no such file"):
        find("motor", "none.toml", DRAWER)
    with pytest.raises(WrongInput, match="folder"):
        find("motor", str(tmp_path), None)
    assert find("motor", "7xx can, 12 V", DRAWER).where == "the typical classes"


def test_readings_of_a_bare_motor_are_a_motor(tmp_path):
    readings = tmp_path / "flea market.toml"
    new_readings(readings)
    with pytest.raises(WrongInput, match="no reading in it"):
        find("motor", str(readings), None)
    readings.write_text(_readings())
    found = find("motor", str(readings), None)
    assert found.name == "flea market"
    ohm, k = found.rows["terminal_ohm"], found.rows["emf_v_per_krpm"]
    assert ohm["low"] < ohm["measured"] < ohm["high"]
    assert ohm["low"] < 2.0 < ohm["high"]
    assert k["measured"] == pytest.approx(3.0, rel=0.02)
    new = read_rig_text(changed(motor=found), "my.toml")
    assert new.origins["motor.terminal_ohm"].kind == "measured"


def test_the_rig_as_it_ships_is_read_by_its_name():
    toy = read_rig(example_path("toy-motor"))
    assert read_rig_text(changed(motor=find("motor", "toy-motor", None)), "x").motor == toy.motor


def _readings():
    """Of a motor of 2 ohm and 3 V per 1000 rpm, brushes 0.1 V, through a meter's places."""
    lines = ['[bench]\non = "2026-03-01"']
    for resistor, shaft in [(4.7, 1.0), (4.7, 1.02), (4.7, 0.98), (4.7, 1.01), (4.7, 0.99),
                            (47, 1.0), (47, 1.01), (47, 0.99)]:
        amps = (1.5 - 0.1) / (resistor + 2.0 * shaft)
        lines.append(f"[[locked]]\nresistor_ohm = {resistor}\nresistor_v = "
                     f"{amps * resistor:.3f}\nmotor_v = {amps * 2.0 * shaft + 0.1:.3f}")
    lines += [f"[[open]]\nrpm = {rpm}\nvolts = {3.0 * rpm / 1000:.2f}"
              for rpm in (800, 1200, 1600, 2000)]
    return "\n".join(lines) + "\n"
