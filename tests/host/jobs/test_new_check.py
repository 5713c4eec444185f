"""`new` and `check`: the jobs, and the commands as a person or a script calls them."""

import json
import os
import re

import pytest
from click.testing import CliRunner
from steadyturn.cli.main import code, main
from steadyturn.errors import WrongInput
from steadyturn.jobs import new as new_job
from steadyturn.jobs.check import check
from steadyturn.jobs.new import QUESTIONS, new_rig, parse, read_back
from steadyturn.rig.examples import FOLDER, example_names
from steadyturn.rig.file import read, read_rig
from steadyturn.rig.types import Bank, Board, Converter, Load, specs


def choices(cls, field):
    return specs(cls)[field].choices


def dangerous(tmp_path, *changes):
    """The dangerous example with lines replaced."""
    text = (FOLDER / "dangerous-barn.toml").read_text(encoding="utf-8")
    for old, new in changes:
        assert old in text
        text = text.replace(old, new)
    path = tmp_path / "barn.toml"
    path.write_text(text, encoding="utf-8")
    return path


# --------------------------------------------------------------------------- new


def test_there_are_at_most_eight_questions_each_with_an_option():
    assert len(QUESTIONS) <= 8
    command = main.get_command(None, "new")
    options = {name for p in command.params for name in p.opts}
    for question in QUESTIONS:
        assert question.option in options
        assert parse(question, "") is None
        assert parse(question, " ? ") is None
        assert question.how or question.choices


def test_everything_unknown_still_makes_a_file_that_reads_back(tmp_path):
    path = tmp_path / "my.toml"
    result = new_rig(path, {})
    reading = read(path)
    assert reading.rig.name == "my"
    assert result.assumed == tuple(q.name for q in QUESTIONS)
    for key in ("motor.rated_v", "motor.no_load_rpm", "motor.terminal_ohm", "stage[1].ratio",
                "converter.out_v", "converter.max_in_v"):
        origin = reading.rig.origins[key]
        assert origin.kind == "assumed"
        assert origin.low < origin.value < origin.high
        assert key in reading.where
    assert path.read_text(encoding="utf-8").count("#") > 15
    assert "\r" not in path.read_bytes().decode()


def test_answers_come_back_as_given(tmp_path):
    path = tmp_path / "hut_2.toml"
    new_rig(path, {"motor_volts": "24", "motor_rpm": "4200", "motor_ohm": "4,0", "motors": "2",
                   "ratio": "20.25", "converter": "buck", "load": "Power bank",
                   "board": "esp32-s3"})
    rig = read_rig(path)
    assert (rig.motor.rated_v, rig.motor.terminal_ohm, rig.bank.series) == (24, 4, 2)
    assert rig.stages[0].ratio == 20.25
    assert (rig.converter.kind, rig.load.kind, rig.board.kind) == ("buck", "power_bank",
                                                                   "esp32_s3")
    assert rig.origins["motor.rated_v"].kind == "given"
    assert rig.origins["stage[1].ratio"].kind == "given"
    assert rig.name == "hut 2"


@pytest.mark.parametrize("converter", choices(Converter, "kind"))
@pytest.mark.parametrize("load", choices(Load, "kind"))
def test_every_kind_makes_a_good_file(tmp_path, converter, load):
    new_rig(tmp_path / "x.toml", {"converter": converter, "load": load})
    assert read_rig(tmp_path / "x.toml").converter.kind == converter


@pytest.mark.parametrize("board", choices(Board, "kind"))
def test_every_board_makes_a_good_file(tmp_path, board):
    new_rig(tmp_path / "x.toml", {"board": board})
    assert read_rig(tmp_path / "x.toml").board.kind == board


@pytest.mark.parametrize("volts", ["0.5", "1.5", "6", "60"])
@pytest.mark.parametrize("ohm", ["", "0.05", "2", "300"])
@pytest.mark.parametrize("rpm", ["", "100", "60000"])
def test_extreme_motors_make_a_file_or_say_why_not(tmp_path, volts, ohm, rpm):
    path = tmp_path / "x.toml"
    answers = {"motor_volts": volts, "motor_ohm": ohm, "motor_rpm": rpm}
    if (volts, ohm) == ("0.5", "300"):  # loses more than its nameplate says it has
        with pytest.raises(WrongInput, match="rated_v must be more"):
            new_rig(path, answers)
        assert not list(tmp_path.iterdir())
    else:
        new_rig(path, answers)
        read_rig(path)


def test_all_wrong_answers_are_told_at_once(tmp_path):
    with pytest.raises(WrongInput) as wrong:
        new_rig(tmp_path / "x.toml", {"motor_volts": "12 ohm", "ratio": "0", "motors": "1.5",
                                      "board": "picoo"})
    assert [p.where for p in wrong.value.problems] == ["--motor-volts", "--motors", "--ratio",
                                                       "--board"]
    assert "Did you mean pico" in str(wrong.value)
    assert not list(tmp_path.iterdir())


@pytest.mark.parametrize(("name", "answer", "value"), [
    ("motor_volts", "12V", 12), ("motor_volts", "12 volts", 12), ("motor_volts", "1.5", 1.5),
    ("motor_volts", "4,5 V", 4.5), ("motor_ohm", "500 mohm", 0.5), ("motor_rpm", "5000 rpm", 5000),
    ("motor_rpm", "5.5 krpm", 5500), ("motor_rpm", "5000 turns/min", 5000),
    ("ratio", "20", 20), ("ratio", "1:20", 20), ("ratio", "20:1", 20), ("ratio", "60/12", 5),
    ("ratio", "60/12 and 48/12", 20), ("ratio", "60/12 x 48/12", 20), ("ratio", "0.5", 0.5),
    ("converter", "usb booster", "boost"), ("converter", "step up", "boost"),
    ("converter", "Step-down module", "buck"), ("converter", "step up/down", "buck_boost"),
    ("converter", "buck-boost", "buck_boost"), ("load", "smartphone", "phone"),
    ("board", "esp32 s3", "esp32_s3"),
])
def test_answers_as_people_write_them(name, answer, value):
    question = next(q for q in QUESTIONS if q.name == name)
    assert parse(question, answer) == pytest.approx(value)
    assert bool(read_back(question, answer)) == (answer not in ("1.5", "20", "0.5", "buck-boost",
                                                                "esp32 s3"))


@pytest.mark.parametrize(("name", "answer"), [
    ("motor_volts", "12 A"), ("motor_volts", "twelve"), ("motor_volts", "12 V or so"),
    ("ratio", "20 teeth"), ("ratio", "0/12"), ("ratio", "1:0"), ("ratio", "60/12 - 48/12"),
    ("converter", "thing"), ("motor_volts", "1e3"),
])
def test_answers_that_are_none(name, answer):
    question = next(q for q in QUESTIONS if q.name == name)
    with pytest.raises(ValueError, match=r"to|one of"):
        parse(question, answer)
    assert read_back(question, answer) == ""


def test_other_words_in_a_file(tmp_path):
    path = tmp_path / "x.toml"
    new_rig(path, {"converter": "boost"})
    text = path.read_text(encoding="utf-8").replace('kind = "boost"', 'kind = "usb booster"')
    path.write_text(text, encoding="utf-8")
    with pytest.raises(WrongInput, match='Did you mean "boost"'):
        read_rig(path)


@pytest.mark.parametrize(("volts", "rpm", "ohm"), [(12, 4500, 12), (24, 4000, 1.5),
                                                   (12, 5500, 6), (6, 12000, 1)])
def test_guesses_follow_from_the_answers(tmp_path, volts, rpm, ohm):
    path = tmp_path / "x.toml"
    new_rig(path, {"motor_volts": str(volts), "motor_rpm": str(rpm), "motor_ohm": str(ohm)})
    rig = read_rig(path)
    stall = volts / ohm
    assert rig.motor.max_a == pytest.approx(stall / 5)
    assert rig.motor.max_rad_s == pytest.approx(1.3 * rig.motor.no_load_rad_s)
    assert 0.01 * stall <= rig.motor.no_load_a <= 0.06 * stall
    for key in ("max_a", "max_rpm", "no_load_a"):
        origin = rig.origins[f"motor.{key}"]
        assert origin.kind == "assumed"
        assert origin.low < origin.value < origin.high
    text = path.read_text(encoding="utf-8")
    assert f"a fifth of the stall current, {volts} V / {ohm} ohm" in text
    assert rig.bank.mount_max_c == specs(Bank)["mount_max_c"].typical[1]
    assert rig.converter.in_limit_a == specs(Converter)["in_limit_a"].typical[1]


@pytest.mark.parametrize(("rpm", "name", "geared"), [
    ("200", "", True), ("999", "", True), ("1000", "", False), ("5000", "", False),
    ("5000", "gearbox motor", True)])
def test_a_motor_with_a_gearbox(tmp_path, rpm, name, geared):
    path = tmp_path / "x.toml"
    made = new_rig(path, {"motor_volts": "12", "motor_rpm": rpm, "motor_ohm": "8"})
    if name:
        text = path.read_text(encoding="utf-8").replace("[motor]", f'[motor]\nname = "{name}"')
        path.write_text(text, encoding="utf-8")
    assert bool(made.notes) == (geared and not name)
    found = [remark for remark in check(path).remarks if "gearbox" in remark.text]
    assert bool(found) == geared
    if geared:
        assert "friction_nm" in found[0].how


def test_an_existing_file_is_kept(tmp_path):
    path = tmp_path / "x.toml"
    path.write_text("mine", encoding="utf-8")
    with pytest.raises(WrongInput, match="already there"):
        new_rig(path, {})
    assert path.read_text(encoding="utf-8") == "mine"
    new_rig(path, {}, force=True)
    read_rig(path)
    with pytest.raises(WrongInput, match="folder"):
        new_rig(tmp_path, {})
    with pytest.raises(WrongInput, match="no folder"):
        new_rig(tmp_path / "no" / "x.toml", {})


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="this system has no named pipes")
def test_force_puts_no_file_in_a_devices_place(tmp_path):
    pipe = tmp_path / "pipe.toml"
    os.mkfifo(pipe)
    with pytest.raises(WrongInput, match="a device or a pipe"):
        new_rig(pipe, {}, force=True)
    assert pipe.is_fifo()


@pytest.mark.parametrize("force", [False, True])
def test_nothing_is_left_behind_when_stopped_while_writing(tmp_path, monkeypatch, force):
    def stopped(*_args):
        raise KeyboardInterrupt

    monkeypatch.setattr(new_job.Path, "replace", stopped)
    monkeypatch.setattr(new_job.os, "link", stopped)
    with pytest.raises(KeyboardInterrupt):
        new_rig(tmp_path / "x.toml", {}, force=force)
    assert not list(tmp_path.iterdir())


def test_questions_at_the_prompt(tmp_path):
    path = tmp_path / "x.toml"
    answers = "12 V\n5000 ohm\n5000\n?\n\n1:20\nbost\nusb booster\n\n\n"
    result = CliRunner().invoke(main, ["new", str(path)], input=answers)
    assert result.exit_code == 0, result.output
    assert result.output.count("Not that:") == 2
    # typed lines are not echoed here: a question's end and what is said of its answer share one
    assert max(len(line.rsplit("): ", 1)[-1]) for line in result.output.splitlines()
               if str(path) not in line) <= 80
    assert "5/8  Turns of the motor for one turn of the handle (60/12 and 48/12, or 20): " in (
        result.output)
    assert "That is 12 V." in result.output
    assert "That is 20 motor turns for one of the handle." in result.output
    assert "That is boost." in result.output
    assert "1/8" in result.output
    assert "8/8" in result.output
    assert f"next: steadyturn check {path}" in result.output
    rig = read_rig(path)
    assert (rig.motor.rated_v, rig.stages[0].ratio, rig.converter.kind) == (12, 20, "boost")


def test_the_prompt_that_ends_early_writes_nothing(tmp_path, capsys, monkeypatch):
    result = CliRunner().invoke(main, ["new", str(tmp_path / "x.toml")], input="12\n")
    assert result.exit_code == 1
    assert not list(tmp_path.iterdir())


def test_options_leave_only_the_other_questions(tmp_path):
    path = tmp_path / "x.toml"
    result = CliRunner().invoke(main, ["new", str(path), "--motor-volts", "12", "--board", "?"],
                                input="\n" * 6)
    assert result.exit_code == 0, result.output
    assert "1/6" in result.output


def test_scripts_need_no_questions(tmp_path, capsys):
    path = tmp_path / "x.toml"
    assert code(["new", str(path), "--no-input", "--motors", "2", "--json"]) == 0
    result = json.loads(capsys.readouterr().out)
    assert result["file"] == str(path)
    assert result["answered"] == ["motors"]
    assert set(result) == {"file", "rig", "answered", "assumed", "understood", "notes",
                           "next", "low_tpm", "high_tpm", "dangerous"}
    assert code(["new", str(path), "--yes"]) == 2
    assert "--force" in capsys.readouterr().err
    assert code(["new", str(path), "--yes", "--force"]) == 0


# ------------------------------------------------------------------------- check


@pytest.mark.parametrize("name", [n for n in example_names() if n != "dangerous-barn"])
def test_good_examples_pass(name, capsys):
    assert code(["check", str(FOLDER / f"{name}.toml")]) == 0
    out = capsys.readouterr().out
    assert "no hazard forbids it" in out
    assert "assumed" in out


def test_check_counts_and_explains():
    result = check(FOLDER / "lakeside-hut.toml")
    rig = read_rig(FOLDER / "lakeside-hut.toml")
    assert result.safe
    assert result.given_count + result.measured_count + result.assumed_count == len(rig.origins)
    assert result.measured_count == len(result.measured) == 7
    ohm = next(v for v in result.measured if v.key == "motor.terminal_ohm")
    assert (ohm.value, ohm.low, ohm.high, ohm.unit) == (1.34, 1.26, 1.43, "ohm")
    assert re.search(r"lakeside-hut\.toml:\d+$", ohm.where)
    assert "2026-03-01" in ohm.note
    supply = next(v for v in result.assumed if v.key == "supply.power_mw")
    assert (supply.value, supply.low, supply.high) == pytest.approx((120, 80, 250))
    assert supply.where == ""


def test_check_json_names_are_stable(capsys):
    assert code(["check", "lakeside-hut", "--json"]) == 0
    result = json.loads(capsys.readouterr().out)
    assert set(result) == {"file", "rig", "safe", "given_count", "measured_count",
                           "assumed_count", "hazards", "remarks", "assumed", "measured"}
    assert set(result["assumed"][0]) == {"key", "value", "low", "high", "unit", "where", "note",
                                         "how"}


def test_the_dangerous_example_is_refused(capsys):
    assert code(["check", "dangerous-barn"]) == 1
    out = capsys.readouterr().out
    assert "IS NOT SAFE" in out
    assert "output_cut_v" in out
    result = check(FOLDER / "dangerous-barn.toml")
    (hazard,) = [h for h in result.hazards if h.refuses]
    assert hazard.name == "open_circuit_device"
    assert hazard.volts > 15 > hazard.rating_v


def test_a_cut_in_hardware_makes_it_safe(tmp_path):
    path = dangerous(tmp_path, ("[supply]", "[protection]\noutput_cut_v = 5.45\n[supply]"))
    assert check(path).safe


def test_a_rating_that_is_only_assumed_is_said_to_be(tmp_path):
    # 35 V is written in the file; left out, it is assumed to be 25 V
    high = ("driver_teeth = 72", "driver_teeth = 120")
    named = [h for h in check(dangerous(tmp_path, high)).hazards if "capacitor" in h.name]
    assert named == []
    out = ("capacitor_max_v = 35\n", "")
    (hazard,) = [h for h in check(dangerous(tmp_path, high, out)).hazards
                 if "capacitor" in h.name]
    assert "only assumed" in hazard.how
    assert "capacitor_max_v in [bus]" in hazard.how
    assert hazard.refuses


@pytest.mark.parametrize("chip", ["ina219", "ina3221", "adc"])
def test_a_chip_without_alert_is_refused_where_a_rating_can_be_exceeded(tmp_path, chip):
    ina219 = ('chip = "ina226"', f'chip = "{chip}"\namplifier_gain = 20')
    names = [h.name for h in check(dangerous(tmp_path, ina219)).hazards]
    assert "sensor_without_alert" in names
    cut = ("[supply]", "[protection]\noutput_cut_v = 5.45\n[supply]")
    names = [h.name for h in check(dangerous(tmp_path, ina219, cut)).hazards]
    assert "sensor_without_alert" not in names


def test_a_wrong_file_lists_every_problem(tmp_path, capsys):
    path = tmp_path / "bad.toml"
    path.write_text('[motor]\nterminal_kohm = 0.0023\nrated_v = "12"\n[convertor]\n',
                    encoding="utf-8")
    assert code(["check", str(path)]) == 2
    captured = capsys.readouterr()
    assert captured.out == ""
    for words in ("bad.toml:2: motor.terminal_kohm", "bad.toml:3: motor.rated_v",
                  "did you mean [converter]?"):
        assert words in " ".join(captured.err.split())


def test_screens_fit_eighty_columns(tmp_path, capsys):
    code(["new", str(tmp_path / "x.toml"), "--no-input"])
    for name in ("dangerous-barn", "toy-motor", "lakeside-hut"):
        code(["check", name, "--all"])
    for row in capsys.readouterr().out.split("\n"):
        assert len(row) <= 80 or "/" in row  # a long path is not broken


def test_remarks_are_shown_with_their_line(tmp_path):
    path = dangerous(tmp_path, ("terminal_ohm = 0.6", "terminal_ohm = 0.06"),
                     ('place = "bus_switch"', 'place = "enable"'),
                     ("shunt_mohm = 20", "shunt_mohm = 50"))
    remarks = {r.key: r for r in check(path).remarks}
    assert {"switch.place", "sensor.shunt_mohm", "sensor.alert_wired"} <= set(remarks)
    assert re.search(r":\d+$", remarks["switch.place"].where)
