"""Impossible rigs through the commands that plan: the key is named, exit 2, no warning, an
end in good time. Extremes that are accepted come to an answer in the same quiet way."""

from __future__ import annotations

import contextlib
import io
import random
import re
import subprocess
import sys
import time
import warnings
from pathlib import Path

import pytest
from steadyturn.cli.main import code
from steadyturn.errors import WrongInput
from steadyturn.rig.examples import example_path
from steadyturn.rig.file import read_rig_text
from steadyturn.rig.types import PARTS, Stage, specs

GOOD = example_path("lakeside-hut").read_text(encoding="utf-8")
COMMANDS = (("pace",), ("pace", "--sure", "95"), ("predict", "--pace", "60"),
            ("predict", "--pace", "60", "--time", "1"), ("charge",), ("check",))
QUICK_S = 5.0  # to refuse; some milliseconds are the rule


def run(*args: str) -> tuple[int, str, str]:
    out, err = io.StringIO(), io.StringIO()
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
            status = code(list(args))
    return status, out.getvalue(), err.getvalue()


def changed(**values: str) -> str:
    """The good rig with `section__key=value`, or `stage__key` for the first stage."""
    rows, section, left = [], "", dict(values)
    for row in GOOD.split("\n"):
        head = re.match(r"\[+(\w+)\]+", row)
        if head:
            section = head[1]
        key = re.match(r"(\w+) *=", row)
        name = f"{section}__{key[1]}" if key else ""
        rows.append(f"{key[1]} = {left.pop(name)}" if name in left else row)
        if head:
            for name in [n for n in left if n.startswith(section + "__")
                         and not re.search(rf"^{n.split('__')[1]} *=", GOOD, re.MULTILINE)]:
                rows.append(f"{name.split('__')[1]} = {left.pop(name)}")
    for name, value in left.items():  # of a section that is not in the file
        section, key = name.split("__")
        if f"[{section}]" not in rows:
            rows.append(f"[{section}]")
        rows.insert(rows.index(f"[{section}]") + 1, f"{key} = {value}")
    return "\n".join(rows)


IMPOSSIBLE = {
    "zero ohm": ({"motor__terminal_ohm": "0"}, "motor.terminal_ohm"),
    "negative ohm": ({"motor__terminal_ohm": "-1.3"}, "motor.terminal_ohm"),
    "negative k": ({"motor__emf_v_per_krpm": "-3.06"}, "motor.emf_v_per_krpm"),
    "no k left": ({"motor__emf_v_per_krpm": "0"}, "motor.emf_v_per_krpm"),
    "efficiency above 1": ({"stage__efficiency": "1.2"}, "stage[1].efficiency"),
    "efficiency in percent": ({"stage__efficiency": "88"}, "stage[1].efficiency"),
    "a million teeth": ({"stage__driver_teeth": "1_000_000"}, "stage[1].driver_teeth"),
    "half a tooth": ({"stage__driven_teeth": "0.5"}, "stage[1].driven_teeth"),
    "a billion motors": ({"bank__series": "1_000_000_000"}, "bank.series"),
    "no motor": ({"bank__parallel": "0"}, "bank.parallel"),
    "start below stop": ({"converter__start_v": "3.0"}, "start_v"),
    "empty window": ({"converter__max_in_v": "2.5"}, "max_in_v"),
    "limits of nothing": ({"converter__input_limit_a": "0"}, "converter.input_limit_a"),
    "crank of no length": ({"crank__radius_mm": "0"}, "crank.radius_mm"),
    "nan ohm": ({"motor__terminal_ohm": "nan"}, "motor.terminal_ohm"),
    "nan in a table": ({"motor__no_load_a": "{ assumed = nan }"}, "motor.no_load_a"),
    "nan volts": ({"converter__out_v": "nan"}, "converter.out_v"),
    "infinite farad": ({"bus__capacitor_uf": "inf"}, "bus.capacitor_uf"),
    "1e308 ohm": ({"motor__terminal_ohm": "1e308"}, "motor.terminal_ohm"),
    "1e308 volts": ({"converter__max_in_v": "1e308"}, "converter.max_in_v"),
    "1e308 watt-hours": ({"load__capacity_wh": "1e308"}, "load.capacity_wh"),
    "-1e308 metres": ({"load__cable_m": "-1e308"}, "load.cable_m"),
    "1e-308 ampere": ({"load__draw_a": "1e-308"}, "load.draw_a"),
    "an ohm of 400 digits": ({"motor__terminal_ohm": "9" * 400}, "motor.terminal_ohm"),
    "a text for a number": ({"motor__terminal_ohm": '"1.3"'}, "motor.terminal_ohm"),
}


@pytest.mark.parametrize("command", COMMANDS, ids=" ".join)
@pytest.mark.parametrize("name", IMPOSSIBLE)
def test_impossible_rigs_are_refused(name, command, tmp_path: Path) -> None:
    values, key = IMPOSSIBLE[name]
    path = tmp_path / "bad.toml"
    path.write_text(changed(**values), encoding="utf-8")
    began = time.monotonic()
    status, out, err = run(command[0], str(path), *command[1:])
    assert time.monotonic() - began < QUICK_S
    assert status == 2, (out, err)
    assert not out
    assert key in err
    assert "bad.toml:" in err  # with its line
    assert "Traceback" not in err
    assert len(err) < 2000


@pytest.mark.parametrize("text", ["", "# nothing\n", "[motor]\n", "[[stage]]\n", "\x00", "a = ["],
                         ids=["empty", "comment", "motor", "stage", "zero byte", "half"])
@pytest.mark.parametrize("command", COMMANDS, ids=" ".join)
def test_files_that_are_no_rig(text, command, tmp_path: Path) -> None:
    path = tmp_path / "bad.toml"
    path.write_text(text, encoding="utf-8")
    status, out, err = run(command[0], str(path), *command[1:])
    assert status == 2, (out, err)
    assert not out
    assert "bad.toml" in err
    assert "Traceback" not in err


@pytest.mark.parametrize("args", [
    *(("predict", "--pace", value) for value in ("nan", "inf", "-inf", "1e308", "-5", "x", "")),
    *(("predict", "--pace", "60", "--time", value) for value in ("nan", "1e308", "-1", "0")),
    *(("predict", "--pace", "60", "--time", "1", "--capacitor", value)
      for value in ("nan", "-3", "1e308")),
    *(("pace", "--sure", value) for value in ("nan", "0", "-95", "100", "1e308")),
    *(("charge", "--from", value) for value in ("nan", "-1", "101", "1e308")),
    *(("charge", "--to", value) for value in ("nan", "0", "101", "1e308")),
    *(("charge", "--minutes", value) for value in ("nan", "-1", "1e308")),
    *(("charge", "--pace", value) for value in ("nan", "-1", "1e308")),
], ids=" ".join)
def test_impossible_options_are_refused(args) -> None:
    began = time.monotonic()
    status, out, err = run(args[0], "lakeside-hut", *args[1:])
    assert time.monotonic() - began < QUICK_S
    assert status == 2, (out, err)
    assert not out
    assert args[-2] in err
    assert "Traceback" not in err


def extreme(seed: int) -> str:
    """The good rig with a quarter of its values at the very ends of what is accepted, as far
    as they can stand together."""
    pick = random.Random(f"extreme {seed}")
    values: dict[str, str] = {}
    for section, cls in {**PARTS, "stage": Stage}.items():
        for spec in specs(cls).values():
            if spec.type != "number" or pick.random() > 0.25:
                continue
            more = {**values, f"{section}__{spec.key}": repr(pick.choice([spec.low, spec.high]))}
            with contextlib.suppress(WrongInput):
                read_rig_text(changed(**more), "odd.toml")
                values = more
    assert len(values) > 8
    return changed(**values)


@pytest.mark.parametrize("seed", [
    *range(2), *(pytest.param(n, marks=pytest.mark.soak) for n in range(2, 60))])
def test_extremes_come_to_an_answer(seed, tmp_path: Path) -> None:
    """No warning of numpy's, no traceback, an end: whatever the answer is."""
    path = tmp_path / "odd.toml"
    path.write_text(extreme(seed), encoding="utf-8")
    for command in (("pace",), ("predict", "--pace", "60"), ("predict", "--pace", "0"),
                    ("predict", "--pace", "1000"), ("charge",)):
        status, out, err = run(command[0], str(path), *command[1:])
        assert status in (0, 1), (command, out, err)
        assert out
        assert not re.search(r"\b(nan|inf)\b", out), (command, out)
        assert not err


def test_as_a_program_with_warnings_as_errors(tmp_path: Path) -> None:
    """Once as a person runs it: nothing warns, from the start of the program on."""
    path = tmp_path / "bad.toml"
    path.write_text(changed(motor__terminal_ohm="nan"), encoding="utf-8")
    for rig, status in ((str(path), 2), ("toy-motor", 1)):
        done = subprocess.run([sys.executable, "-W", "error", "-m", "steadyturn", "pace", rig],
                              capture_output=True, text=True, check=False, timeout=60)
        assert done.returncode == status, done.stderr
        assert "Warning" not in done.stderr
        assert "Traceback" not in done.stderr
