"""The map of a rig: its numbers are the model's, its names can be read."""

from __future__ import annotations

import contextlib
import functools
import io
import json
import sys
from dataclasses import replace
from itertools import combinations
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
from steadyturn.cli.main import code
from steadyturn.jobs.pace import pace
from steadyturn.jobs.pace_map import pace_map
from steadyturn.model.band import find_band
from steadyturn.model.point import operate
from steadyturn.report import plot_files, plot_style, plots_map
from steadyturn.report.plot_labels import spread
from steadyturn.rig.examples import example_path
from steadyturn.rig.file import read_rig

sys.path.insert(0, str(Path(__file__).parents[1] / "model"))
import dynamics_rigs

EXAMPLES = ("lakeside-hut", "radio-tent", "night-ferry", "toy-motor", "dangerous-barn")


@pytest.fixture(autouse=True)
def _shallow(monkeypatch):
    """Bands without remedies and guesses, which no map shows: a tenth of the time."""
    monkeypatch.setattr("steadyturn.jobs.pace.find_band", shallow)


def shallow(rig):
    return find_band(rig, deep=False)


def result(rig):
    """What `pace --plot` has, without writing a file."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("steadyturn.jobs.pace.read_rig", lambda path: rig)
        found = pace("x.toml")
    return replace(found, map=pace_map(rig, shallow(rig)))


@functools.cache
def example(name):
    return read_rig(example_path(name))


@pytest.mark.parametrize("name", EXAMPLES)
def test_the_lines_are_the_model(name):
    rig, shown = example(name), case(name).map
    for i in (60, 120, 200):
        at = operate(rig, shown.pace_tpm[i])
        assert shown.open_v[i] == float(at.idle_v)
        if at.out_a > 0:
            assert shown.loaded_v[i] == float(at.bus_v)
            assert shown.effort[i] == pytest.approx(float(at.arm_w / at.out_w))
        else:
            assert np.isnan(shown.loaded_v[i])
    for line in shown.lines:
        volts, amps = np.array(line.bus_v), np.array(line.bus_a)
        assert (np.diff(volts) < 0).all()
        assert (np.diff(amps) > 0).all()
        at = operate(rig, line.pace_tpm)
        if line.meets_v is None:
            assert not at.bus_a > 0
        else:  # what the motors give there is what the converter takes
            assert np.interp(line.meets_a, amps, volts) == pytest.approx(line.meets_v, abs=0.03)


def test_the_edge_of_collapse_is_half_the_emf_of_a_bare_source():
    # maximum power transfer: a source E behind R gives most at E / 2
    bare = dynamics_rigs.rig(
        motor__brush_drop_v=0.0, rectifier__drop_v=0.0, sensor__shunt_ohm=0.0005,
        bus__bleed_ohm=1e6, supply__feed="usb", switch__place="enable", converter__loss_v=0.0,
        converter__loss_ohm=0.0)
    shown = pace_map(bare, find_band(bare, deep=False))
    pace_tpm = np.array(shown.pace_tpm)
    emf = np.asarray(operate(bare, pace_tpm).emf_v)
    edge = np.array(shown.collapse_v)
    known = np.isfinite(edge)
    assert known.sum() > 100
    assert edge[known] == pytest.approx(emf[known] / 2, rel=2e-3)


def shown_names(figure):
    """Every text that can be seen, with its box in pixels."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg

    canvas = FigureCanvasAgg(figure)
    canvas.draw()
    renderer = canvas.get_renderer()
    found = [*figure.texts]
    for axis in figure.axes:
        found += [*axis.texts, axis.xaxis.label, axis.yaxis.label]
        for line, (low, high) in ((axis.xaxis, axis.get_xlim()), (axis.yaxis, axis.get_ylim())):
            found += [tick.label1 for tick in line.get_major_ticks()
                      if low <= tick.get_loc() <= high and tick.label1.get_visible()]
    return [(text.get_text(), text.get_window_extent(renderer))
            for text in found if text.get_text().strip()]


def odd_rigs():
    return {
        "clamped": dynamics_rigs.random_rig(2), "no band": dynamics_rigs.random_rig(5),
        "narrow": dynamics_rigs.random_rig(8),
        "nothing connected": dynamics_rigs.rig(load__kind="none"),
        "linear": dynamics_rigs.rig(converter=dynamics_rigs.LINEAR),
        "far too weak": dynamics_rigs.rig(motor__emf_v_s=0.001),
        "far too strong": dynamics_rigs.rig(motor__emf_v_s=0.3),
    }


@functools.cache
def case(name):
    return result(example(name) if name in EXAMPLES else odd_rigs()[name])


def drawn(name):
    return plot_files.drawn(lambda: plots_map.draw(case(name)))


@pytest.mark.parametrize("name", [*EXAMPLES, *odd_rigs()])
def test_names_neither_cover_each_other_nor_leave_the_picture(name):
    figure = drawn(name)
    names = shown_names(figure)
    assert len(names) > 15
    whole = figure.bbox
    for text, box in names:
        inside = box.x0 >= -1 and box.x1 <= whole.x1 + 1 and box.y0 >= -1 and box.y1 <= whole.y1
        assert inside, text
    for (one, a), (other, b) in combinations(names, 2):
        wide = min(a.x1, b.x1) - max(a.x0, b.x0)
        tall = min(a.y1, b.y1) - max(a.y0, b.y0)
        assert min(wide, tall) < 3.0, f"{one!r} and {other!r}"


def luminance(color):
    """Relative luminance, W3C WCAG 2.1."""
    rgb = [int(color[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    return sum(weight * (c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4)
               for weight, c in zip((0.2126, 0.7152, 0.0722), rgb, strict=True))


def test_lines_of_one_panel_differ_without_colour():
    figure = drawn("dangerous-barn")
    for axis in figure.axes[:3]:
        seen = [(line.get_linestyle(), line._dash_pattern, line.get_linewidth() > 1.5)
                for line in axis.lines if len(line.get_xdata()) > 10]
        assert len({str(look) for look in seen}) == len(seen)


def test_words_stand_out_from_what_is_behind_them():
    behind = min(luminance(c) for c in (plot_style.BAND, plot_style.NO_GO, plot_style.WINDOW))
    for color in (plot_style.INK, plot_style.BAND_INK, plot_style.AMPS_INK, plot_style.VOLTS):
        assert (behind + 0.05) / (luminance(color) + 0.05) > 3.9


def run(*args):
    out, err = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        status = code(list(args))
    return status, out.getvalue(), err.getvalue()


@pytest.mark.parametrize("suffix", [".png", ".svg"])
def test_the_command(tmp_path, suffix):
    path = tmp_path / f"map{suffix}"
    status, out, err = run("pace", "lakeside-hut", "--plot", str(path), "--json")
    assert (status, err) == (0, "")
    found = json.loads(out)
    assert found["plot"] == str(path)
    assert len(found["map"]["loaded_v"]) == len(found["map"]["pace_tpm"])
    said = plot_files.stored(path)
    assert said["title"].startswith("Lakeside hut: keep to ")
    assert "collapse edge" in said["panels"][0]["words"]


def test_a_rig_without_a_band_is_drawn_too(tmp_path):
    path = tmp_path / "map.svg"
    status, out, _ = run("pace", "toy-motor", "--plot", str(path))
    assert status == 1
    assert str(path) in out
    assert "no pace works" in path.read_text()


@pytest.mark.parametrize("name", ["map.gif", "map", "nowhere/map.png"])
def test_wrong_names(tmp_path, name):
    status, out, err = run("pace", "lakeside-hut", "--plot", str(tmp_path / name))
    assert (status, out) == (2, "")
    assert "--plot" in err


def test_spread_keeps_the_order_and_the_gap():
    places = [3.0, 1.0, 1.1, 9.9, 10.0]
    found = spread(places, 1.0, 0.0, 10.0)
    assert sorted(range(5), key=found.__getitem__) == sorted(range(5), key=places.__getitem__)
    assert min(np.diff(sorted(found))) == pytest.approx(1.0)
    assert 0 <= min(found) <= max(found) <= 10
    assert spread([1.0, 1.0], 1.0, 0.0, 5.0) == [0.5, 1.5]


def fake_sure(low, high, best):
    """A sure band as model.tolerance gives it, with invented shares and volts."""
    pace_tpm = np.linspace(0, 110, 23)
    shares = np.exp(-(((pace_tpm - 65) / 20) ** 4))
    volts = np.where(pace_tpm > 40, pace_tpm / 8, np.nan)
    fan = SimpleNamespace(
        pace_tpm=tuple(pace_tpm), works_share=tuple(shares),
        quantiles_percent=(2.5, 25.0, 50.0, 75.0, 97.5),
        bus_v=tuple(tuple(volts * k) for k in (0.9, 0.95, 1.0, 1.05, 1.1)))
    return SimpleNamespace(share=0.95, low_tpm=low, high_tpm=high, best_tpm=best,
                           best_share=0.9, fan=fan)


@pytest.mark.parametrize(("low", "high", "best", "words"), [
    (52.0, 81.0, 65.0, "work at 52-81 turns/min"), (None, None, 65.0, "most at 65"),
    (None, None, None, "neither does any other")])
def test_tolerance_is_a_fan_and_a_panel_of_builds(low, high, best, words):
    sure = fake_sure(low, high, best)
    shown = SimpleNamespace(**{**case("lakeside-hut").__dict__, "sure": sure})
    figure = plot_files.drawn(lambda: plots_map.draw(shown))
    names = shown_names(figure)
    assert any(words.split()[0] in text for text, _ in names)
    assert words in " ".join(" ".join(text.split()) for text, _ in names)
    assert any("where 95 and 50 % of the builds stand" in text for text, _ in names)
    builds = figure.axes[3]
    assert builds.get_ylabel() == "builds, %"
    drawn_shares = max(builds.lines, key=lambda line: len(line.get_xdata())).get_ydata()
    assert drawn_shares == pytest.approx(100 * np.array(sure.fan.works_share))
    assert len(figure.axes) == 5
    for (one, a), (other, b) in combinations(names, 2):
        apart = min(min(a.x1, b.x1) - max(a.x0, b.x0), min(a.y1, b.y1) - max(a.y0, b.y0))
        assert apart < 3, f"{one!r} and {other!r}"
