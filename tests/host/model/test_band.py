"""The band: its edges are edges, its answers are re-run, its advice is true."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from random_rigs import random_rig
from steadyturn.model import edges as edges_module
from steadyturn.model.band import INSET, cheapest_tpm, find_band
from steadyturn.model.change import field_of, with_value
from steadyturn.model.converter import window_v
from steadyturn.model.edges import find_edges, rough_band
from steadyturn.model.guesses import ONLY_LIMITS
from steadyturn.model.hazards import hazards, let_go_tpm, open_circuit_v, ratings
from steadyturn.model.limits import Constraint, Sheet, constraints
from steadyturn.model.point import operate
from steadyturn.model.remedies import clash, remedies
from steadyturn.rig.examples import example_path
from steadyturn.rig.file import read_rig
from steadyturn.rig.types import Origin, Protection

STEP = 1e-4  # turns/min


@given(seed=st.integers(0, 5000))
@settings(max_examples=7, deadline=None)
def test_edges_are_edges(seed) -> None:
    """One step beyond an edge breaks the limit it names; at the edge it holds."""
    rig = random_rig(seed)
    edges = find_edges(rig)
    names = [c.name for c in constraints(rig)]
    known = [x for x in edges.limits if np.isfinite(x.pace_tpm)]
    if not known:
        return
    out = [x.pace_tpm + (STEP if x.side == "high" else -STEP) for x in known]
    rows = [names.index(x.name) for x in known]
    every = np.arange(len(known))
    margins = Sheet(rig, constraints(rig), np.array(out)).margins[rows, every]
    inside = Sheet(rig, constraints(rig), np.array([x.pace_tpm for x in known])).margins
    for limit, beyond, at in zip(known, margins, inside[rows, every], strict=True):
        assert beyond < 0, (limit, rig)
        assert at >= 0, (limit, rig)


@given(seed=st.integers(0, 5000))
@settings(max_examples=7, deadline=None)
def test_inside_everything_holds_and_outside_something_breaks(seed) -> None:
    rig = random_rig(seed)
    edges = find_edges(rig)
    listed = constraints(rig)
    for low, high in edges.intervals:
        inside = np.linspace(low + STEP, high - STEP, 15)
        assert not (Sheet(rig, listed, inside).margins < 0).any(), rig
        outside = np.array([low - STEP, high + STEP])
        assert (Sheet(rig, listed, outside).margins < 0).any(axis=0).all(), rig
    widest = edges.widest()
    if widest is not None and widest[1] - widest[0] > 2:
        rough = rough_band(rig)
        assert rough is not None
        assert np.allclose(rough, widest, atol=1.0), rig


@given(seed=st.integers(0, 5000))
@settings(max_examples=7, deadline=None)
def test_band_fields(seed) -> None:
    rig = random_rig(seed)
    band = find_band(rig, deep=False)
    assert band.feasible == (band.low_tpm is not None)
    assert band.window_v == window_v(rig.converter)
    if band.feasible:
        assert band.low_tpm < band.target_tpm < band.high_tpm
        assert band.hold_tpm <= band.low_tpm
        assert band.clash is None
        assert str(band.at_target.regime) == "regulating", rig
    else:
        assert band.target_tpm is None
        assert band.at_target is None
        assert len(band.clash) == 2
    reach = let_go_tpm(band.high_tpm or 0.0)
    assert reach >= 150
    assert band.open_circuit_v == pytest.approx(float(open_circuit_v(rig, reach)))


def example(name: str):
    return read_rig(example_path(name))


@pytest.mark.parametrize("name", ["lakeside-hut", "radio-tent", "night-ferry"])
def test_good_examples(name) -> None:
    """Believable figures: a phone's 2.5 W for 5-15 W of an arm, at a pace it can keep."""
    band = find_band(example(name), deep=False)
    assert band.feasible
    assert not band.hazards
    assert 40 <= band.low_tpm < band.high_tpm <= 90
    assert band.high_tpm - band.low_tpm > 10
    assert 5 < float(band.at_target.arm_w) < 15
    assert 2.3 < float(band.at_target.out_w) < 2.7


def test_dangerous_example_is_called_so() -> None:
    rig = example("dangerous-barn")
    band = find_band(rig, deep=False)
    worst = band.hazards[0]
    assert worst.name == "open_circuit_device"
    assert worst.volts > 5.5 == worst.rating
    # the firmware's release does not count, a cut in hardware does
    safe = replace(rig, protection=replace(rig.protection, output_cut_v=5.45))
    assert not find_band(safe, deep=False).hazards


def test_target_costs_the_arm_least() -> None:
    rig = example("lakeside-hut")
    band = find_band(rig, deep=False)
    inset = INSET * (band.high_tpm - band.low_tpm)
    pace = np.linspace(band.low_tpm + inset, band.high_tpm - inset, 200)
    at = operate(rig, pace)
    best = operate(rig, cheapest_tpm(rig, band.low_tpm, band.high_tpm))
    assert float(best.arm_w / best.out_w) <= (at.arm_w / at.out_w).min() * (1 + 1e-6)


def test_clash_and_remedies_of_the_empty_example() -> None:
    rig = example("toy-motor")
    edges = find_edges(rig)
    assert edges.widest() is None
    assert clash(rig, edges) == ("start", "comfort_high")
    found = remedies(rig)
    assert found
    for remedy in found:
        assert remedy.low_tpm < remedy.high_tpm
    assert any("gear ratio" in remedy.change for remedy in found)


def test_a_remedy_is_the_model_run_again() -> None:
    """A ratio that is too low: the ratio it names does give the band it promises."""
    good = example("lakeside-hut")
    low = replace(good, stages=(good.stages[0], replace(
        good.stages[1], ratio=2.0, driver_teeth=None, driven_teeth=None)))
    assert find_edges(low).widest() is None
    ratios = [r for r in remedies(low) if "gear ratio" in r.change and ", and" not in r.change]
    assert ratios
    ratio = float(ratios[0].change.split("gear ratio of ")[1].split()[0])
    fixed = replace(low, stages=(good.stages[0], replace(low.stages[1], ratio=ratio / 5)))
    assert np.allclose(find_edges(fixed).widest(), (ratios[0].low_tpm, ratios[0].high_tpm),
                       atol=0.5)


def test_guesses_are_ranked_by_what_they_move() -> None:
    rig = example("lakeside-hut")
    band = find_band(rig)
    moves = [np.inf if g.moves_tpm is None else g.moves_tpm for g in band.assumed]
    assert moves == sorted(moves, reverse=True)
    listed = {g.key for g in band.assumed}
    assert listed == {k for k, o in rig.origins.items() if o.kind != "given"}
    first = next(g for g in band.assumed if g.key == "motor.terminal_ohm")
    high = with_value(rig, "motor.terminal_ohm", rig.origins["motor.terminal_ohm"].high)
    assert first.low_tpm[1] == pytest.approx(find_edges(high).widest()[0], abs=0.5)


def test_values_that_only_limit_change_no_operating_point() -> None:
    rig = example("radio-tent")
    pace = np.linspace(5, 150, 60)
    as_is = operate(rig, pace)
    for key in ONLY_LIMITS:
        part, _, field, _ = field_of(key)
        other = with_value(rig, key, 0.6 * getattr(getattr(rig, part), field))
        at = operate(other, pace)
        assert np.array_equal(as_is.motor_a, at.motor_a, equal_nan=True), key
        assert np.array_equal(as_is.arm_w, at.arm_w, equal_nan=True), key


def test_a_guess_without_effect_ranks_last() -> None:
    rig = example("lakeside-hut")
    rig = replace(rig, origins={
        "motor.inductance_mh": Origin("assumed", 1e-3, 2e-4, 5e-3),
        "motor.terminal_ohm": Origin("assumed", 1.34, 1.0, 1.9)})
    assert [g.key for g in find_band(rig).assumed] == [
        "motor.terminal_ohm", "motor.inductance_mh"]


def test_every_rating_is_watched() -> None:
    """Raising the open-circuit volts breaks each rating in turn, none is forgotten."""
    rig = replace(example("radio-tent"), protection=Protection())
    far = [r.name for r in ratings(rig) if float(r.seen(np.array(500.0))) > r.rating_v]
    assert len(far) == len(ratings(rig))
    names = {h.name for h in hazards(rig, 90.0)}
    assert "open_circuit_device" in names


def test_clamp_is_only_counted_on_within_its_power() -> None:
    rig = replace(example("radio-tent"), protection=Protection(bus_clamp_v=5.4, bus_clamp_w=500))
    assert not any(h.name == "open_circuit_device" for h in hazards(rig, 60.0))
    for weak in (0.5, None):
        thin = replace(rig, protection=Protection(bus_clamp_v=5.4, bus_clamp_w=weak))
        names = {h.name for h in hazards(thin, 60.0)}
        assert {"clamp_power", "open_circuit_device"} <= names


@pytest.mark.parametrize("middle", [67.25, 67.875, 68.3])
@pytest.mark.parametrize("sign", [1, -1])
def test_a_limit_that_comes_and_goes_between_two_paces_of_the_grid(monkeypatch, middle, sign):
    """A dip of half a turn a minute, far from every other edge, is no part of the band."""
    rig = read_rig(example_path("lakeside-hut"))
    wide = find_edges(rig).widest()
    assert wide is not None
    assert wide[0] + 5 < middle < wide[1] - 5
    half = 0.2
    dip = Constraint("dip", lambda view: sign * ((view.pace - middle) ** 2 - half**2),
                     lambda view, i: "of this test")
    monkeypatch.setattr(edges_module, "constraints", lambda rig: [*constraints(rig), dip])
    found = find_edges(rig)
    at = sorted(limit.pace_tpm for limit in found.limits if limit.name == "dip")
    assert at == pytest.approx([middle - half, middle + half], abs=1e-5)
    if sign > 0:
        assert found.widest() == pytest.approx((middle + half, wide[1]), abs=1e-5)
    else:
        assert found.intervals == (pytest.approx((middle - half, middle + half), abs=1e-5),)
