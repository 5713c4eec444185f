"""`predict --time` as a person and a script meet it."""

from __future__ import annotations

import contextlib
import functools
import io
import json
from dataclasses import replace
from itertools import combinations

import numpy as np
import pytest
from steadyturn.cli import predict as command
from steadyturn.cli.main import code
from steadyturn.jobs.predict_questions import SHORT_S, ask
from steadyturn.jobs.predict_time import predict_time
from steadyturn.model.traces import record
from steadyturn.report import plot_files, plots_time
from steadyturn.report.objects import to_json
from steadyturn.report.predict_time import text as in_words
from steadyturn.rig.examples import example_path
from steadyturn.rig.file import read_rig


@functools.cache
def run(*args: str) -> tuple[int, str, str]:
    out, err = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        status = code(["predict", *args])
    return status, out.getvalue(), err.getvalue()


@functools.cache
def found_at(rig: str, pace: float, **more: float):
    return predict_time(example_path(rig), pace, 9.0, **more)


def course(rig: str, pace: float, **more: float) -> dict:
    return json.loads(to_json(found_at(rig, pace, **more)))


def words(rig: str, pace: float, **more: float) -> str:
    return " ".join(in_words(found_at(rig, pace, **more)).split())


def test_the_command_prints_it() -> None:
    args = ("lakeside-hut", "--pace", "69", "--time", "9", "--unplug", "6", "--capacitor", "1000")
    found = found_at("lakeside-hut", 69.0, unplug_s=6.0, capacitor_uf=1000.0)
    assert run(*args) == (0, in_words(found), "")
    status, out, err = run(*args, "--json")
    assert (status, err) == (0, "")
    assert json.loads(out) == json.loads(to_json(found))


def test_what_settles_is_the_steady_point() -> None:
    found = course("lakeside-hut", 69.0)
    point = json.loads(run("lakeside-hut", "--pace", "69", "--json")[1])
    settled = found["settled"]
    assert settled["in_v"]["mean"] == pytest.approx(point["bus_v"], rel=0.02)
    assert settled["in_a"]["mean"] == pytest.approx(point["bus_a"], rel=0.03)
    assert settled["out_w"] == pytest.approx(point["out_w"], rel=0.005)
    assert settled["arm_w"] == pytest.approx(point["arm_w"], rel=0.04)
    assert settled["in_v"]["low"] < point["bus_v"] < settled["in_v"]["high"]


def test_the_answer_is_what_the_traces_show() -> None:
    found = course("lakeside-hut", 69.0)
    traces = {name: np.array(values) for name, values in found["traces"].items()}
    start = found["start"]
    on = traces["converter_on"]
    after = traces["t_s"] > start["holds_s"] + 0.02
    assert on[after].all()
    assert not on[traces["t_s"] < start["starts_s"] - 0.02].any()
    assert start["starts"] == start["lets_go"] + 1
    loaded = traces["t_s"] <= found["unplug_s"]
    assert found["overshoot_tpm"] == pytest.approx(traces["pace_tpm"][loaded].max() - 69)
    gone = found["unplugged"]
    assert gone["bus_v"] == pytest.approx(traces["bus_v"][~loaded].max(), rel=0.01)
    assert traces["out_a"][traces["t_s"] > gone["at_s"] + 0.02].max() == 0
    names = [event["name"] for event in found["events"]]
    assert names.count("converter starts") == start["starts"]
    assert "device unplugged" in names


def test_a_larger_capacitor_ripples_less_and_starts_later() -> None:
    small, large = (course("lakeside-hut", 69.0, capacitor_uf=c) for c in (470.0, 22000.0))
    assert large["capacitor_uf"] == pytest.approx(22000)
    ripples = [one["settled"]["in_v"]["high"] - one["settled"]["in_v"]["low"]
               for one in (small, large)]
    assert ripples[1] < 0.9 * ripples[0]
    assert large["start"]["starts_s"] > small["start"]["starts_s"]


def test_too_much_load_for_the_pace_hiccups() -> None:
    found = course("radio-tent", 38.0)
    assert found["start"]["holds_s"] is None
    assert found["settled"] is None
    assert found["start"]["lets_go"] > 5
    assert 0.005 < found["start"]["hiccup_s"] < 2
    assert "does not hold" in words("radio-tent", 38.0)


def test_what_never_starts() -> None:
    found = course("toy-motor", 90.0)
    assert found["start"]["starts_s"] is None
    assert "turns/min: the converter never starts" in words("toy-motor", 90.0)


def test_a_broken_rating_is_said() -> None:
    found = course("dangerous-barn", 51.0, unplug_s=6.0)
    assert found["unplugged"]["at_s"] == 6
    first = found["unplugged"]["rated"][0]
    assert first["volts"] > first["rating_v"]
    assert "TOO MUCH for" in words("dangerous-barn", 51.0, unplug_s=6.0)


def test_unplugged_at_the_end_means_never() -> None:
    found = course("lakeside-hut", 69.0, unplug_s=9.0)
    assert found["unplugged"] is None
    assert found["unplug_s"] is None
    assert min(found["traces"]["plugged"])


@pytest.mark.parametrize(("rig", "pace"), [("lakeside-hut", 69.0), ("radio-tent", 38.0),
                                           ("toy-motor", 90.0), ("lakeside-hut", 0.0),
                                           ("lakeside-hut", 1000.0)])
def test_text_fits(rig, pace) -> None:
    out = in_words(found_at(rig, pace))
    assert max(map(len, out.splitlines())) <= 80
    assert "nan" not in out


@pytest.mark.parametrize("time", ["0", "-1", "nan", "inf", "1e9", "0.05", "soon"])
def test_absurd_times(time) -> None:
    status, out, err = run("lakeside-hut", "--pace", "60", f"--time={time}")
    assert (status, out) == (2, "")
    assert "--time" in err
    assert "Traceback" not in err


@pytest.mark.parametrize("more", [
    ("--time", "5", "--unplug", "nan"), ("--time", "5", "--unplug", "-1"),
    ("--time", "5", "--capacitor", "0"), ("--time", "5", "--capacitor", "1e9"),
    ("--time", "5", "--from", "running"), ("--unplug", "3"), ("--capacitor", "470"),
    ("--plot", "a.png"), ("--time", "5", "--plot", "a.gif"), ("--time", "5", "--pace", "nan")])
def test_wrong_input(more) -> None:
    status, out, err = run("lakeside-hut", "--pace", "60", *more)
    assert (status, out) == (2, "")
    assert err.startswith(f"wrong: {more[-2]}")


def test_the_threshold_that_stops_hunting_does(tmp_path) -> None:
    found = course("lakeside-hut", 69.0)["questions"]["start"]
    assert found["hunts"]
    file = example_path("lakeside-hut").read_text(encoding="utf-8")
    path = tmp_path / "a.toml"
    path.write_text(file.replace("start_v = 3.6", f"start_v = {found['enough_start_v'] + 0.01}"),
                    encoding="utf-8")
    changed = predict_time(path, 69.0, 9.0)
    assert changed.start.lets_go == 0
    assert changed.start.holds_s is not None
    said = words("lakeside-hut", 69.0)
    assert f"stops hunting: {found['enough_start_v']:.3g} V (now 3.6 V)" in said


def test_hunting_is_told_with_its_period() -> None:
    found = course("radio-tent", 38.0)["questions"]
    assert found["hiccup"]["hunts"]
    assert found["hiccup"]["period_s"] > 0
    assert "it starts and lets go every" in words("radio-tent", 38.0)


def test_sizes_of_the_bus_capacitor(monkeypatch) -> None:
    monkeypatch.setattr("steadyturn.jobs.predict_questions.SIZES_F", (1e-5, 1e-3, 2e-2))
    found = predict_time(example_path("lakeside-hut"), 69.0, 3.0, sizes=True)
    tried = found.questions.bridging.sizes
    assert [one.capacitor_f for one in tried] == [1e-5, 1e-3, 2e-2]
    out = in_words(found)
    assert max(map(len, out.splitlines())) <= 80
    assert "20 mF" in out
    assert f"{tried[1].ripple_v:.2f}" in out
    assert found.questions.bridging.smallest_f <= 1e-3


def test_a_short_time_is_no_error() -> None:
    status, out, _ = run("lakeside-hut", "--pace", "60", "--time", "0.1")
    assert status == 0
    assert "never starts" in out


def test_before_the_handle_is_up_to_its_pace_nothing_is_said_of_it() -> None:
    """60 turns/min is inside the band; in two seconds the handle has hardly got there."""
    found = predict_time(example_path("lakeside-hut"), 60.0, 2.0)
    assert found.start.holds_s is None
    assert found.start.lets_go > 3
    assert "Too much load" not in in_words(found)
    assert "the time is too short" in " ".join(in_words(found).split())
    assert predict_time(example_path("lakeside-hut"), 60.0, 6.0).start.holds_s is not None


def test_too_many_volts_under_load_come_first() -> None:
    found = predict_time(example_path("lakeside-hut"), 400.0, 15.0, unplug_s=15.0)
    assert found.start.bus_v > found.in_borne_v == 30
    danger, _, said, *_ = in_words(found).split("\n\n")
    assert danger.startswith("DANGEROUS")
    assert said.startswith("  - TOO MUCH for the converter, even under load")
    assert "TOO MUCH" not in words("lakeside-hut", 69.0)


def test_a_bus_that_rings_is_not_looked_at_for_minutes(monkeypatch) -> None:
    asked = []

    def seen(rig, script, seconds, **more):
        asked.append(seconds)
        return record(example_rig, script, seconds, **more)

    example_rig = read_rig(example_path("toy-motor"))
    ringing = replace(example_rig, bus=replace(example_rig.bus, capacitor_f=1e-6))
    monkeypatch.setattr("steadyturn.model.questions.record", seen)
    told = []
    ask(ringing, 60.0, sizes=False, progress=lambda share, what: told.append((what, share)))
    assert asked == list(SHORT_S)
    assert {what for what, _ in told} == {"starting", "hiccups"}
    assert all(0 <= share <= 1 + 1e-9 for _, share in told)


def test_long_runs_show_how_far_they_are(monkeypatch) -> None:
    said = io.StringIO()
    monkeypatch.setattr(said, "isatty", lambda: True, raising=False)
    with contextlib.redirect_stdout(io.StringIO()), contextlib.redirect_stderr(said):
        monkeypatch.setattr(command.sys, "stderr", said)
        assert code(["predict", "toy-motor", "--pace", "60", "--time", "2"]) == 0
    assert "time: 50 %" in said.getvalue()
    assert said.getvalue().endswith("\r")


def test_ctrl_c(monkeypatch) -> None:
    def broken(*args, **more):
        raise KeyboardInterrupt

    monkeypatch.setattr("steadyturn.jobs.predict_time.record", broken)
    err = io.StringIO()
    with contextlib.redirect_stderr(err):
        assert code(["predict", "toy-motor", "--pace", "60", "--time", "2"]) == 1
    assert "stopped by you" in err.getvalue()


def test_the_picture(tmp_path) -> None:
    path = tmp_path / "a.svg"
    found = predict_time(example_path("dangerous-barn"), 51.0, 8.0, plot=path)
    shown = plot_files.stored(path)["panels"]
    assert len(shown) == 5
    assert any("device unplugged" in word for word in shown[4]["words"])
    assert any(word.startswith("converter lets go, ") for word in shown[4]["words"])
    figure = plot_files.drawn(lambda: plots_time.draw(found))
    line = figure.axes[1].lines[2]
    assert line.get_ydata() == pytest.approx(found.recorded.in_v)
    from matplotlib.backends.backend_agg import FigureCanvasAgg

    canvas = FigureCanvasAgg(figure)
    canvas.draw()
    names = [(text.get_text(), text.get_window_extent(canvas.get_renderer()))
             for text in [*figure.texts, *(t for axis in figure.axes for t in axis.texts)]]
    for text, box in names:
        assert box.x1 <= figure.bbox.x1 + 1, text
    for (one, a), (other, b) in combinations(names, 2):
        apart = min(min(a.x1, b.x1) - max(a.x0, b.x0), min(a.y1, b.y1) - max(a.y0, b.y0))
        assert apart < 3, f"{one} and {other}"


def test_an_outline_keeps_every_peak() -> None:
    t = np.linspace(0, 100, 100_001)
    y = np.sin(t)
    y[77_777] = 9.0
    times, values = plots_time.outline(t, y, 1000)
    assert len(times) == len(values) <= 1000
    assert values.max() == 9.0
    assert abs(times[int(values.argmax())] - t[77_777]) < 0.5


def test_where_the_inductance_rings_no_threshold_is_sought(monkeypatch) -> None:
    from steadyturn.model import questions

    short = {name: functools.partial(getattr(questions, name), seconds=0.9)
             for name in ("start_up", "hiccup")}
    for name, quick in short.items():  # with such fine steps, only a moment of it
        monkeypatch.setattr(questions, name, quick)
    found = predict_time(example_path("radio-tent"), 55.0, 1.0, capacitor_uf=47.0)
    assert not found.questions.sought
    assert found.questions.start.hunts
    assert "not sought, since" in " ".join(in_words(found).split())
    assert "NOT STABLE" in in_words(found)
    assert found_at("lakeside-hut", 69.0).questions.sought


def test_a_dangerous_machine_is_said_first():
    status, out, _ = run("dangerous-barn", "--pace", "60", "--time", "2")
    assert status == 0
    assert out.startswith("DANGEROUS - do not connect a phone")
