"""Reading a rig file: right ones whole, wrong ones with every problem and its line."""

import math
import os
import re
import subprocess
import sys

import pytest
from steadyturn.errors import WrongInput
from steadyturn.rig.examples import FOLDER, example_names
from steadyturn.rig.file import read, read_rig, read_rig_text
from steadyturn.rig.types import PARTS, Stage, specs

BASE = """\
[motor]
rated_v = 12
no_load_rpm = 5000
terminal_ohm = 2.3
[[stage]]
ratio = 20
[converter]
kind = "buck_boost"
out_v = 5.1
start_v = 3.6
stop_v = 3.1
max_in_v = 24
[switch]
place = "bus_switch"
"""


def problems(text):
    with pytest.raises(WrongInput) as wrong:
        read_rig_text(text, "my.toml")
    return wrong.value.problems


def only(text):
    (problem,) = problems(text)
    return problem


def with_line(section, line):
    """BASE with a line added at the end of a section, and that line's number."""
    rows = BASE.split("\n")
    at = rows.index(section) + 1
    return "\n".join([*rows[:at], line, *rows[at:]]), at + 1


def replaced(old, new):
    assert old in BASE
    return BASE.replace(old, new)


# ------------------------------------------------------------------------- right


@pytest.mark.parametrize("name", example_names())
def test_examples_read(name):
    rig = read_rig(FOLDER / f"{name}.toml")
    assert hash(rig) == hash(read_rig(FOLDER / f"{name}.toml"))
    assert rig == read_rig(FOLDER / f"{name}.toml")
    assert rig.stages


def test_there_are_five_examples_and_the_demos():
    assert {"lakeside-hut", "dangerous-barn", "toy-motor", "night-ferry"} <= set(example_names())
    assert len(example_names()) >= 5
    for name in example_names():
        head = (FOLDER / f"{name}.toml").read_text(encoding="utf-8").split("[rig]")[0]
        assert "invented" in head


def test_values_are_in_si():
    rig = read_rig_text(replaced("terminal_ohm = 2.3", "terminal_ohm = 2.3\nmax_rpm = 6000\n"
                                 "inertia_gcm2 = 30\nemf_v_per_krpm = 3"), "x.toml")
    assert rig.motor.terminal_ohm == 2.3
    assert rig.motor.max_rad_s == pytest.approx(200 * math.pi, rel=1e-15)
    assert rig.motor.inertia_kg_m2 == pytest.approx(30e-7, rel=1e-15)
    # 3 V at 1000 turns/min = 104.72 rad/s
    assert rig.motor.emf_v_s == pytest.approx(3 / 104.71975511965977, rel=1e-12)
    assert rig.supply.power_w == 0.12
    assert rig.name == "x"


def test_every_number_has_an_origin():
    rig = read_rig_text(BASE, "x.toml")
    for section, cls in PARTS.items():
        for field, spec in specs(cls).items():
            key = f"{section}.{spec.key}"
            if spec.type != "number" or getattr(getattr(rig, section), field) is None:
                assert key not in rig.origins
            else:
                origin = rig.origins[key]
                assert origin.low <= origin.value <= origin.high
                assert origin.value == getattr(getattr(rig, section), field)
    given = {k for k, o in rig.origins.items() if o.kind == "given"}
    assert given == {"motor.rated_v", "motor.no_load_rpm", "motor.terminal_ohm", "stage[1].ratio",
                     "converter.out_v", "converter.start_v", "converter.stop_v",
                     "converter.max_in_v"}
    assert rig.origins["stage[1].efficiency"].kind == "assumed"


def test_measured_and_assumed_forms():
    text = replaced("terminal_ohm = 2.3",
                    "terminal_ohm = { measured = 2.31, low = 2.2, high = 2.4, on = 2026-03-01 }\n"
                    "max_rpm = { assumed = 30_000 }\nno_load_a = { assumed = 0.1, low = 0.05 }")
    origins = read_rig_text(text.replace("ratio = 20", "ratio = { assumed = 20 }"), "x").origins
    ohm = origins["motor.terminal_ohm"]
    assert (ohm.kind, ohm.value, ohm.low, ohm.high) == ("measured", 2.31, 2.2, 2.4)
    assert "2026-03-01" in ohm.note
    # the class's 8,000 to 25,000, widened to contain it
    rpm = 2 * math.pi / 60
    fast = origins["motor.max_rpm"]
    assert fast.kind == "assumed"
    assert (fast.low, fast.value, fast.high) == pytest.approx(
        (8000 * rpm, 30_000 * rpm, 30_000 * rpm))
    assert (origins["motor.no_load_a"].low, origins["motor.no_load_a"].high) == (0.05, 0.4)
    # no class range: half to twice
    assert (origins["stage[1].ratio"].low, origins["stage[1].ratio"].high) == (10, 40)
    assert origins["motor.rated_v"].low == origins["motor.rated_v"].high == 12


def test_points_pins_and_text():
    rig = read_rig_text(BASE + '[board.pins]\nlamp_pin = 20\nalert_pin = -1\n[rig]\n'
                        'name = "A name"\nnote = "Hütte"\n[[converter.points]]\nin_v = 6\n'
                        "out_a = 0.5\nefficiency = { measured = 0.9, low = 0.88, high = 0.92 }\n",
                        "x.toml")
    assert rig.board.pins == {"lamp_pin": 20, "alert_pin": -1}
    assert (rig.name, rig.note) == ("A name", "Hütte")
    assert rig.converter.points[0].efficiency == 0.9
    assert rig.origins["converter.points[1].efficiency"].kind == "measured"
    with pytest.raises(TypeError):
        rig.origins["x"] = 1


def test_where_gives_lines():
    reading = read(FOLDER / "lakeside-hut.toml")
    rows = (FOLDER / "lakeside-hut.toml").read_text(encoding="utf-8").split("\n")
    for key in ("motor.terminal_ohm", "stage[2].driven_teeth", "board.lamp"):
        line = int(reading.where[key].rpartition(":")[2])
        assert rows[line - 1].startswith(key.rpartition(".")[2])


def test_bom_and_windows_line_ends_are_read():
    rig = read_rig_text("\ufeff" + BASE.replace("\n", "\r\n"), "x.toml")
    assert rig.motor.rated_v == 12


def test_reading_needs_no_numpy():
    code = ("import sys; from steadyturn.rig.file import read_rig;"
            f"read_rig({str(FOLDER / 'lakeside-hut.toml')!r});"
            "sys.exit('numpy' in sys.modules or 'tomlkit' in sys.modules)")
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0


# ------------------------------------------------------------------------- wrong

# section, line, words that the message must have
WRONG_LINES = [
    ("[motor]", 'max_a = "12"', ["without quotes: max_a = 12"]),
    ("[motor]", 'max_a = "1,5 A"', ["max_a = 1.5", "in A"]),
    ("[motor]", "max_a = true", ["a number in A"]),
    ("[motor]", "max_a = nan", ["0.01 to 100 A"]),
    ("[motor]", "max_a = inf", ["0.01 to 100 A"]),
    ("[motor]", "max_a = -1", ["0.01 to 100 A", "nameplate"]),
    ("[motor]", "max_a = 1" + "0" * 400, ["0.01 to 100 A"]),
    ("[motor]", "max_a = [1]", ["a number in A"]),
    ("[motor]", "max_a = 2026-03-01", ["a number in A"]),
    ("[motor]", "max_a = { measured = 2 }", ["interval", "low"]),
    ("[motor]", "max_a = { measured = 2, low = 3, high = 4 }", ["this order, not 3, 2, 4"]),
    ("[motor]", "max_a = { measured = 2, low = 1, high = nan }", ["0.01 to 100 A"]),
    ("[motor]", "max_a = { assumed = 2, hihg = 4 }", ["Did you mean 'high'?"]),
    ("[motor]", "max_a = { assumed = 2, measured = 4 }", ["where it comes from"]),
    ("[motor]", "max_a = { value = 2 }", ["{ measured = ... } or { assumed = ... }"]),
    ("[motor]", 'max_a = { measured = 2, low = 1, high = 3, on = "2026-03-01" }', ["a date"]),
    ("[motor]", "inductance_mh = 1_500", ["0 to 100 mH", "1.5 mH would fit"]),
    ("[motor]", "max_ma = 1500", ["did you mean 'max_a'?", "write max_a = 1.5"]),
    ("[motor]", "max = 2", ["there is no such key in [motor]"]),
    ("[motor]", "no_lod_a = 0.1", ["did you mean 'no_load_a'?"]),
    ("[motor]", "draw_a = 0.1", ["belongs in [load]"]),
    ("[motor]", "name = 5", ['name = "5"']),
    ("[converter]", "disconnects_when_disabled = 1", ["disconnects_when_disabled = true"]),
    ("[converter]", 'disconnects_when_disabled = "no"', ["disconnects_when_disabled = false"]),
    ("[converter]", "points = 3", ["[[converter.points]]"]),
    ("[converter]", "points = { in_v = 3 }", ["[[converter.points]]"]),
    ("[stage]", "", ["driver"]),
]


@pytest.mark.parametrize(("section", "line", "words"), WRONG_LINES[:-1])
def test_a_wrong_line_is_shown_with_what_is_right(section, line, words):
    text, number = with_line(section, line)
    problem = only(text)
    assert problem.where == f"my.toml:{number}"
    for word in words:
        assert word in str(problem)
    assert len(str(problem)) < 500
    assert problem.right


UNITS = [
    ("terminal_ohm = 2.3", "terminal_kohm = 0.0023", "terminal_ohm = 2.3"),
    ("terminal_ohm = 2.3", "terminal_mohm = 2300", "terminal_ohm = 2.3"),
    ("rated_v = 12", "rated_mv = 12_000", "rated_v = 12"),
    ("rated_v = 12", "rated_volts = 12", "rated_v = 12"),
    ("no_load_rpm = 5000", "no_load_krpm = 5", "no_load_rpm = 5000"),
    ("start_v = 3.6", "start_mv = 3600", "start_v = 3.6"),
]


@pytest.mark.parametrize(("old", "new", "right"), UNITS)
def test_a_key_in_another_unit_is_converted(old, new, right):
    problem = only(replaced(old, new))
    assert f"write {right}." in problem.how
    assert problem.key.endswith(new.split(" ")[0])


def test_other_units_of_optional_keys():
    assert "radius_mm = 110" in only(BASE + "[crank]\nradius_cm = 11\n").how
    assert "radius_mm" in only(BASE + "[crank]\nradius = 110\n").right
    assert "capacity_wh = 15.4" in only(BASE + "[load]\ncapacity_mah = 4000\n").how
    assert "shunt_mohm = 50" in only(BASE + "[sensor]\nshunt_ohm = 0.05\n").how
    assert "emf_v_per_krpm = 3" in only(
        replaced("terminal_ohm = 2.3", "terminal_ohm = 2.3\nemf_mv_per_rpm = 3")).how


MISSING = [("rated_v = 12\n", "motor.rated_v"), ("terminal_ohm = 2.3\n", "motor.terminal_ohm"),
           ("out_v = 5.1\n", "converter.out_v"), ('kind = "buck_boost"\n', "converter.kind"),
           ('place = "bus_switch"\n', "switch.place"), ("ratio = 20\n", "stage[1]")]


@pytest.mark.parametrize(("line", "key"), MISSING)
def test_a_missing_key_is_named_at_its_section(line, key):
    text = replaced(line, "")
    problem = only(text)
    assert problem.key == key
    row = text.split("\n")[int(problem.where.rpartition(":")[2]) - 1]
    assert row.strip("[]") == key.partition(".")[0].partition("[")[0]


def test_missing_sections_are_named_once_each():
    found = problems("[rig]\n")
    assert [p.key for p in found] == ["motor", "converter", "switch", "stage"]
    assert "terminal_ohm" in found[0].right


# text, line, words
SECTIONS = [
    (BASE.replace("[motor]", "[motr]"), 1, "did you mean [motor]?"),
    (BASE.replace("[[stage]]", "[[stages]]"), 5, "did you mean [[stage]]?"),
    (BASE.replace("[[stage]]", "[stage]"), 5, "double brackets"),
    (BASE.replace("[motor]", "[[motor]]"), 1, "single brackets"),
    (BASE + "[weather]\n", 15, "may have rig, motor"),
    ("terminal_ohm = 3\n" + BASE, 1, "it belongs below [motor]"),
    ("crank = 3\n" + BASE, 1, "[crank]"),
    (BASE + "[board.pins]\nlamp_pn = 3\n", 16, "lamp_pin"),
    (BASE + "[board.pins]\nlamp_pin = 49\n", 16, "0 to 48"),
    (BASE + "[board.pins]\nlamp_pin = 16\n", 16, "pin 16 is used for lamp_pin and for"),
    (BASE + "[board]\npins = 3\n", 16, "[board.pins]"),
    (BASE + "[[stage]]\nratio = 2\ndriver_teeth = 12\n", 15, "not both"),
    (BASE + '[rig]\nname = "Hütte"\n', 16, "without accents"),
]


@pytest.mark.parametrize(("text", "line", "words"), SECTIONS)
def test_wrong_sections_and_pins(text, line, words):
    problem = only(text)
    assert problem.where == f"my.toml:{line}"
    assert words in str(problem)


# line, words: TOML itself is wrong there
SYNTAX = [
    ("max_a = 2,3", "decimal point, not a comma"), ("max_a = .5", "begins with a digit"),
    ("max_a = 5.", "ends with a digit"), ("max_a = 05", "extra zeros"),
    ("max_a = 2 A", "a number stands alone"), ("max_a = 2.3ohm", "a number stands alone"),
    ("name = hut", "text stands in quotes"), ("max_a =", "no value behind the = sign"),
    ("max_a: 5", "joined by ="), ("max_a", "a line is 'key = value'"),
    ("name = “hut”", "quotes are the plain"), ('name = "hut', "not closed"),
    ("max_a = 5 5", ""), ("max_a = " + "9" * 5000, ""), ("max_a = \x01", ""),
]


@pytest.mark.parametrize(("line", "words"), SYNTAX)
def test_syntax_errors_have_line_and_remedy(line, words):
    text, number = with_line("[motor]", line)
    problem = only(text)
    assert problem.where == f"my.toml:{number}"
    assert words in problem.right
    assert len(str(problem)) < 300


def test_syntax_errors_do_not_hide_the_rest():
    text = replaced("rated_v = 12", "rated_v = 12,0").replace("out_v = 5.1", "out_v = .5").replace(
        "start_v = 3.6", 'start_v = "3.6"') + "[crank]\nradius_cm = 11\n[crank]\n"
    assert [p.where for p in problems(text)] == [
        f"my.toml:{n}" for n in (2, 9, 10, 16, 17)]


def test_open_brackets_end_in_one_clear_problem():
    found = problems(BASE.replace("ratio = 20", "ratio = [20"))
    assert len(found) == 1
    assert "my.toml:" in found[0].where
    found = problems('x = """\n' + BASE)
    assert len(found) == 1


def test_duplicate_keys_carry_both_lines():
    problem = only(replaced("rated_v = 12", "rated_v = 12\nrated_v = 24"))
    assert problem.where == "my.toml:3"
    assert "line 2" in problem.right


RULES = [
    ("rated_v = 12", "rated_v = 12\nbrush_drop_v = 2.5\nno_load_a = 5", "motor.rated_v"),
    ("stop_v = 3.1", "stop_v = 3.6", "converter.stop_v"),
    ("max_in_v = 24", "max_in_v = 3", "converter.start_v"),
    ("out_v = 5.1", "out_v = 12", "converter.out_v"),
    ("out_v = 5.1", "out_v = 3.3", "converter.out_v"),
    ('"buck_boost"', '"boost"\nheadroom_v = 1', None),
    ("[switch]", "[load]\nkind = \"resistor\"\n[switch]", "load.kind"),
    ("[switch]", "[load]\nsag_v = 4\nmin_v = 4.2\n[switch]", "load.min_v"),
    ("[switch]", "[supply]\nfade_v = 3\n[switch]", "supply.forbid_v"),
    ("[switch]", "[supply]\noff_v = 3.5\n[switch]", "supply.off_v"),
    ("[switch]", "[air]\ncold_c = 35\n[switch]", "air.cold_c"),
    ("[switch]", "[arm]\ncomfort_low_tpm = 95\n[switch]", "arm.comfort_low_tpm"),
    ("[switch]", "[rectifier]\nkind = \"none\"\n[switch]", "rectifier.kind"),
    ("[switch]", "[protection]\noutput_cut_v = 5\n[switch]", "protection.output_cut_v"),
    ("[switch]", "[protection]\nbus_cut_v = 3\n[switch]", "protection.bus_cut_v"),
    ("[switch]", "[protection]\nbus_clamp_w = 3\n[switch]", "protection.bus_clamp_w"),
]


@pytest.mark.parametrize(("old", "new", "key"), RULES)
def test_values_that_do_not_fit_together(old, new, key):
    text = replaced(old, new)
    if key is None:
        read_rig_text(text, "my.toml")
        return
    found = problems(text)
    assert key in [p.key for p in found]
    for problem in found:
        assert re.fullmatch(r"my\.toml:\d+", problem.where)


def test_a_boost_and_a_buck_on_the_wrong_side():
    boost = BASE.replace('"buck_boost"', '"boost"').replace("3.6", "6").replace("3.1", "5.5")
    assert "only raises" in only(boost).right
    buck = BASE.replace('"buck_boost"', '"buck"').replace("24", "5.2")
    assert "only lowers" in only(buck).right


def test_rules_do_not_speak_about_values_that_are_wrong_themselves():
    found = problems(replaced("stop_v = 3.1", "stop_v = 500"))
    assert [p.key for p in found] == ["converter.stop_v"]


# ------------------------------------------------------------------------- files


def test_files_that_are_none(tmp_path):
    with pytest.raises(WrongInput, match="there is no such file"):
        read_rig(tmp_path / "no.toml")
    with pytest.raises(WrongInput, match="folder"):
        read_rig(tmp_path)
    (tmp_path / "latin.toml").write_bytes(b'[rig]\nname = "H\xfctte"\n')
    with pytest.raises(WrongInput, match=r"latin\.toml:2: not UTF-8 text: byte 0xfc"):
        read_rig(tmp_path / "latin.toml")
    with (tmp_path / "big.toml").open("wb") as big:
        big.truncate(50_000_000)
    with pytest.raises(WrongInput, match="too big"):
        read_rig(tmp_path / "big.toml")
    with pytest.raises(WrongInput, match="cannot be read"):
        read_rig("a\0b.toml")
    (tmp_path / "empty.toml").write_bytes(b"")
    with pytest.raises(WrongInput, match="motor"):
        read_rig(tmp_path / "empty.toml")


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="this system has no named pipes")
def test_a_pipe_or_a_device_is_refused_and_not_waited_for(tmp_path):
    os.mkfifo(tmp_path / "pipe.toml")
    for path in (tmp_path / "pipe.toml", os.devnull):
        with pytest.raises(WrongInput, match="a device or a pipe"):
            read_rig(path)


def test_deep_brackets_are_no_traceback():
    for text in ("x = " + "[" * 20_000, "x = " + "[" * 3000 + "]" * 3000,
                 "x" + ".x" * 3000 + "=1"):
        assert problems(text)


def test_stage_teeth_and_ratio_both_count():
    rig = read_rig_text(BASE + "[[stage]]\ndriver_teeth = 40\ndriven_teeth = 20\n", "x")
    assert rig.stages == (Stage(ratio=20.0), Stage(driver_teeth=40, driven_teeth=20))
