"""`charge` as a person and a script meet it."""

from __future__ import annotations

import contextlib
import functools
import io
import json
import math
from pathlib import Path

import pytest
from steadyturn.cli.main import code
from steadyturn.jobs import charge as job
from steadyturn.rig.examples import example_path

GOOD = ("lakeside-hut", "night-ferry", "radio-tent", "dangerous-barn")


@pytest.fixture(autouse=True, scope="module")
def _once():
    """Text and JSON of one question are one charge: a good part of a second's work."""
    real = job.charge_answer
    job.charge_answer = functools.cache(real)
    yield
    job.charge_answer = real


@functools.cache
def run(*args: str) -> tuple[int, str, str]:
    out, err = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        status = code(["charge", *args])
    return status, out.getvalue(), err.getvalue()


def as_json(*args: str) -> dict:
    _, out, err = run(*args, "--json")
    assert not err
    return json.loads(out)


def rig_with(tmp_path: Path, name: str, old: str, new: str) -> str:
    found = example_path(name)
    assert found is not None
    text = found.read_text(encoding="utf-8")
    assert old in text
    path = tmp_path / "my.toml"
    path.write_text(text.replace(old, new), encoding="utf-8")
    return str(path)


@pytest.mark.parametrize(("rig", "asked"), [
    *((rig, ()) for rig in GOOD), ("lakeside-hut", ("--minutes", "15")),
    ("night-ferry", ("--phone", "off", "--to", "100")), ("radio-tent", ("--to", "25"))])
def test_text_and_json_agree(rig, asked):
    status, out, err = run(rig, *asked)
    found = as_json(rig, *asked)
    assert (status, err) == (0, "")
    assert found["possible"] is True
    assert max(map(len, out.splitlines())) <= 80
    assert "nan" not in out
    assert "not medical advice" in out
    assert "cautions.md" in out
    assert "0 to 45 degC" in out
    assert f"at {found['pace_tpm']:.0f} turns/min" in " ".join(out.split())
    work = found["work"]
    for name in ("crank_min", "turns", "gained_percent", "arm_kj", "food_kcal", "elapsed_min"):
        span = work[name]
        assert span.keys() == {"value", "low", "high"}
        low, value, high = (math.inf if span[x] is None else span[x]
                            for x in ("low", "value", "high"))  # no end: more than a day
        assert low <= value <= high
    assert work["turns"]["value"] == pytest.approx(work["crank_min"]["value"] * found["pace_tpm"])
    if (elapsed := work["elapsed_min"]["value"]) is not None:
        assert elapsed >= work["crank_min"]["value"]
    else:
        assert "more than a day" in out


def test_the_first_line_is_the_answer():
    found = as_json("lakeside-hut")
    first = run("lakeside-hut")[1].splitlines()[0]
    assert first.startswith("Lakeside hut: 20 to 80 % in ")
    hours, minutes = first.split(" in ")[1].split(" (")[0].split(" h")
    told = int(hours) * 60 + int(minutes.removesuffix(" min") or 0)
    assert told == pytest.approx(found["work"]["crank_min"]["value"], abs=2.6)
    assert run("dangerous-barn")[1].startswith("DANGEROUS AS BUILT")


def test_the_accounts_of_the_answer():
    found = as_json("lakeside-hut", "--phone", "off")
    at, work = found["machine"], found["work"]
    assert at["cell_w"] == pytest.approx(0.85 * at["device_w"])
    seconds = 0.6 * 15 * 3600 / at["cell_w"]
    assert work["crank_min"]["value"] == pytest.approx(seconds / 60)
    assert work["arm_kj"]["value"] == pytest.approx(at["arm_w"] * seconds / 1000)
    assert work["food_kcal"]["value"] == pytest.approx(work["arm_kj"]["value"] / 0.2 / 4.184)
    low, high = work["food_kcal"]["low"], work["food_kcal"]["high"]
    assert low < work["arm_kj"]["low"] / 0.2 / 4.184
    assert high > work["arm_kj"]["high"] / 0.2 / 4.184


def test_minutes_and_percent_are_inverse():
    there = as_json("night-ferry", "--phone", "off", "--minutes", "40")
    back = as_json("night-ferry", "--phone", "off", "--to", repr(there["to_percent"]))
    assert back["work"]["crank_min"]["value"] == pytest.approx(40)


def test_the_same_pace_as_pace_says():
    with contextlib.redirect_stdout(io.StringIO()) as out:
        code(["pace", "radio-tent", "--json"])
    assert as_json("radio-tent")["pace_tpm"] == json.loads(out.getvalue())["target_tpm"]


def test_advice_on_the_phone():
    found = as_json("lakeside-hut")
    off, flight, lit = found["choices"]
    assert [x["phone"] for x in found["choices"]] == ["off", "flight", "lit"]
    assert off["crank_min"] < flight["crank_min"] < lit["crank_min"]
    assert "Switch the phone off" in run("lakeside-hut")[1]
    assert "Switch the phone off" not in run("lakeside-hut", "--phone", "off")[1]
    assert found["movers"][0]["key"] == "load.self_use_w"
    assert as_json("radio-tent")["choices"] == []  # a power bank has no screen


def test_at_another_pace():
    found = as_json("lakeside-hut", "--pace", "55")
    assert (found["pace_tpm"], found["at_target"]) == (55, False)
    status, out, _ = run("lakeside-hut", "--pace", "100")
    assert status == 0
    assert "Not a pace to keep" in out


# ----------------------------------------------------------------- the answer is no


def test_no_band():
    status, out, err = run("toy-motor")
    assert (status, err) == (1, "")
    assert out.startswith("Toy motor: no, ")
    assert "steadyturn pace toy-motor" in out
    found = as_json("toy-motor")
    assert (found["possible"], found["why"], found["work"]) == (False, "no_band", None)


def test_nothing_arrives():
    status, out, _ = run("lakeside-hut", "--pace", "10")
    assert status == 1
    assert "no, at 10 turns/min nothing reaches the device" in out
    assert "nan" not in out
    assert as_json("lakeside-hut", "--pace", "10")["why"] == "nothing_arrives"


def test_a_pace_at_which_the_device_would_get_too_much():
    status, out, _ = run("dangerous-barn", "--pace", "60")
    assert status == 1
    found = as_json("dangerous-barn", "--pace", "60")
    assert found["why"] == "too_many_volts"
    assert found["machine"]["device_v"] < 5.5 < found["machine"]["top_v"]  # when it draws less
    assert "5.5 V are borne" in " ".join(out.split())


def test_a_pace_that_breaks_the_machine():
    """Faster than the band: what an open circuit breaks from there is said first; what the
    loaded input does not bear is a no."""
    status, out, _ = run("lakeside-hut", "--pace", "180")
    assert status == 0
    assert out.startswith("DANGEROUS at this pace")
    assert "predict lakeside-hut --pace 180" in out
    named = {h["name"] for h in as_json("lakeside-hut", "--pace", "180")["hazards"]}
    assert {"open_circuit_converter", "open_circuit_capacitor"} <= named
    assert not any(h["refuses"] for h in as_json("lakeside-hut")["hazards"])
    status, out, _ = run("lakeside-hut", "--pace", "1000")
    assert status == 1
    found = as_json("lakeside-hut", "--pace", "1000")
    assert found["why"] == "too_many_volts_in"
    assert found["machine"]["in_v"] > found["machine"]["in_borne_v"] == 30
    assert "30 V are borne" in " ".join(out.split())


def test_a_device_that_uses_more_than_arrives(tmp_path):
    rig = rig_with(tmp_path, "lakeside-hut", "capacity_wh = 15\n",
                   "capacity_wh = 15\nself_use_w = 4\n")
    status, out, _ = run(rig, "--minutes", "15")
    assert status == 1
    assert "no, the phone uses more itself than reaches its battery" in " ".join(out.split())
    assert out.rstrip().endswith("--phone off")
    assert as_json(rig, "--minutes", "15")["to_percent"] < 20
    assert run(rig, "--phone", "off")[0] == 0


# ------------------------------------------------------------------- what is not known


def test_no_capacity(tmp_path):
    rig = rig_with(tmp_path, "lakeside-hut", "capacity_wh = 15\n", "")
    status, out, _ = run(rig)
    assert status == 0
    assert "Write capacity_wh in [load]" in " ".join(out.split())
    found = as_json(rig)["device"]
    assert found["capacity_given"] is False
    assert found["capacity_range_wh"] == pytest.approx([10, 20])
    span = as_json(rig, "--phone", "off")["work"]["crank_min"]
    assert span["high"] > 20 / 14 * span["value"]


def test_an_advertised_current_beyond_the_machine(tmp_path):
    rig = rig_with(tmp_path, "lakeside-hut", "draw_a = 0.5", "draw_a = 0.5\nadvertised_a = 3")
    assert "The port advertises 3 A" in run(rig)[1]
    assert "The port advertises" not in run("lakeside-hut")[1]


def test_a_device_that_asks_for_more_than_the_converter_gives(tmp_path):
    rig = rig_with(tmp_path, "lakeside-hut", "draw_a = 0.5", "draw_a = 1.8")
    status, out, _ = run(rig, "--pace", "85")
    words = " ".join(out.split())
    assert status == 0
    assert "asks for more than that (1.8 A)" in words
    assert "Not a pace to keep" in words
    at = as_json(rig, "--pace", "85")["machine"]
    assert at["device_a"] <= at["output_limit_a"] + 1e-9 < at["asked_a"]


def test_a_port_that_advertises_less_than_is_assumed(tmp_path):
    rig = rig_with(tmp_path, "lakeside-hut", "draw_a = 0.5", "draw_a = 0.8\nadvertised_a = 0.5")
    assert "does not draw 0.8 A" in " ".join(run(rig)[1].split())


def test_cold_air_is_said(tmp_path):
    rig = rig_with(tmp_path, "lakeside-hut", "[switch]", "[air]\ncold_c = -12\n\n[switch]")
    assert "Your air has -12 to 30" in " ".join(run(rig)[1].split())


# ------------------------------------------------------------------------ wrong input


@pytest.mark.parametrize(("args", "option"), [
    (("--from", "80", "--to", "20"), "--to"), (("--from", "50", "--to", "50"), "--to"),
    (("--from", "90"), "--to"), (("--from", "-1"), "--from"), (("--from", "100"), "--from"),
    (("--from", "nan"), "--from"), (("--to", "nan"), "--to"), (("--to", "101"), "--to"),
    (("--to", "inf"), "--to"), (("--to", "1e308"), "--to"), (("--minutes", "0"), "--minutes"),
    (("--minutes", "1e9"), "--minutes"), (("--minutes", "nan"), "--minutes"),
    (("--minutes", "-3"), "--minutes"), (("--minutes", "5", "--to", "50"), "--minutes"),
    (("--pace", "0"), "--pace"), (("--pace", "nan"), "--pace"), (("--pace", "1e9"), "--pace"),
    (("--phone", "asleep"), "--phone"), (("--plot", "x.gif"), "--plot"),
    (("--plot", "no/such/folder/x.png"), "--plot"),
])
def test_wrong_options(args, option):
    status, out, err = run("lakeside-hut", *args)
    assert (status, out) == (2, "")
    assert option in err
    assert "Traceback" not in err


@pytest.mark.parametrize("kind", ['kind = "resistor"\nresistance_ohm = 10', 'kind = "none"'])
def test_a_load_that_has_no_battery(tmp_path, kind):
    rig = rig_with(tmp_path, "lakeside-hut", 'kind = "phone"', kind)
    status, out, err = run(rig)
    assert (status, out) == (2, "")
    assert "load.kind" in err
    assert '"phone"' in err


def test_the_state_of_a_phone_that_is_none():
    status, _, err = run("radio-tent", "--phone", "off")
    assert status == 2
    assert "power_bank" in err


@pytest.mark.parametrize("args", [
    ("--from", "0", "--to", "1e-9"), ("--from", "99.999999", "--to", "100"),
    ("--minutes", "1e-6"), ("--from", "99.9", "--minutes", "1440"), ("--pace", "1000")])
def test_extremes(args):
    status, out, err = run("lakeside-hut", *args)
    assert status in (0, 1)
    assert "nan" not in out + err
    assert json.loads(run("lakeside-hut", *args, "--json")[1])


# ------------------------------------------------------------------------------ plot


@pytest.mark.parametrize("suffix", [".png", ".svg"])
def test_plot(tmp_path, suffix):
    pytest.importorskip("matplotlib")
    path = tmp_path / f"charge{suffix}"
    status, out, _ = run("lakeside-hut", "--to", "100", "--plot", str(path))
    assert status == 0
    assert "Plot: " in out
    assert path.stat().st_size > 5000
    if suffix == ".svg":
        text = path.read_text(encoding="utf-8")
        assert "the arm gives" in text
        assert "minutes of turning" in text


def test_no_plot_where_the_answer_is_no(tmp_path):
    path = tmp_path / "charge.png"
    assert run("toy-motor", "--plot", str(path))[0] == 1
    assert not path.exists()


def test_turns_shown_are_minutes_times_pace():
    status, out, _ = run("lakeside-hut", "--minutes", "15")
    assert status == 0
    pace = float(out.split(" turns/min give")[0].rsplit(" ", 1)[1])
    turns = float(out.split("\n  turns  ")[1].split()[0])
    assert turns == pytest.approx(15 * pace, rel=0.01)
