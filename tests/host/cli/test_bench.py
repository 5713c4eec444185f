"""`bench` as a person and a script meet it."""

from __future__ import annotations

import contextlib
import dataclasses
import io
import json
import re
import sys
import time
from pathlib import Path

import pytest
from steadyturn.cli.main import code
from steadyturn.rig.examples import example_path
from steadyturn.rig.file import read_rig
from steadyturn.sizing.parts_file import read_drawer

sys.path.insert(0, str(Path(__file__).parents[1] / "bench"))
from benches import recommended, world

HIDDEN = ("resistor", "rpm_share", "at", "force_share")


def toml(readings, head="[meter]\npercent = 0.5\n"):
    """A file of readings as somebody would write it."""
    lines = [head]
    for kind, one in readings.items:
        lines.append(f"[[{kind}]]")
        for f in dataclasses.fields(one):
            value = getattr(one, f.name)
            if value is not None and f.name not in HIDDEN:
                lines.append(f"{f.name} = {round(value, 5)}")
    return "\n".join(lines) + "\n"


def run(*args: str, typed: str = "") -> tuple[int, str, str]:
    out, err = io.StringIO(), io.StringIO()
    before, sys.stdin = sys.stdin, io.StringIO(typed)
    try:
        with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
            status = code(list(args))
    finally:
        sys.stdin = before
    return status, out.getvalue(), err.getvalue()


@pytest.fixture
def bench(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    one = world(5)
    readings = recommended(one)
    Path("r.toml").write_text(toml(readings), encoding="utf-8")
    return one, readings


def test_a_bare_motor_goes_into_the_parts_file_and_comments_stay(bench):
    one, _ = bench
    Path("d.toml").write_text(
        '# my drawer\n[[motor]] # first\nname = "red"\nrated_v = 12 # plate\n'
        'no_load_rpm = 4000\nterminal_ohm = 2 # guessed\n\n[[motor]]\nname = "blue"\n'
        'rated_v = 6\nno_load_rpm = 9000\nterminal_ohm = 9\n# the end\n', encoding="utf-8")
    status, out, err = run("bench", "--motor", "red", "--readings", "r.toml", "--parts", "d.toml",
                           "--plot", "p.png")
    assert (status, err) == (0, "")
    assert max(map(len, out.splitlines())) <= 80
    assert Path("p.png").stat().st_size > 10_000
    text = Path("d.toml").read_text(encoding="utf-8")
    assert text.startswith("# my drawer\n[[motor]] # first\n")
    assert text.endswith("# the end\n")
    assert ": terminal_ohm = 2 # guessed\nterminal_ohm = { measured" in text
    assert text.index("emf_v_per_krpm") < text.index('name = "blue"')
    red, blue = read_drawer("d.toml", typical=True).motors[:2]
    origin = red.origins["motor.terminal_ohm"]
    assert origin.kind == "measured"
    assert origin.low < one.motor.terminal_ohm < origin.high
    assert blue.part.terminal_ohm == 9
    # what is narrower and agrees is not written over by the same bench
    before = Path("d.toml").read_text(encoding="utf-8")
    status, out, _ = run("bench", "--motor", "red", "--readings", "r.toml", "--parts", "d.toml")
    assert status == 0
    assert "Left as it was" in out
    assert Path("d.toml").read_text(encoding="utf-8") == before


def test_a_new_motor_makes_a_parts_file_that_size_reads(bench):
    status, out, _ = run("bench", "--motor", "blue", "--readings", "r.toml", "--parts", "n.toml",
                         "--json")
    assert status == 0
    answer = json.loads(out)
    assert answer["written"][:2] == ["emf_v_per_krpm", "terminal_ohm"]
    assert set(answer["result"]["correlation"]) > {"emf_v_s", "terminal_ohm"}
    assert answer["result"]["next"][0]["narrower_percent"] > 0
    assert read_drawer("n.toml", typical=True).motors[0].name == "blue"
    status, out, _ = run("bench", "--motor", "blue", "--readings", "r.toml", "--no-write")
    assert "Nothing was written" in out


@pytest.mark.parametrize(("name", "factor", "said"), [
    ("motor_v", 10, "Is the decimal point right? motor_v"), ("motor_v", 0.001, "thousandths"),
    ("swap", 0, "swapped?")])
def test_slips_are_named_with_their_line(bench, name, factor, said):
    _, readings = bench
    items = list(readings.items)
    kind, one = items[8]
    wrong = (dataclasses.replace(one, motor_v=one.resistor_v, resistor_v=one.motor_v)
             if name == "swap" else dataclasses.replace(one, motor_v=one.motor_v * factor))
    items[8] = kind, wrong
    text = toml(dataclasses.replace(readings, items=tuple(items)))
    Path("r.toml").write_text(text, encoding="utf-8")
    status, out, _ = run("bench", "--motor", "red", "--readings", "r.toml", "--no-write")
    line = 1 + [i for i, row in enumerate(text.splitlines()) if row == "[[locked]]"][8]
    assert status == 0
    assert f"locked 9 (r.toml:{line})" in out
    assert said in " ".join(out.split())


def test_the_machine_and_its_shipped_example(bench):
    text = ("[[in_out]]\nin_v = 8.0\nin_a = {}\nout_v = 5.1\nout_a = {}\n")
    Path("c.toml").write_text("".join(text.format(*p) for p in (
        (0.16, 0.2), (0.37, 0.5), (0.74, 1.0), (0.586, 0.8))), encoding="utf-8")
    Path("my.toml").write_bytes(example_path("lakeside-hut").read_bytes())
    status, out, _ = run("bench", "my.toml", "--readings", "c.toml")
    assert status == 0
    assert "loss, constant" in out
    assert read_rig("my.toml").origins["converter.loss_w"].kind == "measured"
    status, _, err = run("bench", "lakeside-hut", "--readings", "c.toml")
    assert status == 2
    assert "ships with the program" in err


def test_alone_it_says_what_can_be_measured(bench):
    status, _, err = run("bench")
    assert status == 2
    assert "bench --motor NAME" in " ".join(err.split())
    assert "bench RIG" in " ".join(err.split())


@pytest.mark.parametrize(("wires", "kind"), [("3", "brushless"), ("4", "stepper")])
def test_other_motors_are_refused_with_the_reason(bench, wires, kind):
    status, _, err = run("bench", "--motor", "red", "--wires", wires)
    assert status == 1
    assert kind in err
    status, _, err = run("bench", "--motor", "red", typed=f"{wires}\n")
    assert (status, kind in err) == (1, True)


def test_guided(bench):
    typed = ("2\n6000\nbad\n0,5\n\n4.7\n2.71 1.62\n2,65 1.66\n2.6 x\n2.6 1.58\n\n100\n4.1 0.21\n"
             "\n\nd\n3.1 1400\n6.6 3000\n\n10\n4.95 3000\n\n\n6.0 0.09\n\n10 x\n10 4,7 47\n"
             "4.93 3000\n\n")
    status, out, err = run("bench", "--motor", "toy", "--parts", "d.toml", typed=typed)
    assert status == 0, err
    assert "EMF constant" in out
    assert "Worth most next" in err
    assert "their ohms with spaces" in err
    proposed = re.findall(r"next: (?:shaft held, )?([\d.]+) ohm", " ".join(err.split()))
    assert set(proposed) <= {"4.7", "10", "47", "100"}
    saved = Path("toy-readings.toml").read_text(encoding="utf-8")
    assert saved.count("[[locked]]") == 4
    again, out2, _ = run("bench", "--motor", "toy", "--readings", "toy-readings.toml",
                         "--no-write")
    assert again == 0
    assert out2.split("Written")[0].splitlines()[2:8] == out.splitlines()[2:8]
    status, _, err = run("bench", "--motor", "toy", typed="2\n\n\n\n4.7\n2.7 1.6\n")
    assert status == 2  # nobody answers any more: what was typed is kept
    assert Path("toy-readings-2.toml").exists()


@pytest.mark.parametrize(("text", "said"), [
    ("", "no reading"), ("[[open]]\nvolts = 3\n", "how fast it turned"),
    ("[[open]]\nvolts = 3\nturns = 30\n", "seconds"), ("[[opn]]\nvolts = 3\n", "open"),
    ("[[open]]\nvolts = nan\nrpm = 100\n", "0.001 to 500 V"),
    ("[[open]]\nvolts = '3'\nrpm = 100\n", "without quotes"),
    ("[bench]\non = \"yesterday\"\n[[open]]\nvolts = 3\nrpm = 100\n", "a date"),
    ("[[in_out]]\nin_v = 3\nin_a = 1\nout_v = 5\nout_a = 0.5\n", "belong to a machine"),
])
def test_bad_files_are_told_with_their_lines(bench, text, said):
    Path("r.toml").write_text(text, encoding="utf-8")
    status, _, err = run("bench", "--motor", "red", "--readings", "r.toml")
    assert status == 2
    assert said in " ".join(err.split())
    assert "Traceback" not in err


def test_readings_of_k_alone_write_it_and_assume_the_ohms(bench):
    Path("r.toml").write_text("[[open]]\nvolts = 3\nrpm = 1000\n", encoding="utf-8")
    status, out, _ = run("bench", "--motor", "red", "--readings", "r.toml", "--parts", "n.toml")
    assert status == 0
    assert "Assumed, for want of a reading: terminal_ohm" in out
    assert "not told by these readings" in " ".join(out.split())
    origins = read_drawer("n.toml", typical=True).motors[0].origins
    assert origins["motor.emf_v_per_krpm"].kind == "measured"
    assert origins["motor.terminal_ohm"].kind == "assumed"
    Path("r.toml").write_text("[[locked]]\nresistor_ohm = 4.7\nresistor_v = 2.7\n"
                              "motor_v = 1.75\n", encoding="utf-8")
    status, _, err = run("bench", "--motor", "blue", "--readings", "r.toml", "--parts", "m.toml")
    assert status == 1
    assert "emf_v_per_krpm" in err
    assert not Path("m.toml").exists()


def test_slips_that_carry_a_third_write_nothing(bench):
    rows = [(2.7, 1.75)] * 3 + [(27.0, 1.76), (2.7, 17.5)]
    Path("r.toml").write_text("".join(
        f"[[locked]]\nresistor_ohm = 4.7\nresistor_v = {r}\nmotor_v = {m}\n" for r, m in rows),
        encoding="utf-8")
    status, out, _ = run("bench", "--motor", "red", "--readings", "r.toml", "--parts", "n.toml")
    assert status == 1
    assert "2 of 5 readings do not go with the others" in " ".join(out.split())
    assert "Nothing was written." in out
    assert not Path("n.toml").exists()


@pytest.mark.parametrize(("words", "said"), [
    (("--motor", "x", "--readings", "d.toml"), "d.toml: this is a parts file"),
    (("--motor", "x", "--readings", "my.toml"), "my.toml: this is a rig file"),
    (("--motor", "x", "--readings", "r.toml", "--parts", "my.toml"), "this is a rig file"),
    (("d.toml", "--readings", "r.toml"), "d.toml: this is a parts file"),
    (("r.toml", "--readings", "r.toml"), "r.toml: this is a file of readings"),
])
def test_another_kind_of_file_is_told_in_one_line(bench, words, said):
    Path("my.toml").write_bytes(example_path("lakeside-hut").read_bytes())
    assert run("size", "--new", "d.toml")[0] == 0
    status, _, err = run("bench", *words)
    assert status == 2
    assert said in " ".join(err.split())
    assert err.count("wrong:") == 1


def test_what_the_number_of_wires_may_be(bench):
    status, out, err = run("bench", "--motor", "red")
    assert (status, out) == (2, "")
    assert "How many wires" not in err  # nobody there to be asked
    status, _, err = run("bench", "--motor", "red", typed="?\n1\nmany\n\n")
    assert err.count("How many wires") == 4
    assert "A brushed motor has two" in " ".join(err.split())
    assert "Counts of the meter" not in err  # no answer, so it is not asked either
    assert "no reading was typed" in " ".join(err.split())


def test_a_file_to_fill_in_reads_once_filled(bench):
    assert run("bench", "--new", "n.toml")[0] == 0
    text = Path("n.toml").read_text(encoding="utf-8")
    lines = [line.removeprefix("# ") if line.startswith("# [[") or " = " in line else line
             for line in text.splitlines()]
    keep = "\n".join(lines).split("# ---- Whole machine")[0]
    Path("f.toml").write_text(keep.replace("force_n = 14", "# force_n = 14"), encoding="utf-8")
    status, out, err = run("bench", "--motor", "red", "--readings", "f.toml", "--no-write")
    assert status == 0, err
    assert "6 readings" in out


def test_the_beat():
    """While something is turned the bell keeps the pace; it is quiet otherwise."""
    from steadyturn.cli import bench_ask

    heard = io.StringIO()
    with contextlib.redirect_stderr(heard), bench_ask._beating(240.0):
        time.sleep(0.6)
    assert heard.getvalue() in ("\a" * 2, "\a" * 3, "\a" * 4)
    status, _, err = run("bench", "--motor", "red", "--beat", "0")
    assert status == 2
    assert "10 to 240" in err


def test_guided_at_the_machine(bench):
    Path("my.toml").write_bytes(example_path("lakeside-hut").read_bytes())
    typed = ("\n\n\n\nx\nb\n4.6 30 60\n6.9 45 60\n9.25 60 60\n\n10\n6.55 60 60\n8.9 80 60\n\n\n"
             "8.0 0.16 5.1 0.2\n8 0.37 5.1 0.5\n8 0.74 5.1 1\n\n\n\n")
    status, out, err = run("bench", "my.toml", "--beat", "60", typed=typed)
    assert status == 0, err
    assert "m for the motors' wires" in err
    assert "one motor" in out
    assert "loss, constant" in out
    saved = Path("my-readings.toml").read_text(encoding="utf-8")
    assert saved.count('at = "bus"') == 5
    assert max(map(len, out.splitlines())) <= 80
