"""`pace` and `predict` as a person and a script meet them."""

from __future__ import annotations

import contextlib
import functools
import io
import json

import pytest
from steadyturn.cli.main import code

EXAMPLES = ("lakeside-hut", "radio-tent", "night-ferry", "toy-motor", "dangerous-barn")
PACE_FIELDS = {
    "rig", "feasible", "low_tpm", "target_tpm", "high_tpm", "hold_tpm", "window_v", "limits",
    "at_target", "assumed", "clash", "remedies",
}
PREDICT_FIELDS = {
    "pace_tpm", "regime", "motor_rpm", "emf_v", "bus_v", "bus_a", "motor_a", "out_v", "out_a",
    "out_w", "crank_nm", "arm_w", "losses_w",
}


@functools.cache  # a band is a second's work, and several tests look at each
def run(*args: str) -> tuple[int, str, str]:
    out, err = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        status = code(list(args))
    return status, out.getvalue(), err.getvalue()


def as_json(*args: str) -> dict:
    _, out, err = run(*args, "--json")
    assert not err
    return json.loads(out)


@pytest.mark.parametrize("rig", EXAMPLES)
def test_pace_json(rig) -> None:
    found = as_json("pace", rig)
    assert found.keys() >= PACE_FIELDS
    assert len(found["window_v"]) == 2
    for limit in found["limits"]:
        assert limit.keys() == {"name", "side", "pace_tpm", "reason"}
        assert limit["side"] in ("low", "high")
        assert "nan" not in limit["reason"]
    if found["feasible"]:
        assert found["low_tpm"] < found["target_tpm"] < found["high_tpm"]
        assert found["clash"] is None
        assert found["at_target"].keys() >= PREDICT_FIELDS
        low = max(x["pace_tpm"] for x in found["limits"]
                  if x["side"] == "low" and x["pace_tpm"] < found["target_tpm"])
        high = min(x["pace_tpm"] for x in found["limits"]
                   if x["side"] == "high" and x["pace_tpm"] > found["target_tpm"])
        assert (low, high) == pytest.approx((found["low_tpm"], found["high_tpm"]))
    else:
        assert found["low_tpm"] is found["target_tpm"] is found["high_tpm"] is None
        assert found["at_target"] is None
        assert len(found["clash"]) == 2
        assert found["remedies"]


@pytest.mark.parametrize("rig", EXAMPLES)
def test_pace_text(rig) -> None:
    status, out, err = run("pace", rig)
    found = as_json("pace", rig)
    safe = not any(one["refuses"] for one in found["hazards"])
    assert status == (0 if found["feasible"] and safe else 1)
    assert not err
    lines = out.splitlines()
    assert max(len(line) for line in lines if not line.startswith("next:")) <= 80
    assert "nan" not in out
    assert "turns/min" in out
    if found["feasible"]:
        assert (f"keep to {found['low_tpm']:.0f}-{found['high_tpm']:.0f} turns/min, "
                f"best {found['target_tpm']:.0f}") in out
        axis = next(line for line in lines if line.strip().startswith("+"))
        drawn = axis[axis.index("+") + 1 :]
        paces = found["curve"]["pace_tpm"]
        step = paces[1] - paces[0]
        assert abs(drawn.index("T") * step - found["target_tpm"]) <= step
        assert abs(drawn.index("=") * step - found["low_tpm"]) <= step
        assert abs(drawn.rindex("=") * step - found["high_tpm"]) <= step
    else:
        assert "clash" in out
        assert found["remedies"][0]["change"].split()[0] in out


def test_the_dangerous_rig_is_warned_about_first() -> None:
    _, out, _ = run("pace", "dangerous-barn")
    assert out.startswith("DANGEROUS AS BUILT")
    assert "steadyturn flash" not in out
    found = as_json("pace", "dangerous-barn")
    assert found["hazards"][0]["volts"] > 5.5


def test_which_guess_matters_most_and_how_to_measure_it() -> None:
    _, out, _ = run("pace", "radio-tent")
    found = as_json("pace", "radio-tent")
    assert found["assumed"][0]["key"] in out
    assert found["assumed"][0]["how"].split(",")[0] in out


@pytest.mark.parametrize("pace", ["0", "20", "45", "65", "150"])
@pytest.mark.parametrize("start", ["rest", "running"])
def test_predict_json(pace, start) -> None:
    found = as_json("predict", "lakeside-hut", "--pace", pace, "--from", start)
    assert found.keys() >= PREDICT_FIELDS
    if found["regime"] == "collapse":
        assert found["bus_v"] is None
        assert found["bus_a"] is None
    else:
        spent = found["out_w"] + sum(found["losses_w"].values())
        assert abs(found["arm_w"] - spent) <= 1e-9 * found["arm_w"]


def test_predict_at_the_target_is_what_pace_says() -> None:
    band = as_json("pace", "night-ferry")
    point = as_json("predict", "night-ferry", "--pace", repr(band["target_tpm"]))
    assert point["arm_w"] == pytest.approx(band["at_target"]["arm_w"])
    assert point["bus_v"] == pytest.approx(band["at_target"]["bus_v"])


def test_predict_text() -> None:
    status, out, _ = run("predict", "lakeside-hut", "--pace", "65")
    assert status == 0
    assert "The converter holds its output." in out
    assert "Where the arm's" in out
    assert max(map(len, out.splitlines())) <= 80
    _, out, _ = run("predict", "toy-motor", "--pace", "120", "--from", "rest")
    assert "nan" not in out
    status, out, _ = run("predict", "radio-tent", "--pace", "40")
    assert status == 1  # the answer is no
    assert "oo much load for this pace" in out


@pytest.mark.parametrize("pace", ["-1", "1000.5", "nan", "inf", "-inf", "fast"])
def test_predict_wrong_pace(pace) -> None:
    status, out, err = run("predict", "lakeside-hut", f"--pace={pace}")
    assert status == 2
    assert not out
    assert "pace" in err
    assert "Traceback" not in err


@pytest.mark.parametrize(("args", "said"), [
    (("predict", "lakeside-hut", "--pace", "70rpm"), "--pace: 70rpm: a number (turns a minute). "
     "Only the number: --pace 70"),
    (("charge", "lakeside-hut", "--minutes", "15,5"), "Only the number: --minutes 15.5"),
    (("pace", "lakeside-hut", "--sure", "much"), "--sure: much: a number (percent of builds)."),
    (("size", "attic-drawer", "--row", "two"), "--row: two: a whole number"),
])
def test_an_option_that_is_no_number(args, said) -> None:
    status, out, err = run(*args)
    assert status == 2
    assert not out
    assert said in " ".join(err.split())


def test_one_hazard_has_one_severity() -> None:
    """`pace`, `check` and `predict` tell a danger from what needs one more fault first."""
    found = as_json("predict", "dangerous-barn", "--pace", "60")
    assert [one["refuses"] for one in found["hazards"]] == [True]
    seen = {one["name"]: one["refuses"] for one in as_json("pace", "dangerous-barn")["hazards"]}
    assert seen == {one["name"]: one["refuses"] for one in found["hazards"]}


def test_predict_says_what_speaks_against_a_pace() -> None:
    _, out, _ = run("predict", "lakeside-hut", "--pace", "300")
    assert "DANGEROUS" in out
    assert "V where 30 V is borne" in out
    assert "motor speed" in out
    found = as_json("predict", "dangerous-barn", "--pace", "95")
    assert {one["name"] for one in found["broken"]} >= {"pass_through", "output_high"}
    assert [one["name"] for one in found["hazards"]] == ["open_circuit_device"]


@pytest.mark.parametrize("rig", ["lakeside-hut", "night-ferry", "radio-tent"])
def test_predict_has_nothing_against_the_target(rig) -> None:
    found = as_json("predict", rig, "--pace", repr(as_json("pace", rig)["target_tpm"]))
    assert found["broken"] == []
    _, out, _ = run("predict", rig, "--pace", repr(found["pace_tpm"]))
    assert "Not a pace to keep" not in out


def test_predict_wants_a_pace() -> None:
    status, _, err = run("predict", "lakeside-hut")
    assert status == 2
    assert "--pace" in err


def test_a_drawer_where_a_rig_is_wanted() -> None:
    status, out, err = run("pace", "attic-drawer")
    assert (status, out) == (2, "")
    assert "steadyturn size attic-drawer" in err


def test_a_file_that_is_not_there() -> None:
    for args in (("pace", "no-such.toml"), ("predict", "no-such.toml", "--pace", "60")):
        status, out, err = run(*args)
        assert status in (1, 2)
        assert not out
        assert "no-such.toml" in err


@pytest.mark.parametrize(("rig", "pace"), [("lakeside-hut", "47"), ("lakeside-hut", "69"),
                                           ("radio-tent", "43"), ("dangerous-barn", "70")])
def test_predict_tells_of_the_hot_and_the_cold_machine(rig, pace) -> None:
    from steadyturn.model.point import operate
    from steadyturn.rig.examples import example_path
    from steadyturn.rig.file import read_rig

    found = as_json("predict", rig, "--pace", pace)
    _, out, _ = run("predict", rig, "--pace", pace)
    machine = read_rig(example_path(rig))
    for name in ("hot", "cold"):
        one = found[name]
        at = operate(machine, float(pace), winding_c=one["winding_c"])
        assert one["holds"] == (str(at.regime) not in ("collapse", "idle"))
        if one["holds"]:
            assert one["bus_v"] == pytest.approx(float(at.bus_v))
            assert one["arm_w"] == pytest.approx(float(at.arm_w))
        rest = operate(machine, float(pace), winding_c=one["winding_c"], running=False)
        assert one["starts"] == (str(rest.regime) not in ("collapse", "idle"))
    assert found["hot"]["winding_c"] >= found["hot"]["air_c"] > found["cold"]["air_c"]
    assert "Hot (" in out
    assert ("starts and holds" in out) == (found["hot"]["starts"] or found["cold"]["starts"])


@pytest.mark.parametrize("pace", ["5", "20", "69", "150", "900"])
def test_one_unit_in_the_account(pace) -> None:
    _, out, _ = run("predict", "lakeside-hut", "--pace", pace)
    rows = out.split("goes:\n")[1].splitlines()
    cells = [row.split("%")[0].split()[-3:-1] for row in rows]
    assert len({unit for _, unit in cells}) == 1
    assert len({len(number.partition(".")[2]) for number, _ in cells}) == 1
    whole = sum(float(number) for number, _ in cells)
    found = as_json("predict", "lakeside-hut", "--pace", pace)
    scale = 1000 if cells[0][1] == "mW" else 1
    assert whole == pytest.approx(found["arm_w"] * scale, rel=0.01)
