"""`pace` for a first rig: the verdict stands early, in plain words, with one thing to do."""

from __future__ import annotations

import functools
from dataclasses import replace

import pytest
from steadyturn.jobs import pace as job
from steadyturn.report.pace import text
from steadyturn.report.pace_empty import brief_remedies
from steadyturn.report.pace_headline import headline
from steadyturn.rig.file import read_rig_text
from steadyturn.rig.template import Answers, text_of
from test_pace_predict import run

RIGS = {
    "nothing": {},
    "weak": {"motor_volts": 12.0, "motor_rpm": 4500.0, "motor_ohm": 12.0, "motors": 2,
             "converter": "boost", "ratio": 20.0},
}


@functools.cache
def found(name: str):
    rig = read_rig_text(text_of(Answers(name, RIGS[name])), f"{name}.toml")
    if name == "nothing":  # in PLA it would have no band
        rig = replace(rig, bank=replace(rig.bank, mount_max_c=75.0))
    return job.pace_of(rig, f"{name}.toml")


@pytest.mark.parametrize("name", RIGS)
def test_verdict_in_the_first_lines(name) -> None:
    lines = text(found(name)).splitlines()
    verdict = next(i for i, line in enumerate(lines) if line.startswith(f"{name}: "))
    assert verdict < 8
    assert len(lines) < 75
    assert max(len(line) for line in lines if not line.startswith("next:")) <= 80


def test_a_band_on_guesses_says_so_and_sends_to_measure() -> None:
    result = found("nothing")
    out = text(result)
    assert result.measure.may_vanish
    assert "nothing: if the guesses hold, keep to" in out
    assert f"next: measure {result.measure.key}, write it into nothing.toml" in out
    assert out.count("\nmeasure ") == 1
    assert "steadyturn flash" not in out
    assert "half an hour" not in out


def test_no_band_for_a_guess_alone_sends_to_measure() -> None:
    rig = read_rig_text(text_of(Answers("pla", {})), "pla.toml")
    result = job.pace_of(rig, "pla.toml")
    out = text(result)
    assert "pla: if the guesses hold, no pace works." in out
    assert "One limit is broken at every pace at which it runs, 'mount hot':" in out
    assert "Two limits clash" not in out
    assert result.remedies[0].change.startswith("a mount that bears 75 degC")
    assert f"next: measure {result.measure.key}, write it into pla.toml" in out


def test_too_weak_a_source_is_called_so() -> None:
    result = found("weak")
    out = " ".join(text(result).split())
    assert result.clash == ("holding", "comfort_high")
    assert "The source is too weak: at 90 turns/min" in out
    assert f"it asks for {result.source.asks_w:.3g} W" in out
    assert "at no pace: at no pace" not in out
    assert out.count("NOT SAFE") == 1


def test_each_limit_once() -> None:
    out = text(found("nothing"))
    assert out.count("too near collapse  ") == 1
    assert "windings)" in out


def test_a_gearbox_is_minded(monkeypatch) -> None:
    monkeypatch.setattr(job, "find_band", functools.partial(job.find_band, deep=False))
    answers = {"motor_volts": 12.0, "motor_rpm": 200.0, "motor_ohm": 8.0}
    result = job.pace_of(read_rig_text(text_of(Answers("geared", answers)), "g.toml"), "g.toml")
    assert "Mind: a motor with a gearbox" in text(result)
    assert not found("nothing").notes


def test_a_dangerous_machine_is_exit_1() -> None:
    status, out, _ = run("pace", "dangerous-barn")
    assert status == 1
    assert out.splitlines()[1].startswith("  ! ")
    assert "keep to" in "\n".join(out.splitlines()[:8])


def test_remedies_in_a_sentence_say_what_is_not_safe() -> None:
    many = found("weak").remedies
    words = brief_remedies(many, 2)
    unsafe = [set(one.hazards) - {"open_circuit_device_fault"} for one in many[:2]]
    assert words.count("NOT SAFE") == sum(map(bool, unsafe))
    assert "open_circuit" not in words


def test_the_map_has_the_same_verdict() -> None:
    pytest.importorskip("matplotlib")
    from matplotlib.figure import Figure
    from steadyturn.report.plots_map_below import title

    for name in RIGS:
        figure = Figure(figsize=(9, 6))
        title(figure, replace(found(name), hazards=()), 6.0)
        shown = figure.get_suptitle()
        assert shown == headline(found(name))
        assert shown in text(found(name))
